from django.apps import AppConfig


class HomeConfig(AppConfig):
    name = "testround.home"
    label = "home"
