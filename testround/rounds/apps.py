from django.apps import AppConfig


class RoundsConfig(AppConfig):
    name = "testround.rounds"
    label = "rounds"

    def ready(self) -> None:
        from testround.rounds import held, services  # noqa: F401 -- registers chores, and what is held here
