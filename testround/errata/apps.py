from django.apps import AppConfig


class ErrataConfig(AppConfig):
    name = "testround.errata"
    label = "errata"

    def ready(self) -> None:
        # Registers the work that follows a report.
        from testround.errata import services  # noqa: F401
