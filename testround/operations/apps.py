from django.apps import AppConfig


class OperationsConfig(AppConfig):
    name = "testround.operations"
    label = "operations"

    def ready(self) -> None:
        # Register what is done regularly, what is kept of a person, and what is noted of security.
        from testround.operations import acts, privacy, security_events  # noqa: F401
