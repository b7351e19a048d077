"""What a tester sends, stored: each in one transaction, once per form, and whatever the date.

Every service claims its submission first and does nothing more when that was there already. Rows that a
later report corrects are kept, marked as superseded.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.outbox.services import work_add
from testround.people.models import User
from testround.reports.claims import AlreadyCorrected, AlreadySent, claim
from testround.reports.models import Count, Finished, Fit, Remark, Reported, Sitting, Submission, Swatch
from testround.reports.selectors import current_rows, desk_of
from testround.rounds.models import Place
from testround.rounds.services import diary_write, place_reach
from testround.rounds.services.privacy import check_kept
from testround.rounds.states import place_is_behind

__all__ = [
    "AlreadyCorrected",
    "AlreadySent",
    "counts_submit",
    "finished_submit",
    "fit_submit",
    "guess_submit",
    "measures_submit",
    "place_finish",
    "remark_submit",
    "sitting_submit",
    "swatch_submit",
    "yarn_submit",
]

Typed = Mapping[str, Any]


@transaction.atomic
def swatch_submit(
    *,
    place: Place,
    key: uuid.UUID,
    by: User | None,
    gauge: str,
    state: str,
    tool_mm: float | None = None,
    width: float | None = None,
    stitches: float | None = None,
    height: float | None = None,
    rows: float | None = None,
    typed: Typed | None = None,
    corrects: Swatch | None = None,
) -> Submission:
    """A swatch, lengths in centimetres. The place becomes "swatch sent", or "gauge agreed" when it will do."""
    content = {
        "gauge": gauge,
        "state": state,
        "tool_mm": tool_mm,
        "width": width,
        "stitches": stitches,
        "height": height,
        "rows": rows,
    }
    submission, is_new = _claim_row(
        place=place, key=key, kind="swatch", by=by, content=content, corrects=corrects
    )
    if not is_new:
        return submission
    Swatch.objects.create(place=place, submission=submission, typed=dict(typed or {}), **content)
    _tell(submission, _("{name} sent a swatch.") if corrects is None else _("{name} corrected a swatch."))
    _reach(place, Place.State.SWATCH_SENT, by, _("a swatch came"))
    if not place_is_behind(place.state, Place.State.GAUGE_AGREED):
        return submission
    if desk_of(place).swatches_will_do():
        _reach(place, Place.State.GAUGE_AGREED, by, _("the swatch will do"))
    return submission


@transaction.atomic
def counts_submit(
    *, place: Place, key: uuid.UUID, by: User | None, counts: Mapping[str, float], typed: Typed | None = None
) -> Submission:
    """Counts as worked, by number. One that is the same as before is left as it stands."""
    submission, is_new = claim(place=place, key=key, kind="counts", by=by, content=counts)
    if not is_new:
        return submission
    before = {row.number: row.worked for row in current_rows(place, Count)}
    changed = {number: worked for number, worked in counts.items() if before.get(number) != worked}
    _supersede(Count.objects.filter(place=place, number__in=changed.keys() & before.keys()))
    Count.objects.bulk_create(
        Count(
            place=place,
            submission=submission,
            number=number,
            worked=worked,
            typed=_only(typed, number, "worked"),
        )
        for number, worked in changed.items()
    )
    _tell(
        submission,
        ngettext("{name} sent {n} count.", "{name} sent {n} counts.", len(changed)),
        n=len(changed),
    )
    _reach(place, Place.State.MAKING, by, _("counts came"))
    return submission


@transaction.atomic
def finished_submit(
    *,
    place: Place,
    key: uuid.UUID,
    by: User | None,
    state: str,
    readings: Mapping[str, Sequence[float]],
    typed: Typed | None = None,
) -> Submission:
    """Finished measurements, readings in centimetres by dimension. With all of them in, the place is "measured"."""
    submission, is_new = claim(
        place=place, key=key, kind="finished", by=by, content={"state": state, "readings": readings}
    )
    if not is_new:
        return submission
    _supersede(
        Finished.objects.filter(place=place, superseded_at=None, state=state, dimension__in=list(readings))
    )
    Finished.objects.bulk_create(
        Finished(
            place=place,
            submission=submission,
            dimension=dimension,
            state=state,
            values=list(values),
            typed=_only(typed, dimension, "values"),
        )
        for dimension, values in readings.items()
    )
    said = ngettext(
        "{name} sent {n} finished measurement.", "{name} sent {n} finished measurements.", len(readings)
    )
    _tell(submission, said, n=len(readings))
    _reach(place, Place.State.MAKING, by, _("finished measurements came"))
    if place_is_behind(place.state, Place.State.MEASURED) and not desk_of(place).unmeasured:
        _reach(place, Place.State.MEASURED, by, _("every finished measurement is in"))
    return submission


@transaction.atomic
def sitting_submit(
    *,
    place: Place,
    key: uuid.UUID,
    by: User | None,
    hours: float,
    part: str | None = None,
    done: float | None = None,
    typed: Typed | None = None,
    corrects: Sitting | None = None,
) -> Submission:
    """A stretch of work; ``done`` is the share of the part finished when it ended, 0 to 1."""
    content = {"hours": hours, "part": part, "done": done}
    submission, is_new = _claim_row(
        place=place, key=key, kind="sitting", by=by, content=content, corrects=corrects
    )
    if not is_new:
        return submission
    day = timezone.localdate() if corrects is None else corrects.day
    Sitting.objects.create(place=place, submission=submission, typed=dict(typed or {}), day=day, **content)
    _tell(submission, _("{name} logged a sitting.") if corrects is None else _("{name} corrected a sitting."))
    _reach(place, Place.State.MAKING, by, _("a sitting was logged"))
    return submission


@transaction.atomic
def remark_submit(
    *,
    place: Place,
    key: uuid.UUID,
    by: User | None,
    kind: str,
    text: str,
    where: str | None = None,
    corrects: Remark | None = None,
) -> Submission:
    """A remark, tied to a place in the text where one was named."""
    content = {"kind": kind, "text": text, "where": where or None}
    submission, is_new = _claim_row(
        place=place, key=key, kind="remark", by=by, content=content, corrects=corrects
    )
    if not is_new:
        return submission
    check_kept(place)
    Remark.objects.create(place=place, submission=submission, **content)
    if where:
        said = (
            _("{name} sent a remark on {where}.")
            if corrects is None
            else _("{name} corrected a remark on {where}.")
        )
    else:
        said = _("{name} sent a remark.") if corrects is None else _("{name} corrected a remark.")
    _tell(submission, said, where=where)
    return submission


@transaction.atomic
def fit_submit(*, place: Place, key: uuid.UUID, by: User | None, says: Mapping[str, str]) -> Submission:
    """How it fits, by dimension."""
    submission, is_new = claim(place=place, key=key, kind="fit", by=by, content=says)
    if not is_new:
        return submission
    _supersede(Fit.objects.filter(place=place, superseded_at=None, dimension__in=list(says)))
    Fit.objects.bulk_create(
        Fit(place=place, submission=submission, dimension=dimension, says=word)
        for dimension, word in says.items()
    )
    _tell(submission, _("{name} said how it fits."))
    return submission


@transaction.atomic
def guess_submit(
    *,
    place: Place,
    key: uuid.UUID,
    by: User | None,
    hours: float | None = None,
    metres: float | None = None,
    typed: Typed | None = None,
) -> Submission:
    """What the tester expects before starting."""
    return _place_submit(
        place=place,
        key=key,
        by=by,
        kind="guess",
        fields={"guess_hours": hours, "guess_metres": metres},
        typed=typed,
        said=_("{name} said what they expect it to take."),
    )


@transaction.atomic
def yarn_submit(
    *,
    place: Place,
    key: uuid.UUID,
    by: User | None,
    metres: float | None = None,
    grams: float | None = None,
    typed: Typed | None = None,
) -> Submission:
    """The yarn it took."""
    return _place_submit(
        place=place,
        key=key,
        by=by,
        kind="yarn",
        fields={"used_metres": metres, "used_grams": grams},
        typed=typed,
        said=_("{name} said how much yarn it took."),
    )


@transaction.atomic
def measures_submit(
    *,
    place: Place,
    key: uuid.UUID,
    by: User | None,
    measures: Mapping[str, float],
    typed: Typed | None = None,
) -> Submission:
    """The tester's own body measurements in centimetres, all of them: one that is left out is taken back.

    Raises
    ------
    Refused
        What is private of the round is deleted already.
    """
    check_kept(place)
    return _place_submit(
        place=place,
        key=key,
        by=by,
        kind="measures",
        fields={"measures": dict(measures)},
        typed=typed,
        said=_("{name} gave their body measurements."),
    )


@transaction.atomic
def place_finish(*, place: Place, by: User | None) -> None:
    """The tester says that this is all. More can still be sent."""
    place_reach(place=place, state=Place.State.DONE, by=by, cause=_("the tester has sent everything"))


def _claim_row(
    *,
    place: Place,
    key: uuid.UUID,
    kind: str,
    by: User | None,
    content: Mapping[str, Any],
    corrects: Reported | None,
) -> tuple[Submission, bool]:
    """Claim a submission of one row; when it is new, the row that it corrects counts no longer.

    Raises
    ------
    AlreadyCorrected
        A newer row has taken that one's place, or it is another tester's.
    """
    submission, is_new = claim(
        place=place, key=key, kind=kind, by=by, content={**content, "corrects": corrects and corrects.pk}
    )
    if is_new and corrects is not None:
        rows = type(corrects)._default_manager.filter(place=place, pk=corrects.pk)
        if not _supersede(rows):
            raise AlreadyCorrected
    return submission, is_new


def _place_submit(
    *,
    place: Place,
    key: uuid.UUID,
    by: User | None,
    kind: str,
    fields: Mapping[str, Any],
    typed: Typed | None,
    said: str,
) -> Submission:
    """A submission whose content is kept on the place; what was typed is kept on the submission."""
    submission, is_new = claim(place=place, key=key, kind=kind, by=by, content=fields, typed=typed)
    if not is_new:
        return submission
    for field, value in fields.items():
        setattr(place, field, value)
    place.save(update_fields=[*fields, "changed"])
    _tell(submission, said)
    return submission


def _supersede(rows: QuerySet[Any]) -> int:
    """Mark the current ones of these rows as superseded; returns how many there were."""
    return rows.filter(superseded_at=None).update(superseded_at=timezone.now())


def _tell(submission: Submission, message: str, **places: Any) -> None:
    """Write the diary and ask for the analysis to be brought up to date.

    ``message`` is a sentence with a place for the tester's ``{name}`` and for whatever else is given.
    """
    place = submission.place
    said = message.format(name=place.name, **places)
    if submission.late:
        # Translators: a sentence of a diary without its full stop, as in "Kelp sent a swatch, after the date."
        said = _("{sentence}, after the date.").format(sentence=said.removesuffix("."))
    diary_write(round=place.round, text=said, by=submission.by, place=place)
    work_add(kind="analyse", subject={"round": place.round_id}, once_key=f"round-{place.round_id}")


def _reach(place: Place, state: str, by: User | None, cause: str) -> None:
    """Move the place on, never back. Who sends something has taken the place, and holds its row since the claim."""
    if not place_is_behind(place.state, state):
        return
    if place.state == Place.State.OFFERED:
        place_reach(place=place, state=Place.State.TAKEN, by=by, cause="the tester began")
    place_reach(place=place, state=state, by=by, cause=cause)


def _only(typed: Typed | None, key: str, field: str) -> dict[str, Any]:
    return {field: typed[key]} if typed and key in typed else {}
