from django.apps import AppConfig


class ErrataConfig(AppConfig):
    name = "testround.errata"
    label = "errata"
