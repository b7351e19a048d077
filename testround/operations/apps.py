from django.apps import AppConfig


class OperationsConfig(AppConfig):
    name = "testround.operations"
    label = "operations"
