"""What is private of what testers sent: deleted on a round's date, on erasing oneself, or with a consent."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop, pgettext

from testround.kernel.discrepancy import worked_out
from testround.kernel.sheet import Sheet
from testround.people.held import HeldFile, Shelf, keeps
from testround.people.models import User
from testround.prepared import Prepared
from testround.reports.bridge import testers_at
from testround.reports.models import Count, Finished, Fit, Photo, Remark, Sitting, Submission, Swatch
from testround.reports.photos import photos_delete
from testround.rounds.models import Place, Round
from testround.rounds.selectors.standing import counts_sent, names_what_is_counted
from testround.rounds.services.privacy import forgets, on_unseen
from testround.rows import RowsDigest, rows_of

# What stands in the place of a remark whose words are deleted; where it was made and of what kind it is stays.
WORDLESS = gettext_noop("(The words are deleted.)")

THOSE_OF_THE_ROUND = gettext_lazy("the designer of the round and the pattern's editors")


COUNTED = (Swatch, Count, Finished, Remark, Photo)
_rows_counted = RowsDigest(
    dict.fromkeys(
        COUNTED,
        f"{{table}}.superseded_at IS NULL AND {{table}}.place_id IN {rows_of(Place, '{table}.round_id = %s')}",
    ),
    {
        model: [field.name for field in model._meta.concrete_fields if not field.primary_key]
        for model in COUNTED
    },
)


@names_what_is_counted
def reports_counted_digest(round_: Round) -> str:
    """A name for which reports of a round stand: one query."""
    return _rows_counted.of(round_.pk)


@counts_sent
def reports_counted(round_: Round) -> list[tuple[str, int]]:
    """How many of each were sent and still stand, from places that are kept: one query each."""
    counted: list[tuple[str, Any]] = [
        (pgettext("what was sent so far", "swatches"), Swatch),
        (pgettext("what was sent so far", "counts"), Count),
        (pgettext("what was sent so far", "finished measurements"), Finished),
        (pgettext("what was sent so far", "remarks"), Remark),
        (pgettext("what was sent so far", "photos"), Photo),
    ]
    return [
        (
            label,
            model._default_manager.filter(place__round=round_, superseded_at=None)
            .exclude(place__state=Place.State.GIVEN_BACK)
            .count(),
        )
        for label, model in counted
    ]


@forgets
def reports_forget(places: Sequence[Place]) -> None:
    """Photos, words and typed body measurements go; swatches, counts, finished measurements, hours and fit stay.

    Made to measure, so does what finished measurements are compared with, worked out while there is a body.
    """
    _keep_what_was_worked_out([place for place in places if place.measures])
    photos_delete(Photo.objects.filter(place__in=places), rows_too=True)
    Remark.objects.filter(place__in=places).update(text=WORDLESS, typed={})
    Submission.objects.filter(place__in=places, kind="measures").update(typed={}, digest="")
    # Of words too short to hide behind a hash.
    Submission.objects.filter(place__in=places, kind__in=["remark", "photo"]).update(digest="")


def _keep_what_was_worked_out(places: Sequence[Place]) -> None:
    """Of a made-to-measure round, for places that have something to compare or count."""
    if not places or (pattern := places[0].round.edition.document).is_graded:
        return
    testers = testers_at(places)
    for place, tester, kept in zip(places, testers, worked_out(Sheet(pattern), testers), strict=True):
        if tester.counts or tester.finished or tester.sittings or tester.yarn_used:
            place.worked_out = kept
            place.save(update_fields=["worked_out", "changed"])


@on_unseen
def photos_go_unseen(place: Place) -> None:
    photos_delete(Photo.objects.filter(place=place, superseded_at=None))


_SENT: Prepared[Submission] = Prepared(
    lambda user: Submission.objects.filter(place__tester=user).order_by("pk")
)


@keeps
def reports_held(user: User) -> Shelf:
    rows: list[dict[str, Any]] = [
        {
            "place": sent.place_id,
            "what": sent.kind,
            "sent": sent.sent,
            "late": sent.late,
            "typed": sent.typed,
        }
        for sent in _SENT.rows(user=user)
    ]
    return Shelf("reports", _("Reports you sent"), str(THOSE_OF_THE_ROUND), rows)


FIELDS: dict[type[Any], tuple[str, ...]] = {
    Swatch: ("gauge", "state", "tool_mm", "width", "stitches", "height", "rows"),
    Count: ("number", "worked"),
    Finished: ("dimension", "state", "values"),
    Sitting: ("part", "hours", "done", "day"),
    Remark: ("where", "kind", "text"),
    Fit: ("dimension", "says"),
}


def _left_by(user: User, model: type[Any]) -> QuerySet[Any]:
    return model._default_manager.filter(place__tester=user).order_by("pk")


_LEFT: dict[type[Any], Prepared[Any]] = {model: Prepared(partial(_left_by, model=model)) for model in FIELDS}


@keeps
def values_held(user: User) -> Shelf:
    """Every row that a report left, also those that a later one corrected."""
    rows: list[dict[str, Any]] = []
    for model, fields in FIELDS.items():
        for row in _LEFT[model].rows(user=user):
            rows.append(
                {
                    "place": row.place_id,
                    "what": model._meta.verbose_name,
                    "sent": row.sent,
                    "corrected": row.superseded_at,
                    "typed": row.typed,
                    **{field: getattr(row, field) for field in fields},
                }
            )
    return Shelf(
        "values",
        _("Swatches, counts, measurements of the piece, hours, remarks and fit"),
        _("the designer of the round and the pattern's editors; corrections made from them name nobody"),
        rows,
    )


_PHOTOS: Prepared[Photo] = Prepared(lambda user: Photo.objects.filter(place__tester=user).order_by("pk"))


@keeps
def photos_held(user: User) -> Shelf:
    rows, files = [], []
    for photo in _PHOTOS.rows(user=user):
        stored = photo.original or photo.incoming
        name = f"photos/{photo.place_id}/{photo.code}.jpg" if stored else None
        rows.append(
            {
                "place": photo.place_id,
                "sent": photo.sent,
                "caption": photo.caption,
                "dimension": photo.dimension,
                "state": photo.state,
                "taken_back": photo.superseded_at,
                "file": name,
            }
        )
        if name is not None and stored:
            files.append(HeldFile(name, stored.storage, str(stored.name)))
    return Shelf("photos", _("Photos"), str(THOSE_OF_THE_ROUND), rows, files)
