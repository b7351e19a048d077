"""Names for what pages of a round are written from, so that a page is kept until something on it changes."""

from __future__ import annotations

from django.utils import timezone

from testround.people.models import User
from testround.rounds.models import (
    Candidate,
    Consent,
    DiaryEntry,
    Invitation,
    Nudge,
    Place,
    Proposal,
    Round,
    SuppliedYarn,
    Vacancy,
)
from testround.rows import RowsDigest, Table, rows_of

ENTRIES_SHOWN = 8

_OF_ROUND = "{table}.round_id = %s"
_AT_PLACES = f"{{table}}.place_id IN {rows_of(Place, _OF_ROUND)}"
_ITSELF = "{table}.id = %s"
# Written at every turn of a round, and shown by none of these pages.
_UNSHOWN: dict[Table, tuple[str, ...]] = {Round: ("foretold_at",)}

_assignment = RowsDigest(
    {
        Round: _ITSELF,
        **dict.fromkeys((SuppliedYarn, Candidate, Place, Proposal), _OF_ROUND),
        Vacancy: _AT_PLACES,
    },
    _UNSHOWN,
)
_candidates = RowsDigest({Round: _ITSELF, **dict.fromkeys((SuppliedYarn, Candidate), _OF_ROUND)}, _UNSHOWN)
_places = RowsDigest({Place: _OF_ROUND, Invitation: _AT_PLACES})
_standing = RowsDigest({Place: _OF_ROUND, Consent: _AT_PLACES})
_NEWEST = (
    f"{{table}}.id IN (SELECT id FROM {DiaryEntry._meta.db_table} WHERE round_id = %s "  # noqa: S608
    f"ORDER BY at DESC, id DESC LIMIT {ENTRIES_SHOWN})"
)
_course = RowsDigest(
    {
        **dict.fromkeys((SuppliedYarn, Place), _OF_ROUND),
        **dict.fromkeys((Invitation, Nudge, Vacancy), _AT_PLACES),
        Candidate: _OF_ROUND,
        DiaryEntry: _NEWEST,
        User: f"{{table}}.id IN (SELECT by_id FROM {DiaryEntry._meta.db_table} WHERE {_NEWEST.format(table=DiaryEntry._meta.db_table)})",  # noqa: S608
    },
    {
        Candidate: [
            field.name
            for field in Candidate._meta.concrete_fields
            if field.name not in ("id", "name", "state")
        ],
        User: [
            field.name for field in User._meta.concrete_fields if field.name not in ("id", "name", "email")
        ],
    },
)


def assignment_digest(round: Round) -> str:
    """Of who offers, who has a place, and what the designer's draft asks: one query."""
    return _assignment.of(round.pk)


def candidates_digest(round: Round) -> str:
    """Of who offers, and in which yarns: one query."""
    return _candidates.of(round.pk)


def places_digest(round: Round) -> str:
    """Of every place and the links to it: two queries."""
    return _places.of(round.pk) + _run_out(round)


def places_allowed_digest(round: Round) -> str:
    """Of every place, and what its tester allows to be shown: one query."""
    return _standing.of(round.pk)


def course_digest(round: Round) -> str:
    """Of what a round's own page shows, but for the forecasts: two queries."""
    return _course.of(round.pk) + _run_out(round)


def _run_out(round: Round) -> str:
    """How many links have run out by now: with the rows of all links, that says which."""
    ended = Invitation.objects.filter(place__round_id=round.pk, expires__lte=timezone.now())
    return f":{ended.order_by().count()}"
