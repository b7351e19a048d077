"""The words of the mails to those who offer to test."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.outbox.letters import Action, Facts, Letter, letter
from testround.rounds.letters.words import day, in_turn
from testround.rounds.models import Candidate, OfferLink


def _why(candidate: Candidate) -> str:
    return _("You get this mail because this address was given in an offer to test {title}.").format(
        title=candidate.round.edition.pattern.title
    )


def _answers(candidate: Candidate, sizes: bool) -> Facts:
    rows = [(_("Name"), candidate.name)]
    if sizes:
        rows.append((_("Sizes"), in_turn(candidate.wishes) or _("whichever fits")))
    return Facts(tuple(rows))


def confirm(*, candidate: Candidate, link: OfferLink, url: str, days: int) -> Letter:
    """To somebody who has just offered: is it you, and do you mean it?"""
    pattern = candidate.round.edition.pattern
    return letter(
        _("Confirm your offer to test {title}").format(title=pattern.title),
        _("Hello {name},").format(name=candidate.name),
        _("you offer {owner} to test {title}. The offer counts once you have confirmed it.").format(
            owner=pattern.owner, title=pattern.title
        ),
        _answers(candidate, sizes=bool(candidate.round.edition.sheet.get("sizes"))),
        Action(_("Look it over and confirm"), url),
        _("The link works once, until {day}.").format(day=day(link.expires.date())) if link.expires else "",
        ngettext(
            "If it was not you, do nothing: the offer does not count, and is deleted after {n} day.",
            "If it was not you, do nothing: the offer does not count, and is deleted after {n} days.",
            days,
        ).format(n=days),
        why=_why(candidate),
    )


def offered_already(*, candidate: Candidate, url: str) -> Letter:
    """To somebody whose offer holds and whose address was given once more."""
    pattern = candidate.round.edition.pattern
    return letter(
        _("You have offered to test {title} already").format(title=pattern.title),
        _("Hello {name},").format(name=candidate.name),
        _(
            "your address was just given in another offer to test {title}. Your first offer holds, and "
            "nothing of it has changed: there is one for each person. To change it, or to take it back:"
        ).format(title=pattern.title),
        Action(_("See your offer"), url),
        _("If it was not you who offered again, there is nothing to do."),
        why=_why(candidate),
    )


def counts(*, candidate: Candidate, url: str) -> Letter:
    """To somebody whose offer counts now: what comes next, and how to change it."""
    round = candidate.round
    pattern = round.edition.pattern
    if round.call_closes:
        reached = _(
            "your offer has reached {owner}, who will choose among those who offered so that every size has its "
            "testers. The call is open until {day}. If there is a place for you, an invitation comes to this address. "
            "You owe nothing before you say yes to it."
        ).format(owner=pattern.owner, day=day(round.call_closes))
    else:
        reached = _(
            "your offer has reached {owner}, who will choose among those who offered so that every size has its "
            "testers. If there is a place for you, an invitation comes to this address. You owe nothing before you "
            "say yes to it."
        ).format(owner=pattern.owner)
    return letter(
        _("Your offer to test {title} counts").format(title=pattern.title),
        _("Hello {name},").format(name=candidate.name),
        reached,
        Action(_("Change or take back your offer"), url),
        _("Keep this mail: the link is the only way to your offer, and whoever has it can change it."),
        why=_why(candidate),
    )


def waits(*, candidate: Candidate, url: str) -> Letter:
    """To somebody whose offer came when the call was full or over."""
    pattern = candidate.round.edition.pattern
    return letter(
        _("You are on the waiting list for testing {title}").format(title=pattern.title),
        _("Hello {name},").format(name=candidate.name),
        _(
            "the call was full or over when you confirmed, so your offer to {owner} waits. It moves up "
            "when somebody before you takes theirs back; you are told if it does."
        ).format(owner=pattern.owner),
        Action(_("Change or take back your offer"), url),
        _("Keep this mail: the link is the only way to your offer, and whoever has it can change it."),
        why=_why(candidate),
    )


def no_place(*, candidate: Candidate, url: str, may_begin: bool) -> Letter:
    """To somebody who offered and got no place. ``may_begin``: whether one that falls free may still come to them."""
    round = candidate.round
    pattern = round.edition.pattern
    if not may_begin:
        later = ""
    elif candidate.state == Candidate.State.WAITING:
        later = _("You stay on the waiting list, and {owner} may still ask you.").format(owner=pattern.owner)
    else:
        later = _(
            "You stay in reserve until the measuring begins: if a place that you can have falls free, an "
            "invitation may come to this address. You owe nothing before you say yes to it."
        )
    if round.purge_on:
        kept = _(
            "Your measurements, and all else that you gave with your offer, are deleted on {day}. Take your offer "
            "back, and your measurements and your address are deleted at once; you owe no reason."
        ).format(day=day(round.purge_on))
    else:
        kept = _(
            "Take your offer back, and your measurements and your address are deleted at once; you owe no reason."
        )
    return letter(
        _("Testing {title}: no place this time").format(title=pattern.title),
        _("Hello {name},").format(name=candidate.name),
        _("thank you for offering {owner} to test {title}. There is no place for you this time.").format(
            owner=pattern.owner, title=pattern.title
        ),
        later,
        kept,
        Action(_("See your offer, or take it back"), url),
        why=_why(candidate),
    )
