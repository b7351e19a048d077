"""Drafts: what is typed into a form and not sent yet, kept for its writer alone.

The phone keeps it first. The server's copy is for the other phone, and for the one that fell into the bath.
"""

from __future__ import annotations

import datetime as dt
import re
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.utils import timezone

from testround.people.models import User
from testround.prepared import Prepared
from testround.reports.models import Draft, Submission
from testround.rounds.models import Place
from testround.rounds.services.privacy import check_kept

FORMS = frozenset(
    {"swatch", "counts", "finished", "sitting", "remark", "fit", "guess", "yarn", "measures", "photo"}
)
MOST_FIELDS = 400
MOST_CHARACTERS = 20_000
LONGEST_NAME = 80
# Never typed by the person, or nobody's business to keep.
_NOT_KEPT = re.compile(r"csrf|password|passwd|^key$|^keep_", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of a draft that came: its revision now, and whether another's, newer, stands instead."""

    revision: int
    is_newest: bool


def form_known(form: str) -> bool:
    """Whether there is such a form; "counts back" is the section "back" of the counts."""
    name, _, rest = form.partition(" ")
    return name in FORMS and len(form) <= LONGEST_NAME and (not rest or name == "counts")


def worth_keeping(values: Mapping[Any, Any]) -> dict[str, str] | None:
    """The answers of a form as text, without what is not the person's; None where it is more than any form has."""
    kept = {
        name: value
        for name, value in values.items()
        if isinstance(name, str) and isinstance(value, str) and not _NOT_KEPT.search(name)
    }
    if len(kept) > MOST_FIELDS or any(len(name) > LONGEST_NAME for name in kept):
        return None
    if sum(len(name) + len(value) for name, value in kept.items()) > MOST_CHARACTERS:
        return None
    return kept


def draft_at(place: Place, person: User, form: str) -> Draft | None:
    return _DRAFT.first(place=place, person=person, form=form)


# There is one of each form at most.
_DRAFT: Prepared[Draft] = Prepared(
    lambda place, person, form: Draft.objects.filter(place=place, person=person, form=form)
)


def drafts_at(place: Place, person: User) -> dict[str, Draft]:
    """By form."""
    return {draft.form: draft for draft in Draft.objects.filter(place=place, person=person)}


@transaction.atomic
def draft_keep(
    *,
    place: Place,
    person: User,
    form: str,
    values: Mapping[str, str],
    at: dt.datetime | None = None,
    based_on: int | None = None,
    key: uuid.UUID | None = None,
) -> Kept:
    """Keep what stands in a form. Of two phones the one typed on last wins, unless it went on from the other's.

    Parameters
    ----------
    at : datetime, optional
        When it was typed, by the phone's clock; one that is ahead is taken for now.
    based_on : int, optional
        The revision that the phone last saw.
    key : UUID, optional
        Of the form. One that was sent already leaves no draft: what comes late is of a report that has arrived.

    Raises
    ------
    Refused
        What is private of the round is deleted already.
    """
    check_kept(place)
    Place.objects.select_for_update().only("pk").get(pk=place.pk)
    if key is not None and Submission.objects.filter(place=place, key=key).exists():
        return Kept(0, True)
    now = timezone.now()
    typed_at = min(at or now, now)
    draft = draft_at(place, person, form)
    if draft is None:
        draft = Draft.objects.create(place=place, person=person, form=form, values=dict(values), at=typed_at)
        return Kept(draft.revision, True)
    # One that by this clock is still to come was kept by a clock that was wrong, and says nothing of which is newer.
    if based_on != draft.revision and typed_at < draft.at <= now:
        return Kept(draft.revision, False)
    draft.values, draft.at, draft.revision = dict(values), typed_at, draft.revision + 1
    draft.save(update_fields=["values", "at", "revision"])
    return Kept(draft.revision, True)


def draft_drop(*, place: Place, person: User, form: str) -> None:
    """It was sent, or is to begin afresh."""
    # Most often there is none, and looking is much less than what deleting nothing takes.
    if _DRAFT.first(place=place, person=person, form=form):
        Draft.objects.filter(place=place, person=person, form=form).delete()
