from django.apps import AppConfig


class FollowingConfig(AppConfig):
    name = "testround.following"
    label = "following"

    def ready(self) -> None:
        # Registers what follows on an erratum's publication, the chores, and what is held about people.
        from testround.following import privacy, services, webhooks  # noqa: F401
