from django.apps import AppConfig


class OperationsConfig(AppConfig):
    name = "testround.operations"
    label = "operations"

    def ready(self) -> None:
        # Register what is done regularly, and what is kept of a person.
        from testround.operations import acts, privacy  # noqa: F401
