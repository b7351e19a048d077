"""Everything there is to do at a place, grouped as a piece goes: before, while and after it is made."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

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
    before = [
        Task(_("Swatch"), "swatch", _("%d sent") % len(desk.swatches) if desk.swatches else _("none yet")),
        Task(
            _("Your guess"),
            "guess",
            _("given") if place.guess_hours or place.guess_metres else _("before you begin"),
        ),
    ]
    if pattern.measures:
        given = sum(measure.key in place.measures for measure in pattern.measures)
        note = _of(given, len(pattern.measures), _("given"))
        # Made to measure, everything begins with them.
        before.insert(2 if pattern.is_graded else 0, Task(_("Your own measurements"), "measures", note))
    making = [
        Task(_("Counting"), "counting", counting_words(counted, len(pattern.numbers))),
        Task(_("Counts"), "counts", _of(len(desk.counts), len(pattern.numbers), _("sent"))),
        Task(_("Hours"), "sitting", _("by the timer, or by hand")),
        Task(_("Remarks"), "remark", _("a stumble in the text")),
    ]
    after = [
        Task(_("Finished measurements"), "finished", _of(measured, len(pattern.dimensions), _("sent"))),
        Task(_("Yarn used"), "yarn", _("given") if place.used_metres or place.used_grams else _("not yet")),
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
        of = _(" of %d") % last.goal if last.goal else ""
        said.append(f"{last.label} {last.rows}{of}")
    if counted.ticked:
        said.append(_("%(done)d of %(all)d steps ticked") % {"done": len(counted.ticked), "all": steps})
    return "; ".join(said) or _("rows and steps, with or without a network")


def counted_lines(counted: Counted, steps: int) -> list[str]:
    """Every open counter with its rows, and how many steps are ticked; nothing where nothing was counted."""
    lines = []
    for tally in counted.tallies:
        words = {"label": tally.label, "rows": tally.rows, "goal": tally.goal}
        if tally.goal:
            lines.append(_("%(label)s: %(rows)d of %(goal)d rows") % words)
        else:
            lines.append(_("%(label)s: %(rows)d rows") % words)
    if counted.ticked:
        lines.append(_("%(done)d of %(all)d steps ticked") % {"done": len(counted.ticked), "all": steps})
    return lines


def _of(done: int, of: int, what: str) -> str:
    return _("%(done)d of %(all)d %(what)s") % {"done": done, "all": of, "what": what}
