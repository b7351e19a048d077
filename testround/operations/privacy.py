"""What is kept of those who support a server, for themselves."""

from __future__ import annotations

from django.utils.translation import gettext as _

from testround.operations.models import Act
from testround.people.held import Shelf, erases, keeps
from testround.people.models import User

SOMEBODY = "somebody of the support staff"


@keeps
def _acts(user: User) -> Shelf:
    return Shelf(
        key="support",
        title=_("What you did as one of the support staff"),
        seen_by=_("Whoever answers for the server."),
        rows=list(
            Act.objects.filter(person=user)
            .order_by("pk")
            .values("at", "method", "view", "object_id", "query")
        ),
    )


@erases
def _acts_without_name(user: User) -> None:
    Act.objects.filter(person=user).update(person=None, name=SOMEBODY)
