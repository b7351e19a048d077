from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "testround.reports"
    label = "reports"

    def ready(self) -> None:
        # Registers what it does with incoming photos, and what it can say of a piece's finish, and what is
        # private here.
        from testround.reports import pace, photos, privacy  # noqa: F401
