"""What the counting page shows, and what its buttons mean where no script runs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.utils import timezone

from testround.reports.counting import Counted
from testround.reports.sections import sections_of
from testround.reports.selectors import Desk


@dataclass(frozen=True, slots=True)
class StepLine:
    """One number of the sheet as a step to tick off."""

    key: str
    label: str
    where: str
    """Its place in the text, with the section: "Fronts, step 1"."""
    place: str
    """The same within the section: "step 1"."""
    unit: str
    value: float | None
    ticked: bool
    sent: bool
    """Its count was sent, so that it is behind the tester without a tick."""

    @property
    def is_behind(self) -> bool:
        return self.ticked or self.sent


@dataclass(frozen=True, slots=True)
class StepSection:
    slug: str
    title: str
    steps: tuple[StepLine, ...]
    is_next: bool
    """Whether it is the first with something that is neither ticked off nor sent."""

    @property
    def count(self) -> int:
        return len(self.steps)

    @property
    def behind(self) -> int:
        return sum(step.is_behind for step in self.steps)


def steps_by_section(desk: Desk, counted: Counted) -> list[StepSection]:
    """Every number of the sheet with the tester's own value, by section."""
    values = {line.key: line for place in desk.worksheet.places for line in place.numbers}
    sections = sections_of(desk.pattern)
    sent = {row.number for row in desk.counts}
    behind = counted.ticked | sent
    next_one = next((one.slug for one in sections if not one.keys <= behind), "")
    return [
        StepSection(
            section.slug,
            section.title,
            tuple(
                StepLine(
                    number.key,
                    number.label,
                    number.place or section.title,
                    (number.place or "").partition(",")[2].strip(),
                    number.unit,
                    values[number.key].value,
                    number.key in counted.ticked,
                    number.key in sent,
                )
                for number in section.numbers
            ),
            section.slug == next_one,
        )
        for section in sections
    ]


def step_to_do(sections: Iterable[StepSection]) -> StepLine | None:
    """The first step of the text that is not behind the tester; None where all are."""
    return next((step for section in sections for step in section.steps if not step.is_behind), None)


def ask_for(code: str) -> str:
    """The end of an address that shows this counter."""
    return f"?{urlencode({'counter': code})}" if code else ""


def presses_of(
    posted: Mapping[str, Any], counted: Counted, new: Mapping[str, Any] | None
) -> tuple[list[dict[str, Any]], str]:
    """The events that the buttons of the page stand for, and the counter to show next.

    ``new`` is what the form for another counter was filled with. The page's key is the event's, so that a press
    repeated by the same page counts once.
    """
    code = str(posted.get("counter", ""))
    event = {"id": str(posted.get("key", "")), "counter": code, "at": timezone.now().isoformat()}
    if new is not None:
        # Named after the page's key: added twice by two presses, it is there once.
        return [{**event, **new, "kind": "counter", "counter": event["id"]}], event["id"]
    if "close" in posted:
        return [{**event, "kind": "close"}], ""
    for name in ("tick", "untick"):
        if name in posted:
            return [{**event, "kind": "tick", "number": posted[name], "done": name == "tick"}], code
    rows = _whole(posted.get("press"))
    if rows is None and "set" in posted:
        # "Put it at 12" is so many rows on or back from where it stands.
        aim = _whole(posted.get("to"))
        tally = next((tally for tally in counted.tallies if str(tally.code) == code), None)
        rows = None if aim is None or aim < 0 or tally is None else aim - tally.rows
    return ([{**event, "kind": "rows", "rows": rows}] if rows else []), code


def _whole(value: Any) -> int | None:
    try:
        return int(str(value))
    except ValueError:
        return None
