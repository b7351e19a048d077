"""What a tester does next, and everything else there is to send."""

from __future__ import annotations

from dataclasses import dataclass

from testround.kernel.units import tool_word
from testround.reports.selectors import Desk
from testround.rounds.models import Place


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


def next_step(desk: Desk) -> Step | None:
    """None when the tester has said that this is all."""
    place, pattern = desk.place, desk.pattern
    if place.state == Place.State.DONE:
        return None
    if desk.lacks_measures:
        return Step(
            "Give your measurements",
            "This piece is made to measure: your numbers are worked out from them.",
            "Give measurements",
            "measures",
        )
    answer = desk.swatch_answer()
    begun = bool(desk.counts or desk.finished) or place.state in (Place.State.MAKING, Place.State.MEASURED)
    if answer is None and not begun:
        return Step(
            "Make a swatch and send it",
            "You hear at once whether your gauge will do, before you cast on."
            if pattern.craft == "knit"
            else "You hear at once whether your gauge will do, before you begin.",
            "Send a swatch",
            "swatch",
        )
    if answer is not None and not answer.good and not begun:
        if answer.advice is not None and answer.advice.tool_mm is None:
            return Step(
                "Take your worksheet and begin by the tape",
                f"No {tool_word(pattern.craft)} will put your gauge right, so work lengths to the measurements "
                "given, or to the numbers your own gauge needs.",
                "Open the worksheet",
                "worksheet",
            )
        return Step(
            f"Try another {tool_word(pattern.craft)} and swatch again",
            "Your last swatch would put the finished piece out of tolerance.",
            "See the answer and send another",
            "swatch",
        )
    if not begun:
        return Step(
            "Take your worksheet and begin",
            "Your gauge will do. The worksheet has every number of yours, on the screen or on paper.",
            "Open the worksheet",
            "worksheet",
        )
    if len(desk.counts) < len(pattern.numbers) and not desk.finished:
        return Step(
            "Send counts as you work",
            f"{len(desk.counts)} of {len(pattern.numbers)} sent. Send one whenever you get to it.",
            "Send counts",
            "counts",
        )
    if desk.unmeasured:
        done = len(pattern.dimensions) - len(desk.unmeasured)
        return Step(
            "Measure the finished piece",
            f"{done} of {len(pattern.dimensions)} measurements sent. Block it first, then measure each twice.",
            "Send measurements",
            "finished",
        )
    if place.used_metres is None and place.used_grams is None:
        return Step(
            "Say how much yarn it took",
            "Everything is measured. The yarn you used tells makers of your size how much to buy.",
            "Say how much",
            "yarn",
        )
    return Step(
        "Show it, and say how it fits",
        "Everything is measured. A photo and a word on the fit round it off; then say that you are done.",
        "Send a photo",
        "photo_new",
    )
