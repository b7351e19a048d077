"""The words of mails about a place: the invitation to it, and what becomes of it."""

from __future__ import annotations

import datetime as dt

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from testround.outbox.letters import Action, Facts, Letter, Link, letter
from testround.people.models import User
from testround.rounds.clock import local_day
from testround.rounds.letters.words import day, one_line, size_of
from testround.rounds.models import Invitation, Place, Round

_INVITED = gettext_lazy("A place for you: testing {title}")


def _dates(place: Place) -> tuple[tuple[str, str], ...]:
    round = place.round
    dates = ((_("Opens"), round.opens), (_("Swatches due"), round.swatches_due), (_("Closes"), round.closes))
    return tuple((what, day(date)) for what, date in dates if date)


def invitation(*, invitation: Invitation, place: Place, url: str) -> Letter:
    round = place.round
    pattern = round.edition.pattern
    last = day(local_day(round, invitation.expires))
    if place.candidate_id is not None:
        foot = _(
            "The link is for you alone and works once, until {last}; the place is then offered to "
            "somebody else. You need no account beforehand."
        ).format(last=last)
        why = _("You get this mail because you offered to test.")
    else:
        foot = _(
            "The link is for you alone and works once, until {last}. You need no account beforehand."
        ).format(last=last)
        why = _(
            "If you did not expect this, do nothing: nothing is kept about you but this address and the "
            "name above."
        )
    return letter(
        str(_INVITED).format(title=pattern.title),
        _("Hello {name},").format(name=place.name),
        _("{owner} asks you to test {title}, edition {label}.").format(
            owner=pattern.owner, title=pattern.title, label=round.edition.label
        ),
        Facts(
            (
                (_("Size"), place.size or _("made to your own measurements")),
                (_("Yarn"), place.yarn_label or _("of your own choice")),
                *_dates(place),
            )
        ),
        Action(_("Read the terms and say yes or no"), url),
        foot,
        why=why,
    )


def invitation_ends(*, invitation: Invitation, sent: dt.date) -> Letter:
    """That an invitation is about to run out. The link is in the mail of ``sent``: nothing else has its secret."""
    place = invitation.place
    round = place.round
    pattern = round.edition.pattern
    last = day(local_day(round, invitation.expires))
    asks = (
        _(
            "{owner} asks you to test {title}, {made}, and has not heard from you yet. You can say yes or no until "
            "{last}; the place is then offered to somebody else."
        )
        if place.candidate_id
        else _(
            "{owner} asks you to test {title}, {made}, and has not heard from you yet. You can say yes or no until "
            "{last}; the link ends then."
        )
    )
    return letter(
        _("Until {last}: a place for you, testing {title}").format(last=last, title=pattern.title),
        _("Hello {name},").format(name=place.name),
        asks.format(owner=pattern.owner, title=pattern.title, made=size_of(place), last=last),
        _(
            "The link for it is in the mail of {day}, “{subject}”. For your safety it is kept nowhere "
            "else, so it cannot be repeated here: if you do not find that mail, ask {owner} for a new "
            "link."
        ).format(day=day(sent), subject=str(_INVITED).format(title=pattern.title), owner=pattern.owner),
        why=_(
            "You get this mail once, because that invitation went to this address. If you did not expect "
            "it, do nothing."
        ),
    )


def welcome(*, place: Place, user: User) -> Letter:
    pattern = place.round.edition.pattern
    made = size_of(place)
    dates = _dates(place)
    return letter(
        _("Your place in {title}, and how to come back").format(title=pattern.title),
        _("Hello {name},").format(name=place.name),
        _("the place is yours: {title}, {made}.").format(title=pattern.title, made=made),
        *([Facts(dates)] if dates else []),
        Action(_("Open your place"), f"{settings.SITE_URL}{place.get_absolute_url()}"),
        _(
            "On the device you said yes with you are signed in already. From anywhere else, ask for a "
            "code to be sent to this address; no password is needed."
        ),
        Link(_("A code to sign in with"), f"{settings.SITE_URL}{reverse('account_request_login_code')}"),
        why=_(
            "If it was not you who said yes, ask for such a code all the same: it lets you in, and you "
            "can give the place back."
        ),
    )


def declined(*, place: Place, cause: str) -> Letter:
    round = place.round
    made = size_of(place)
    return letter(
        _("{name} said no to a place: {round}").format(name=place.name, round=round),
        _("{name} would rather not take the place in {round} ({made}).").format(
            name=place.name, round=round, made=made
        ),
        _("Why: {cause}").format(cause=one_line(cause)) if cause.strip() else "",
        Action(
            _("See who is next for it"), f"{settings.SITE_URL}{reverse('rounds:proposal', args=[round.code])}"
        ),
        why=_("You get this mail because the round is yours."),
    )


def unanswered(*, invitation: Invitation) -> Letter:
    """To the owner: an invitation ran out, and nobody in reserve has its place."""
    place = invitation.place
    round = place.round
    said = _(
        "The invitation of %(name)s to %(round)s (%(size)s) ran out on %(day)s and was not answered."
    ) % {
        "name": place.name,
        "round": round,
        "size": size_of(place),
        "day": day(local_day(round, invitation.expires)),
    }
    if place.state == Place.State.OFFERED:
        so = _(
            "The place is still theirs: send a new link, or give the place back so that somebody else can have it."
        )
        action = Action(_("Send a new link"), _at("rounds:invite", round.code, place.pk))
    elif round.state in (Round.State.PLANNED, Round.State.GATHERING):
        so = _("The place is free again, and nobody in reserve can have it.")
        action = Action(_("Look for somebody by the call"), _at("rounds:call_plan", round.code))
    else:
        so = _("The place is free again, and nobody in reserve can have it.")
        action = Action(_("See whether the size still has its testers"), _at("rounds:detail", round.code))
    return letter(
        _("%(name)s has not answered: %(round)s") % {"name": place.name, "round": round},
        said,
        so,
        action,
        why=_("You get this mail because the round is yours."),
    )


def _at(name: str, *args: object) -> str:
    return f"{settings.SITE_URL}{reverse(name, args=args)}"


def taken_back(*, place: Place, cause: str) -> Letter:
    """To its tester: whoever runs the round has taken the place back."""
    pattern = place.round.edition.pattern
    return letter(
        _("Your place in {title} was taken back").format(title=pattern.title),
        _("Hello {name},").format(name=place.name),
        _("your place in the test of {title} ({made}) was taken back: please do not go on with it.").format(
            title=pattern.title, made=size_of(place)
        ),
        _("Why: {cause}").format(cause=one_line(cause)) if cause.strip() else "",
        _("What you have sent stays for {owner} to read. If this comes as a surprise, ask {owner}.").format(
            owner=pattern.owner
        ),
        why=_("You get this mail because you held that place."),
    )


def given_back(*, place: Place, cause: str) -> Letter:
    round = place.round
    made = size_of(place)
    return letter(
        _("{name} gave a place back: {round}").format(name=place.name, round=round),
        _("{name} has given back the place in {round} ({made}).").format(
            name=place.name, round=round, made=made
        ),
        _("Why: {cause}").format(cause=one_line(cause)) if cause.strip() else "",
        _(
            "What was sent from it stays for you to read. A swatch and finished measurements still count in the "
            "results, until you leave them out on the page of the place."
        ),
        Action(
            _("See whether the size still has its testers"), f"{settings.SITE_URL}{round.get_absolute_url()}"
        ),
        why=_("You get this mail because the round is yours."),
    )
