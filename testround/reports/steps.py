"""What a tester does next, and everything else there is to send."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.utils import formats
from django.utils.translation import gettext as _

from testround.kernel.round import Craft
from testround.reports.selectors import Desk
from testround.rounds.due import date_of
from testround.rounds.models import Place, Reminder


@dataclass(frozen=True, slots=True)
class Step:
    """The one next thing: what, why, and the page (its URL name) where it is done."""

    title: str
    why: str
    action: str
    page: str


def in_two(sentence: str) -> tuple[str, str]:
    """The kernel's answer as a heading and what follows: "Not yet" and "Chest would come out …"."""
    verdict, _, reason = sentence.partition(": ")
    return verdict, reason[:1].upper() + reason[1:]


def due_of(step: Step | None, place: Place) -> dt.date | None:
    """The day by which the next step is wanted: the swatch's until that is sent, then the round's last."""
    what = Reminder.What.SWATCH if step and step.page == "swatch" else Reminder.What.MEASURES
    return date_of(place, what)


def late_word(step: Step | None, place: Place, *, today: dt.date) -> str:
    """Said after the reason for the next step where its day is over; else empty. Extras are never late."""
    due = due_of(step, place)
    if step is None or step.page in ("yarn", "photo_new") or due is None or due >= today:
        return ""
    day = formats.date_format(due, "MONTH_DAY_FORMAT")
    if step.page == "swatch":
        return _("It was due {day}; still wanted.").format(day=day)
    return _("Everything was due {day}; still wanted.").format(day=day)


def next_step(desk: Desk) -> Step | None:
    """None when the tester has said that this is all."""
    place, pattern = desk.place, desk.pattern
    if place.state == Place.State.DONE:
        return None
    if desk.lacks_measures:
        return Step(
            _("Give your measurements"),
            _("This piece is made to measure: your numbers are worked out from them."),
            _("Give measurements"),
            "measures",
        )
    answer = desk.swatch_answer()
    begun = bool(desk.counts or desk.finished) or place.state in (Place.State.MAKING, Place.State.MEASURED)
    if answer is None and not begun:
        return Step(
            _("Make a swatch and send it"),
            _("You hear at once whether your gauge will do, before you cast on.")
            if pattern.craft is Craft.KNIT
            else _("You hear at once whether your gauge will do, before you begin."),
            _("Send a swatch"),
            "swatch",
        )
    if answer is not None and not answer.good and not begun:
        if answer.advice is not None and answer.advice.tool_mm is None:
            return Step(
                _("Take your worksheet and begin by the tape"),
                _(
                    "No needle will put your gauge right, so work lengths to the measurements "
                    "given, or to the numbers your own gauge needs."
                )
                if pattern.craft is Craft.KNIT
                else _(
                    "No hook will put your gauge right, so work lengths to the measurements "
                    "given, or to the numbers your own gauge needs."
                ),
                _("Open the worksheet"),
                "worksheet",
            )
        return Step(
            _("Try another needle and swatch again")
            if pattern.craft is Craft.KNIT
            else _("Try another hook and swatch again"),
            _("Your last swatch would put the finished piece out of tolerance."),
            _("See the answer and send another"),
            "swatch",
        )
    if not begun:
        return Step(
            _("Take your worksheet and begin"),
            _("Your gauge will do. The worksheet has every number of yours, on the screen or on paper."),
            _("Open the worksheet"),
            "worksheet",
        )
    if len(desk.counts) < len(pattern.numbers) and not desk.finished:
        return Step(
            _("Send counts as you work"),
            _("{done} of {all} sent. Send one whenever you get to it.").format(
                done=len(desk.counts), all=len(pattern.numbers)
            ),
            _("Send counts"),
            "counts",
        )
    if desk.unmeasured:
        done = len(pattern.dimensions) - len(desk.unmeasured)
        return Step(
            _("Measure the finished piece"),
            _("{done} of {all} measurements sent. Block it first, then measure each twice.").format(
                done=done, all=len(pattern.dimensions)
            ),
            _("Send measurements"),
            "finished",
        )
    if place.used_metres is None and place.used_grams is None:
        return Step(
            _("Say how much yarn it took"),
            _("Everything is measured. The yarn you used tells makers of your size how much to buy."),
            _("Say how much"),
            "yarn",
        )
    return Step(
        _("Show it, and say how it fits"),
        _("Everything is measured. A photo and a word on the fit round it off; then say that you are done."),
        _("Send a photo"),
        "photo_new",
    )
