from django.apps import AppConfig


class RoundsConfig(AppConfig):
    name = "testround.rounds"
    label = "rounds"
