from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "testround.reports"
    label = "reports"
