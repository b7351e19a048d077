from django.apps import AppConfig


class ApiConfig(AppConfig):
    name = "testround.api"
    label = "api"

    def ready(self) -> None:
        from testround.api import (
            privacy,  # noqa: F401 -- registers what is held about a person
            services,  # noqa: F401 -- registers the chore
        )
