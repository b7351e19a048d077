from django.apps import AppConfig


class PatternsConfig(AppConfig):
    name = "testround.patterns"
    label = "patterns"

    def ready(self) -> None:
        from testround.patterns import held  # noqa: F401 -- registers what is held here
