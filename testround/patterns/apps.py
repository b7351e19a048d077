from django.apps import AppConfig


class PatternsConfig(AppConfig):
    name = "testround.patterns"
    label = "patterns"
