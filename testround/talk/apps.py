from django.apps import AppConfig


class TalkConfig(AppConfig):
    name = "testround.talk"
    label = "talk"

    def ready(self) -> None:
        # Registers what stands beside a step on a tester's pages, and what is private of it all.
        from testround.talk import asides, privacy  # noqa: F401
