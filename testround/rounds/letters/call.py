"""The words of the mails to those who offer to test."""

from __future__ import annotations

from testround.outbox.letters import Action, Facts, Letter, letter
from testround.rounds.letters.words import day
from testround.rounds.models import Candidate, OfferLink

NOT_YOU = "If it was not you, do nothing: the offer does not count, and is deleted after {days} days."


def _why(candidate: Candidate) -> str:
    return (
        f"You get this mail because this address was given in an offer to test "
        f"{candidate.round.edition.pattern.title}."
    )


def _answers(candidate: Candidate, sizes: bool) -> Facts:
    rows = [("Name", candidate.name)]
    if sizes:
        rows.append(("Sizes", ", then ".join(candidate.wishes) or "whichever fits"))
    return Facts(tuple(rows))


def confirm(*, candidate: Candidate, link: OfferLink, url: str, days: int) -> Letter:
    """To somebody who has just offered: is it you, and do you mean it?"""
    pattern = candidate.round.edition.pattern
    return letter(
        f"Confirm your offer to test {pattern.title}",
        f"Hello {candidate.name},",
        f"you offer {pattern.owner} to test {pattern.title}. The offer counts once you have confirmed it.",
        _answers(candidate, sizes=bool(candidate.round.edition.sheet.get("sizes"))),
        Action("Look it over and confirm", url),
        f"The link works once, until {day(link.expires.date())}." if link.expires else "",
        NOT_YOU.format(days=days),
        why=_why(candidate),
    )


def offered_already(*, candidate: Candidate, url: str) -> Letter:
    """To somebody whose offer holds and whose address was given once more."""
    pattern = candidate.round.edition.pattern
    return letter(
        f"You have offered to test {pattern.title} already",
        f"Hello {candidate.name},",
        f"your address was just given in another offer to test {pattern.title}. Your first offer holds, and "
        "nothing of it has changed: there is one for each person. To change it, or to take it back:",
        Action("See your offer", url),
        "If it was not you who offered again, there is nothing to do.",
        why=_why(candidate),
    )


def counts(*, candidate: Candidate, url: str) -> Letter:
    """To somebody whose offer counts now: what comes next, and how to change it."""
    round = candidate.round
    pattern = round.edition.pattern
    until = f" The call is open until {day(round.call_closes)}." if round.call_closes else ""
    return letter(
        f"Your offer to test {pattern.title} counts",
        f"Hello {candidate.name},",
        f"your offer has reached {pattern.owner}, who will choose among those who offered so that every size "
        f"has its testers.{until} If there is a place for you, an invitation comes to this address. You owe "
        "nothing before you say yes to it.",
        Action("Change or take back your offer", url),
        "Keep this mail: the link is the only way to your offer, and whoever has it can change it.",
        why=_why(candidate),
    )


def waits(*, candidate: Candidate, url: str) -> Letter:
    """To somebody whose offer came when the call was full or over."""
    pattern = candidate.round.edition.pattern
    return letter(
        f"You are on the waiting list for testing {pattern.title}",
        f"Hello {candidate.name},",
        f"the call was full or over when you confirmed, so your offer to {pattern.owner} waits. It moves up when "
        "somebody before you takes theirs back; you are told if it does.",
        Action("Change or take back your offer", url),
        "Keep this mail: the link is the only way to your offer, and whoever has it can change it.",
        why=_why(candidate),
    )


def no_place(*, candidate: Candidate, url: str, may_begin: bool) -> Letter:
    """To somebody who offered and got no place. ``may_begin``: whether one that falls free may still come to them."""
    round = candidate.round
    pattern = round.edition.pattern
    if not may_begin:
        later = ""
    elif candidate.state == Candidate.State.WAITING:
        later = f"You stay on the waiting list, and {pattern.owner} may still ask you."
    else:
        later = (
            "You stay in reserve until the measuring begins: if a place that you can have falls free, an invitation "
            "may come to this address. You owe nothing before you say yes to it."
        )
    kept = (
        f"Your measurements, and all else that you gave with your offer, are deleted on {day(round.purge_on)}. "
        if round.purge_on
        else ""
    )
    return letter(
        f"Testing {pattern.title}: no place this time",
        f"Hello {candidate.name},",
        f"thank you for offering {pattern.owner} to test {pattern.title}. There is no place for you this time.",
        later,
        f"{kept}Take your offer back, and your measurements and your address are deleted at once; you owe no reason.",
        Action("See your offer, or take it back", url),
        why=_why(candidate),
    )
