"""The words of mails to those who run a pattern beside its owner, and of one who left for good."""

from __future__ import annotations

from django.conf import settings
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from testround.outbox.letters import Action, Letter, letter
from testround.patterns.access import Role
from testround.patterns.models import Membership
from testround.people.models import User
from testround.rounds.letters.words import day, role_word, size_of
from testround.rounds.models import Place

WHAT = {
    Role.OWNER: (
        gettext_lazy(
            "The pattern and its rounds become yours: you publish its errata, invite people, and answer "
            "for what its testers sent."
        )
    ),
    Role.EDITOR: (
        gettext_lazy(
            "As editor you see and change the sheet, the rounds, what the testers sent, and the errata. "
            "Publishing, inviting, and private words with testers stay with the owner."
        )
    ),
    Role.ONLOOKER: (
        gettext_lazy(
            "As onlooker you see how its rounds stand: sizes, counts and dates. You see nobody's "
            "measurements, photos or private words."
        )
    ),
}


def membership(*, membership: Membership, by: User, url: str) -> Letter:
    pattern, role = membership.pattern, membership.role
    return letter(
        _("{title}: will you be its {role}?").format(title=pattern.title, role=role_word(role)),
        "Hello,",
        _("{by} asks you to be {role} of {title}.").format(by=by, role=role_word(role), title=pattern.title),
        str(WHAT[role]),
        Action(_("Say yes or leave it"), url),
        _("The link is for this address alone and works once, until {day}.").format(
            day=day(membership.expires.date())
        ),
        why=_("If you did not expect this, do nothing: nothing is kept about you but this address."),
    )


def left_for_good(*, place: Place, was: str) -> Letter:
    """To the owner, when a tester erased themselves. ``was`` is the state of the place before."""
    round = place.round
    made = size_of(place)
    return letter(
        _("A tester has left for good: {round}").format(round=round),
        _("A tester of {round} has had everything personal erased. The place ({made}) was {was}.").format(
            round=round, made=made, was=Place.State(was).label
        ),
        _(
            "Name, address, body measurements, photos and words are gone. Swatches, counts and finished "
            "measurements stay, as those of “{name}”."
        ).format(name=place.name),
        Action(
            _("See whether the size still has its testers"), f"{settings.SITE_URL}{round.get_absolute_url()}"
        ),
        why=_("You get this mail because the round is yours."),
    )
