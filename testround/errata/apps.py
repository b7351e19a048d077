from django.apps import AppConfig


class ErrataConfig(AppConfig):
    name = "testround.errata"
    label = "errata"

    def ready(self) -> None:
        # Registers the work that follows a report, and what testers hear of errata.
        from testround.errata import services, testers  # noqa: F401
