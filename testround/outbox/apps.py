from django.apps import AppConfig
from django.core.signals import request_started


class OutboxConfig(AppConfig):
    name = "testround.outbox"
    label = "outbox"

    def ready(self) -> None:
        from testround.outbox import mail  # noqa: F401 -- registers the handler of mails
        from testround.outbox.services import chores_when_due

        request_started.connect(chores_when_due, dispatch_uid="outbox-chores")
