from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from testround.people.models import User
from testround.people.services import factors_remove


class Command(BaseCommand):
    help = (
        "Remove the second factors of somebody who has lost them, and sign them out everywhere. "
        "Make sure first that it is they who ask."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("address", help="mail address of the account")

    def handle(self, *args: Any, address: str, **options: Any) -> None:
        user = User.objects.filter(email__iexact=address).first()
        if user is None:
            raise CommandError(f"There is no account with the address {address}.")
        count = factors_remove(user=user)
        if not count:
            raise CommandError(f"{address} has no second factor.")
        self.stdout.write(f"{count} removed; {address} gets a mail that says so.")
