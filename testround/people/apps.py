from django.apps import AppConfig


class PeopleConfig(AppConfig):
    name = "testround.people"
    label = "people"

    def ready(self) -> None:
        from django.utils.translation import trans_real

        from testround.kernel import words

        words.speak(trans_real.catalog)
