from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "testround.reports"
    label = "reports"

    def ready(self) -> None:
        # Registers what it does with incoming photos, and what it can say of a piece's finish, what is
        # private here, and the pictures of a call.
        from testround.reports import call_pictures, pace, photos, privacy, privacy_phone  # noqa: F401
