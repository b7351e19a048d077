from django.apps import AppConfig


class OutboxConfig(AppConfig):
    name = "testround.outbox"
    label = "outbox"
