from django.apps import AppConfig


class PaperConfig(AppConfig):
    name = "testround.paper"
    label = "paper"
