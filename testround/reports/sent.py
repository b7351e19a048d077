"""Everything a tester sent, as it was typed, newest first."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from testround.kernel.units import decimal, format_count, format_length, tool_label
from testround.kernel.words import commas, ngettext
from testround.people.readers import Reader
from testround.reports.asides import taken_up_of
from testround.reports.models import (
    Count,
    Finished,
    Fit,
    Photo,
    Remark,
    Reported,
    Sitting,
    Submission,
    Swatch,
)
from testround.reports.privacy import WORDLESS
from testround.reports.sections import sections_of
from testround.reports.selectors import Desk

# Pages on which the same thing is said anew. Swatches, sittings, remarks and photos are several of one name.
SAID_ANEW = {"counts", "finished", "fit", "measures", "guess", "yarn"}


@dataclass(frozen=True, slots=True)
class Sent:
    """One thing that was sent; ``page`` is where it is corrected, with ``corrects`` naming the row if need be.

    ``at_field`` ends that address where the page has many questions. ``before`` is what was said of the same thing
    before, ``replaced_at`` when something newer took its place. ``asked`` is the address of the question where it was not sent as it stands: a designer made a remark of it.
    """

    at: dt.datetime
    what: str
    said: str
    late: bool
    replaced: bool
    page: str
    corrects: int | None = None
    asked: str = ""
    at_field: str = ""
    before: str = ""
    replaced_at: dt.datetime | None = None


def sent_from(desk: Desk, reader: Reader) -> list[Sent]:
    """A number of queries that does not grow with what was sent."""
    say = _Sayer(desk, reader)
    found = [
        entry
        for model, tell in say.tellers.items()
        for row in model._default_manager.filter(place=desk.place).select_related("submission")
        if (entry := tell(row)) is not None
    ]
    found += say.kept_on_place()
    return _with_earlier(sorted(found, key=lambda entry: entry.at, reverse=True))


def _with_earlier(found: list[Sent]) -> list[Sent]:
    """Beside what stands, what was said of the same thing before."""
    earlier: dict[tuple[str, str], str] = {}
    told = []
    for entry in reversed(found):
        if entry.page not in SAID_ANEW:
            told.append(entry)
            continue
        same = (entry.page, entry.at_field or entry.what)
        told.append(replace(entry, before=earlier.get(same, "")))
        earlier[same] = entry.said
    return told[::-1]


class _Sayer:
    def __init__(self, desk: Desk, reader: Reader) -> None:
        pattern = desk.pattern
        self.desk = desk
        self.reader = reader
        self.labels = {
            entry.key: entry.label
            for entries in (pattern.numbers, pattern.dimensions, pattern.measures, pattern.parts)
            for entry in entries
        }
        self.gauges = {gauge.key: gauge.label for gauge in pattern.gauges}
        self.taken_up = taken_up_of(desk.place)
        self.sections = {key: section.slug for section in sections_of(pattern) for key in section.keys}
        self.units = {number.key: number.unit for number in pattern.numbers}
        self.tellers: dict[type[Reported], Callable[[Any], Sent | None]] = {
            Swatch: self.swatch,
            Count: self.count,
            Finished: self.finished,
            Sitting: self.sitting,
            Remark: self.remark,
            Fit: self.fit,
            Photo: self.photo,
        }

    def label(self, key: str) -> str:
        return self.labels.get(key, key)

    def entry(self, row: Reported, what: str, said: str, page: str, *, by_row: bool = False) -> Sent:
        return Sent(
            at=row.sent,
            what=what,
            said=said,
            late=bool(row.submission and row.submission.late),
            replaced=row.superseded_at is not None,
            replaced_at=row.superseded_at,
            page=page,
            corrects=row.pk if by_row else None,
        )

    def swatch(self, row: Swatch) -> Sent:
        def typed(name: str, value: float, form: Callable[[float], str]) -> str:
            return row.typed.get(name) or form(value)

        def length(cm: float) -> str:
            return format_length(cm, self.reader.units)

        said = []
        if row.stitches is not None and row.width is not None:
            stitches = typed("stitches", row.stitches, format_count)
            across = ngettext("{count} stitch in {length}", "{count} stitches in {length}", row.stitches)
            said.append(across.format(count=stitches, length=typed("width", row.width, length)))
        if row.rows is not None and row.height is not None:
            rows = typed("rows", row.rows, format_count)
            up = ngettext("{count} row in {length}", "{count} rows in {length}", row.rows)
            said.append(up.format(count=rows, length=typed("height", row.height, length)))
        if row.tool_mm is not None:
            said.append(tool_label(row.tool_mm, self.desk.pattern.craft, self.reader.tools))
        said.append(_("measured blocked") if row.state == "blocked" else _("measured unblocked"))
        what = _("Swatch: {gauge}").format(gauge=self.gauges.get(row.gauge, row.gauge))
        return self.entry(row, what, "; ".join(said), "swatch", by_row=True)

    def count(self, row: Count) -> Sent:
        typed = row.typed.get("worked") or format_count(row.worked)
        match self.units.get(row.number):
            case "st":
                said = ngettext("{count} stitch", "{count} stitches", row.worked)
            case "row":
                said = ngettext("{count} row", "{count} rows", row.worked)
            case "rep":
                said = ngettext("{count} repeat", "{count} repeats", row.worked)
            case _other:
                said = "{count}"
        entry = self.entry(row, self.label(row.number), said.format(count=typed), "counts")
        section = self.sections.get(row.number)
        return replace(entry, at_field=f"?section={section}#id_count_{row.number}" if section else "")

    def finished(self, row: Finished) -> Sent:
        typed = row.typed.get("values") or [format_length(value, self.reader.units) for value in row.values]
        what = _("{dimension}, blocked") if row.state == "blocked" else _("{dimension}, unblocked")
        return self.entry(row, what.format(dimension=self.label(row.dimension)), commas(typed), "finished")

    def sitting(self, row: Sitting) -> Sent:
        hours = row.typed.get("hours") or decimal(row.hours)
        if row.done is None:
            said = _("{hours} hours").format(hours=hours)
        else:
            done = row.typed.get("done") or decimal(100 * row.done)
            said = _("{hours} hours, then {done} % finished").format(hours=hours, done=done)
        what = _("Sitting on {part}").format(part=self.label(row.part)) if row.part else _("Sitting")
        return self.entry(row, what, said, "sitting", by_row=True)

    def remark(self, row: Remark) -> Sent:
        asked = self.taken_up.get(row.pk, "")
        if row.where:
            what = (_("Question at {where}") if asked else _("Remark on {where}")).format(where=row.where)
        else:
            what = _("Question") if asked else _("Remark")
        words = _(WORDLESS) if row.text == WORDLESS else row.text
        said = words if asked else f"{row.get_kind_display()}: {words}"
        return replace(self.entry(row, what, said, "remark", by_row=True), asked=asked)

    def fit(self, row: Fit) -> Sent:
        return self.entry(
            row,
            _("Fit: {dimension}").format(dimension=self.label(row.dimension)),
            row.get_says_display(),
            "fit",
        )

    def photo(self, row: Photo) -> Sent:
        said = row.problem or row.caption or ""
        return self.entry(row, _("Photo"), said, "photo_new")

    def kept_on_place(self) -> Iterator[Sent]:
        """Body measures, yarn and the guess: the last submission of each stands, the earlier ones are replaced."""
        names = {
            "measures": (_("Your own measurements"), self.labels),
            "guess": (
                _("Your guess"),
                # Translators: each of these four stands before what was typed, as in "hours 35".
                {
                    "hours": pgettext("before what was typed", "hours"),
                    "metres": pgettext("before what was typed", "yarn"),
                },
            ),
            "yarn": (
                _("Yarn used"),
                {
                    "metres": pgettext("before what was typed", "length"),
                    "grams": pgettext("before what was typed", "grams"),
                },
            ),
        }
        seen: set[str] = set()
        rows = Submission.objects.filter(place=self.desk.place, kind__in=list(names)).order_by("-sent", "-pk")
        for row in rows:
            what, words = names[row.kind]
            said = "; ".join(f"{words.get(key, key)} {text}" for key, text in row.typed.items())
            yield Sent(
                at=row.sent,
                what=what,
                said=said or _("taken back"),
                late=row.late,
                replaced=row.kind in seen,
                page=row.kind,
            )
            seen.add(row.kind)
