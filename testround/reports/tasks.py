"""Everything there is to do at a place, grouped as a piece goes: before, while and after it is made."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from testround.reports.counting import Counted
from testround.reports.selectors import Desk
from testround.rounds.models import Place

BEFORE = (Place.State.OFFERED, Place.State.TAKEN, Place.State.SWATCH_SENT, Place.State.GAUGE_AGREED)


@dataclass(frozen=True, slots=True)
class Task:
    """One page of a place, with how far the tester has come there."""

    label: str
    page: str
    note: str


@dataclass(frozen=True, slots=True)
class TaskGroup:
    """What belongs to one stretch of the work; ``is_now`` when the piece is there."""

    title: str
    tasks: tuple[Task, ...]
    is_now: bool


def task_groups(desk: Desk, counted: Counted) -> list[TaskGroup]:
    """Every page, in the order a round goes. One group is the present one."""
    place, pattern = desk.place, desk.pattern
    measured = len(pattern.dimensions) - len(desk.unmeasured)
    swatches = len(desk.swatches)
    sent = ngettext("{n} sent", "{n} sent", swatches).format(n=swatches) if swatches else _("none yet")
    before = [
        Task(_("Swatch"), "swatch", sent),
        Task(
            _("Your guess"),
            "guess",
            _given() if place.guess_hours or place.guess_metres else _("before you begin"),
        ),
    ]
    if pattern.measures:
        given = sum(measure.key in place.measures for measure in pattern.measures)
        note = _("{done} of {all} given").format(done=given, all=len(pattern.measures))
        # Made to measure, everything begins with them.
        before.insert(2 if pattern.is_graded else 0, Task(_("Your own measurements"), "measures", note))
    making = [
        Task(_("Counting"), "counting", counting_words(counted, len(pattern.numbers))),
        Task(_("Counts"), "counts", _sent(len(desk.counts), len(pattern.numbers))),
        Task(_("Hours"), "sitting", _("by the timer, or by hand")),
        Task(_("Remarks"), "remark", _("a stumble in the text")),
    ]
    after = [
        Task(_("Finished measurements"), "finished", _sent(measured, len(pattern.dimensions))),
        Task(_("Yarn used"), "yarn", _given() if place.used_metres or place.used_grams else _("not yet")),
        Task(_("Fit"), "fit", _("when you have tried it on")),
        Task(_("Photos"), "photo_new", _("of the work")),
    ]
    begun = bool(desk.counts) or counted.begun or place.state not in BEFORE
    ended = bool(desk.finished) or place.state in (Place.State.MEASURED, Place.State.DONE)
    return [
        TaskGroup(_("Before you begin"), tuple(before), not begun and not ended),
        TaskGroup(_("While you work"), tuple(making), begun and not ended),
        TaskGroup(_("When it is finished"), tuple(after), ended),
    ]


def counting_words(counted: Counted, steps: int) -> str:
    """How far the counting is, in a few words: "Back 48 of 96; 9 of 25 steps ticked"."""
    said = []
    if counted.tallies:
        last = counted.tallies[-1]
        # Translators: a row counter, its rows and how many there are to be, as in "Back 48 of 96".
        words = _("{label} {rows} of {goal}") if last.goal else "{label} {rows}"
        said.append(words.format(label=last.label, rows=last.rows, goal=last.goal))
    if counted.ticked:
        said.append(_ticked(len(counted.ticked), steps))
    return "; ".join(said) or _("rows and steps, with or without a network")


def counted_lines(counted: Counted, steps: int) -> list[str]:
    """Every open counter with its rows, and how many steps are ticked; nothing where nothing was counted."""
    lines = []
    for tally in counted.tallies:
        if tally.goal:
            words = _("{label}: {rows} of {goal} rows")
        else:
            words = ngettext("{label}: {rows} row", "{label}: {rows} rows", tally.rows)
        lines.append(words.format(label=tally.label, rows=tally.rows, goal=tally.goal))
    if counted.ticked:
        lines.append(_ticked(len(counted.ticked), steps))
    return lines


def _given() -> str:
    return pgettext("a guess or the yarn used", "given")


def _sent(done: int, of: int) -> str:
    return _("{done} of {all} sent").format(done=done, all=of)


def _ticked(done: int, of: int) -> str:
    return _("{done} of {all} steps ticked").format(done=done, all=of)
