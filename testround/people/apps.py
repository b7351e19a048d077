from django.apps import AppConfig


class PeopleConfig(AppConfig):
    name = "testround.people"
    label = "people"
