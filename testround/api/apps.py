from django.apps import AppConfig


class ApiConfig(AppConfig):
    name = "testround.api"
    label = "api"
