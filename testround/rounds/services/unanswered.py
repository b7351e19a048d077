"""An invitation that ran out with no answer, where nobody in reserve is next: its designer is told, once."""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.utils import timezone

from testround.outbox.mail import mail_send
from testround.outbox.services import regularly
from testround.people.language import speaking_to
from testround.rounds import letters
from testround.rounds.models import Invitation, Place, Round, Vacancy

# What ran out longer ago is no news: nobody is told of it when the chores begin to run.
NEWS_FOR = dt.timedelta(days=7)


@regularly
def invitations_ended_tell(*, now: dt.datetime | None = None) -> int:
    """Tell designers of invitations that ran out unanswered and left a place to nobody. Returns how many.

    Where somebody in reserve is next, the first page asks, or the round has invited them. Run twice, also at once,
    it tells nothing twice.
    """
    now = now or timezone.now()
    return sum(_tell(invitation, now) for invitation in list(_ended(now)))


def _ended(now: dt.datetime) -> QuerySet[Invitation]:
    later = Invitation.objects.filter(place=OuterRef("place"), pk__gt=OuterRef("pk"))
    still_offered = Q(place__state=Place.State.OFFERED, place__offered_until=None, withdrawn_at=None)
    # Giving the place back, once the day of the offer has passed, withdraws the link as well.
    given_back = Q(place__state=Place.State.GIVEN_BACK, place__offered_until__lte=now)
    given_back &= Q(withdrawn_at=None) | Q(withdrawn_at__gte=F("expires"))
    # Until it has been looked who is next, nothing is said of why nobody is.
    nobody_next = Q(place__vacancy=None) | (
        Q(place__vacancy__state=Vacancy.State.OPEN, place__vacancy__candidate=None)
        & ~Q(place__vacancy__why="")
    )
    return (
        Invitation.objects.filter(
            still_offered | (given_back & nobody_next),
            ~Exists(later),
            expires__lte=now,
            expires__gt=now - NEWS_FOR,
            used_at=None,
            declined_at=None,
            ended_told_at=None,
        )
        .exclude(place__round__state=Round.State.CLOSED)
        .select_related("place__round__edition__pattern__owner")
        .defer("place__round__edition__sheet", "place__round__terms")
        .order_by("pk")
    )


@transaction.atomic
def _tell(invitation: Invitation, now: dt.datetime) -> bool:
    if not Invitation.objects.filter(pk=invitation.pk, ended_told_at=None).update(ended_told_at=now):
        return False
    round = invitation.place.round
    owner = round.edition.pattern.owner
    with speaking_to(owner):
        letter = letters.unanswered(invitation=invitation)
    mail_send(to=owner.email, letter=letter, name=str(owner), about=round.code)
    return True
