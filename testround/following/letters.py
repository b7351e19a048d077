"""The two mails that a follower ever gets: the question whether they asked, and a published erratum; and the owner's."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import cast
from urllib.parse import urlsplit

from django.conf import settings
from django.utils.translation import gettext as _

from testround.errata.models import Erratum
from testround.errata.selectors import ShownErratum, shown_erratum
from testround.errata.wording import ChangeRow
from testround.following.links import confirm_address, leave_address
from testround.following.models import Attempt, Delivery, Follower, Webhook
from testround.kernel.terms import Terms
from testround.outbox.letters import Action, Facts, Letter, Mailing, Part, letter
from testround.patterns.models import Pattern
from testround.people.readers import Reader


def confirm(*, follower: Follower, days: int) -> Letter:
    title = follower.pattern.title
    return letter(
        _("Follow the errata of {title}?").format(title=title),
        _("Somebody, most likely you, gave this address to be told of errata for {title}.").format(
            title=title
        ),
        Action(_("Yes, follow them"), confirm_address(follower)),
        _(
            "From then on every erratum comes here by mail when it is published, and nothing else does. Each of "
            "these mails has a link that ends them at one press."
        ),
        why=_(
            "If it was not you, do nothing: no more mails come, and the address is deleted within {n} days."
        ).format(n=days),
    )


def published(*, erratum: Erratum) -> Letter:
    """An erratum in full, in both units and in both terms where they differ; the same for all who read a language."""
    title = erratum.pattern.title
    by_terms = {terms: _shown(erratum, terms, "cm") for terms in ("us", "uk")}
    own = by_terms[cast(Terms, erratum.edition.terms)]
    concerned = [_("edition {edition}").format(edition=own.edition), *([own.sizes] if own.sizes else [])]
    address = f"{settings.SITE_URL}{erratum.get_absolute_url()}"
    return letter(
        _("Erratum {number} for {title}: {copies}").format(
            number=erratum.number, title=title, copies=", ".join(concerned)
        ),
        _("An erratum for {title} has been published.").format(title=title),
        Facts(
            (
                (_("Where"), _in_both(by_terms, lambda shown: shown.place)),
                (_("Edition"), own.edition),
                *([(_("Sizes"), ", ".join(erratum.sizes) or own.sizes)] if own.sizes else []),
            )
        ),
        _("It puts right erratum {number}.").format(number=own.corrects) if own.corrects else "",
        *_said(by_terms, lambda shown: shown.text),
        *_numbers(erratum),
        *_why(erratum, by_terms),
        Action(_("Open it, in my own size and units"), address),
        why=_(
            "You get this mail because this address follows the errata of {title}. It is used for nothing else, "
            "and the designer does not see it."
        ).format(title=title),
    )


def to_follower(written: Letter, follower: Follower) -> Letter:
    """The letter to all as one of them gets it: with their own way out."""
    return replace(written, mailing=Mailing(list_id(follower.pattern), leave_address(follower)))


def list_id(pattern: Pattern) -> str:
    """The List-Id of a pattern's errata (RFC 2919): the same as long as the pattern and the site are."""
    host = urlsplit(settings.SITE_URL).hostname or "localhost"
    return f"{pattern.code}.errata.{host}"


def _shown(erratum: Erratum, terms: str, units: str) -> ShownErratum:
    return shown_erratum(erratum, Reader(units=units, terms=terms))  # type: ignore[arg-type]


def _in_both(by_terms: dict[str, ShownErratum], part: Callable[[ShownErratum], str]) -> str:
    """One line in both terms, or once where they say the same."""
    us, uk = part(by_terms["us"]), part(by_terms["uk"])
    return us if us == uk else _("{us} (US terms); {uk} (UK terms)").format(us=us, uk=uk)


def _said(by_terms: dict[str, ShownErratum], part: Callable[[ShownErratum], str]) -> list[str]:
    us, uk = part(by_terms["us"]), part(by_terms["uk"])
    if us == uk:
        return [us]
    return [_("In US terms: {text}").format(text=us), _("In UK terms: {text}").format(text=uk)]


def _numbers(erratum: Erratum) -> list[Part | str]:
    """What was and what is now, each number with its sizes."""
    shown = [
        _shown(erratum, terms, units).tables for terms, units in (("us", "cm"), ("uk", "cm"), ("us", "in"))
    ]
    parts: list[Part | str] = []
    for us, uk, inches in zip(*shown, strict=True):
        caption = us.caption
        if uk.caption != us.caption:
            caption = _("{us} (US terms); {uk} (UK terms)").format(us=us.caption, uk=uk.caption)
        parts.append(caption)
        parts.append(
            Facts(
                tuple(
                    (_both(cm.size, inch.size), _was_now(cm, inch))
                    for cm, inch in zip(us.rows, inches.rows, strict=True)
                )
            )
        )
    return parts


def _was_now(cm: ChangeRow, inch: ChangeRow) -> str:
    return _("was {was}, now {now}").format(was=_both(cm.was, inch.was), now=_both(cm.now, inch.now))


def _both(cm: str, inches: str) -> str:
    """Said in centimetres and in inches; what is no length is said once."""
    return cm if cm == inches else f"{cm} ({inches})"


def _why(erratum: Erratum, by_terms: dict[str, ShownErratum]) -> list[str]:
    if not erratum.why:
        return []
    said = _in_both(by_terms, lambda shown: shown.why)
    in_inches = _shown(erratum, erratum.edition.terms, "in").why
    why = _("Why: {why}").format(why=said)
    if in_inches == by_terms[erratum.edition.terms].why:
        return [why]
    return [why, _("In inches: {why}").format(why=in_inches)]


def given_up(*, webhook: Webhook, delivery: Delivery, attempt: Attempt) -> Letter:
    """To the owner, when a message could not be delivered to one of the pattern's addresses."""
    title = webhook.pattern.title
    answered = (
        _("it answered {status}").format(status=attempt.status)
        if attempt.status is not None
        else attempt.get_problem_display()
    )
    erratum = delivery.erratum
    what = _("Erratum {number}").format(number=erratum.number) if erratum is not None else ""
    return letter(
        _("Not delivered: errata of {title}").format(title=title),
        _("An erratum of {title} could not be posted to another program, and is not tried any more.").format(
            title=title
        ),
        Facts(
            (
                *([(_("What"), what)] if what else []),
                (_("Address"), webhook.url),
                (_("Last attempt"), answered),
            )
        ),
        webhook.get_paused_display() if webhook.paused else "",
        _("When the address is mended, take it up again and send what it missed.")
        if webhook.paused
        else _("When the address is mended, send it again from its page."),
        Action(_("See what was tried"), f"{settings.SITE_URL}{webhook.get_absolute_url()}"),
        why=_("You get this mail because the pattern is yours."),
    )
