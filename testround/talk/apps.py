from django.apps import AppConfig


class TalkConfig(AppConfig):
    name = "testround.talk"
    label = "talk"

    def ready(self) -> None:
        from testround.talk import asides  # noqa: F401 -- registers what stands beside a step on a tester's pages
