"""One form, one report: the claim on a submission's key that every service starts with."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import uuid
from collections.abc import Mapping
from typing import Any

from django.core.exceptions import PermissionDenied
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from testround.people.models import User
from testround.prepared import Prepared
from testround.reports.models import Submission
from testround.rounds.due import What, date_of
from testround.rounds.models import Place, Round
from testround.rounds.services import today_for


class AlreadySent(Exception):
    """The form's key was used before, for something else than what came now."""

    message = gettext_noop(
        "This form had already been sent and has arrived. What you changed since is not sent yet: "
        "look it over and send it once more, as a report of its own."
    )

    def __init__(self) -> None:
        super().__init__(self.message)

    @property
    def sentence(self) -> str:
        """What its sender is told."""
        return _(self.message)


class AlreadyCorrected(AlreadySent):
    """The row that was to be corrected no longer counts: a newer one has taken its place."""

    message = gettext_noop(
        "That one had been corrected already. What you wrote is not sent yet: go to “What I sent”, "
        "and correct the newer one if it is still wrong."
    )


def claim(
    *,
    place: Place,
    key: uuid.UUID,
    kind: str,
    by: User | None,
    content: Mapping[str, Any],
    typed: Mapping[str, Any] | None = None,
) -> tuple[Submission, bool]:
    """The submission of that key and whether it is new. Runs in the caller's transaction.

    The place's row is locked first, so that two submissions of one tester take turns.

    Raises
    ------
    AlreadySent
        The key is taken and the content is another: someone went back in the browser and changed it.
    """
    locked = _LOCKED.first(pk=place.pk)
    if locked is None:
        raise Place.DoesNotExist
    tester, forgotten_at, state = locked
    if forgotten_at is not None and by is not None and tester != by.pk:
        # They erased themselves from another window while this was on its way.
        raise PermissionDenied(_("This place is no longer yours: you left it for good."))
    # How far it has come, from here to the end of the transaction.
    place.state = state
    digest = _digest(kind, content)
    # Whoever sends the same at the same time waits for the place, so that looking and then writing is enough.
    for before in _SENT.rows(place=place, key=key):
        if before.digest != digest:
            raise AlreadySent
        return before, False
    submission = Submission.objects.create(
        place=place,
        key=key,
        kind=kind,
        by=by,
        digest=digest,
        typed=dict(typed or {}),
        late=is_late(place, kind),
    )
    return submission, True


_LOCKED: Prepared[tuple[int | None, dt.datetime | None, str]] = Prepared(
    lambda pk: (
        Place.objects.select_for_update().filter(pk=pk).values_list("tester_id", "forgotten_at", "state")
    )
)
_SENT: Prepared[Submission] = Prepared(
    lambda place, key: Submission.objects.filter(place=place, key=key).order_by()
)


def is_late(place: Place, kind: str) -> bool:
    """Past the date that counts for the place, or after the round was closed. Taken all the same.

    Who said until when they need and keeps to it is not late, whatever became of the round.
    """
    what = What.SWATCH if kind == "swatch" else What.MEASURES
    due, today = date_of(place, what), today_for(place.round)
    own = place.swatch_until if what == What.SWATCH else place.measures_until
    if own is not None and today <= own:
        return False
    return place.round.state == Round.State.CLOSED or (due is not None and today > due)


def _digest(kind: str, content: Mapping[str, Any]) -> str:
    said = json.dumps([kind, content], sort_keys=True, default=_plain)
    return hashlib.sha256(said.encode()).hexdigest()


def _plain(value: object) -> str:
    if isinstance(value, bytes):
        return hashlib.sha256(value).hexdigest()
    return str(value)
