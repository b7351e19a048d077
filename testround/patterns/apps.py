from django.apps import AppConfig


class PatternsConfig(AppConfig):
    name = "testround.patterns"
    label = "patterns"

    def ready(self) -> None:
        # Registers who is a designer, and what is held here.
        from testround.patterns import access, held  # noqa: F401
