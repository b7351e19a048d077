from django.apps import AppConfig


class PeopleConfig(AppConfig):
    name = "testround.people"
    label = "people"

    def ready(self) -> None:
        from django.utils.translation import trans_real

        from testround.kernel import words

        # Registers what is noted of sessions, the chores, and what is held about people.
        from testround.people import factors_held, sessions  # noqa: F401

        words.speak(trans_real.catalog)
