from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "testround.reports"
    label = "reports"

    def ready(self) -> None:
        # Registers what it does with incoming photos.
        from testround.reports import photos  # noqa: F401
