from django.apps import AppConfig


class RoundsConfig(AppConfig):
    name = "testround.rounds"
    label = "rounds"

    def ready(self) -> None:
        from testround.rounds import services  # noqa: F401 -- registers the chore that follows the dates
