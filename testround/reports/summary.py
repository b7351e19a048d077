"""What one tester sent, in a few words: what is odd of it, what is there, and what is not."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.kernel.gauge import SwatchAnswer
from testround.kernel.units import LengthUnit
from testround.kernel.words import commas
from testround.reports import doubts
from testround.reports.selectors import Desk
from testround.reports.sent import Sent
from testround.reports.steps import in_two
from testround.rounds.models import Place

BEGUN = (Place.State.MAKING, Place.State.MEASURED, Place.State.DONE)


@dataclass(frozen=True, slots=True)
class Summary:
    """``odd`` are sentences; ``sent`` and ``missing`` are lists in words, empty where there is nothing."""

    odd: tuple[str, ...]
    sent: str
    missing: str


def summary_of(
    desk: Desk, entries: Sequence[Sent], *, photos: int, answer: SwatchAnswer | None, units: LengthUnit
) -> Summary:
    """The summary of a place, of ``entries`` as `sent_from` gives them and so many photos that are ready."""
    standing = Counter(entry.page for entry in entries if not entry.replaced)
    late = sum(entry.late for entry in entries if not entry.replaced)
    odd = [*_of_swatch(desk, answer, units), *_far_off(desk, units)]
    if late:
        odd.append(
            ngettext("{n} report came after the date.", "{n} reports came after the date.", late).format(
                n=late
            )
        )
    return Summary(
        tuple(odd), commas(_sent(desk, standing, photos)), commas(_missing(desk, standing, photos))
    )


def _of_swatch(desk: Desk, answer: SwatchAnswer | None, units: LengthUnit) -> list[str]:
    if answer is None or answer.good:
        return []
    _verdict, reason = in_two(answer.sentence(units))
    begun = bool(desk.counts or desk.finished) or desk.place.state in BEGUN
    said = [_("By the swatch: {reason}").format(reason=reason)]
    if begun:
        said.append(_("The piece is begun all the same."))
    return [" ".join(said)]


def _far_off(desk: Desk, units: LengthUnit) -> list[str]:
    """What the tester was asked about as it was typed, or would have been, by the names of the things."""
    pattern = desk.pattern
    counts = doubts.of_counts(desk, counts={row.number: row.worked for row in desk.counts})
    readings = {row.dimension: row.values for row in desk.finished}
    finished = doubts.of_finished(desk, readings=readings, units=units)
    body = doubts.of_body(desk, measures=desk.place.measures, units=units)
    said = []
    if counts:
        labels = commas(number.label for number in pattern.numbers if number.key in counts)
        said.append(_("Counts far from what the text says: {labels}.").format(labels=labels))
    if finished:
        labels = commas(one.label for one in pattern.dimensions if one.key in finished)
        said.append(_("Finished measurements far from what is meant: {labels}.").format(labels=labels))
    if body:
        labels = commas(one.label for one in pattern.measures if one.key in body)
        said.append(_("Body measurements that hardly anybody has: {labels}.").format(labels=labels))
    return said


def _sent(desk: Desk, standing: Counter[str], photos: int) -> list[str]:
    pattern, place = desk.pattern, desk.place
    given = sum(measure.key in place.measures for measure in pattern.measures)
    measured = len(pattern.dimensions) - len(desk.unmeasured)
    named = [
        (len(desk.swatches), ngettext("{n} swatch", "{n} swatches", len(desk.swatches)), 0),
        (len(desk.counts), _("{n} of {all} counts"), len(pattern.numbers)),
        (standing["sitting"], ngettext("{n} sitting", "{n} sittings", standing["sitting"]), 0),
        (standing["remark"], ngettext("{n} remark", "{n} remarks", standing["remark"]), 0),
        (measured, _("{n} of {all} finished measurements"), len(pattern.dimensions)),
        (standing["yarn"], _("the yarn it took"), 0),
        (standing["fit"], _("how it fits"), 0),
        (photos, ngettext("{n} photo", "{n} photos", photos), 0),
        (given, _("{n} of {all} body measurements"), len(pattern.measures)),
    ]
    return [words.format(n=n, all=of) for n, words, of in named if n]


def _missing(desk: Desk, standing: Counter[str], photos: int) -> list[str]:
    counts, unmeasured = len(desk.pattern.numbers) - len(desk.counts), len(desk.unmeasured)
    named = [
        (not desk.swatches, _("a swatch")),
        (counts > 0, ngettext("{n} count", "{n} counts", counts).format(n=counts)),
        (not standing["sitting"], _("the hours")),
        (
            unmeasured > 0,
            ngettext("{n} finished measurement", "{n} finished measurements", unmeasured).format(
                n=unmeasured
            ),
        ),
        (not standing["yarn"], _("the yarn it took")),
        (not standing["fit"], _("how it fits")),
        (not photos, _("a photo")),
    ]
    return [words for is_missing, words in named if is_missing]
