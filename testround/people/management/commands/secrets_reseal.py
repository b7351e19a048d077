from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from testround.people.services import factors_reseal


class Command(BaseCommand):
    help = "Seal the keys of authenticator apps with the present SECRET_KEY, after it was changed."

    def handle(self, *args: Any, **options: Any) -> None:
        sealed, lost = factors_reseal()
        self.stdout.write(f"{sealed} sealed with the present key.")
        if lost:
            raise CommandError(
                f"{len(lost)} could not be opened, of the accounts {', '.join(map(str, lost))}: they were sealed with "
                "a key that is not among SECRET_KEY_FALLBACKS. Add it and run this again, or remove the factor with "
                "second_factor_remove."
            )
