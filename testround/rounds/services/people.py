"""Who runs a pattern and its rounds beside its owner: invited by mail, held until either side ends it."""

from __future__ import annotations

import datetime as dt
import secrets
import uuid
from collections.abc import Sequence

from django.conf import settings
from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from testround.kernel.words import commas
from testround.outbox.mail import mail_send
from testround.patterns.access import Right, Role, require
from testround.patterns.models import Membership, Pattern
from testround.people.language import speaking_to_address
from testround.people.models import User
from testround.rounds import letters
from testround.rounds.letters.words import role_word
from testround.rounds.models import Round
from testround.rounds.refusals import InvitationEnded, Refused, UnknownInvitation
from testround.rounds.services.diary import diary_write
from testround.rounds.services.invitations import secret_hash

MEMBERSHIP_LINK_LASTS = dt.timedelta(days=14)


@transaction.atomic
def member_invite(*, pattern: Pattern, email: str, role: str, key: uuid.UUID, by: User) -> Membership:
    """Invite someone to a part in a pattern and all its rounds, by a link mailed to their address.

    An earlier link to that address ends. The same form sent twice invites once.

    Raises
    ------
    PermissionDenied
        Only the owner invites.
    Refused
        The role is none, or the address is the owner's own.
    """
    locked = _locked(pattern)
    require(by, Right.INVITE, locked)
    known = locked.memberships.filter(key=key).first()
    if known is not None:
        return known
    if role not in Role.values:
        raise Refused.because(
            _("Choose what they are to be: {roles}.").format(roles=commas(map(role_word, Role.values))),
            "role",
        )
    email = email.strip().lower()
    if email == locked.owner.email.lower():
        raise Refused.because(_("This is your own address, and the pattern is yours already."), "email")
    now = timezone.now()
    locked.memberships.filter(email=email, joined_at__isnull=True, ended_at__isnull=True).update(ended_at=now)
    secret = secrets.token_urlsafe(32)
    membership = Membership.objects.create(
        pattern=locked,
        role=role,
        email=email,
        key=key,
        secret_hash=secret_hash(secret),
        invited_by=by,
        invited_at=now,
        expires=now + MEMBERSHIP_LINK_LASTS,
    )
    url = f"{settings.SITE_URL}{reverse('rounds:person_join', args=[secret])}"
    with speaking_to_address(email):
        letter = letters.people.membership(membership=membership, by=by, url=url)
    mail_send(to=email, letter=letter)
    _diary(locked, by, _("An invitation to be {role} was mailed.").format(role=role_word(role)))
    return membership


def membership_of_secret(secret: str) -> Membership:
    """The invitation of a link, whatever became of it. Raises UnknownInvitation."""
    memberships = Membership.objects.select_related("pattern__owner", "user", "invited_by")
    membership = memberships.filter(secret_hash=secret_hash(secret)).first()
    if membership is None:
        raise UnknownInvitation
    return membership


def membership_check(membership: Membership, user: User | None) -> None:
    """Raise InvitationEnded, in a sentence for who followed the link, unless it can be used (by that person)."""
    owner = membership.pattern.owner
    if membership.joined_at is not None:
        raise InvitationEnded.because(_("This link has been used: it works once."))
    if membership.ended_at is not None:
        raise InvitationEnded.because(
            _(
                "This link was withdrawn, perhaps for a newer one. Look for a later mail, or ask {owner}."
            ).format(owner=owner)
        )
    if membership.expires <= timezone.now():
        raise InvitationEnded.because(
            _("This link ran out on {day}. Ask {owner} for a new one.").format(
                day=letters.day(membership.expires.date()), owner=owner
            )
        )
    if user is not None and user.pk == owner.pk:
        raise InvitationEnded.because(_("This pattern is yours already."))
    if user is not None and user.email.lower() != membership.email.lower():
        raise InvitationEnded.because(
            _(
                "This link is for another address than {email}. Sign in with the address that it was mailed "
                "to, or ask {owner} to invite this one."
            ).format(email=user.email, owner=owner)
        )


@transaction.atomic
def membership_accept(*, secret: str, user: User) -> Membership:
    """Take the part that a link offers. The same person following the same link again has it already.

    Someone who has another part in the pattern changes it for this one. Who becomes owner takes the pattern
    over, and the owner until then becomes an editor.

    Raises
    ------
    UnknownInvitation
        No invitation has that secret.
    InvitationEnded
        It was used, withdrawn, has run out, or is another address's.
    """
    # The pattern's row is what everyone waits for who changes who has a part in it.
    pattern = _locked(membership_of_secret(secret).pattern)
    membership = membership_of_secret(secret)
    if membership.joined_at is not None and membership.user_id == user.pk and membership.ended_at is None:
        return membership
    membership_check(membership, user)
    now = timezone.now()
    pattern.memberships.filter(user=user, ended_at__isnull=True).update(ended_at=now)
    membership.user, membership.joined_at = user, now
    if membership.role == Role.OWNER:
        before, pattern.owner = pattern.owner, user
        pattern.save(update_fields=["owner"])
        # The part of an owner is the pattern's own field; this row says how it came about.
        membership.ended_at = now
        Membership.objects.create(
            pattern=pattern,
            role=Role.EDITOR,
            email=before.email,
            user=before,
            secret_hash=secret_hash(secrets.token_urlsafe(32)),
            invited_by=user,
            expires=now,
            joined_at=now,
        )
        taken_over = _(
            "{name} took the pattern and its rounds over from {before}, who is editor now."
        ).format(name=user, before=before)
        _diary(pattern, user, taken_over, names=[str(before)])
    else:
        became = _("{name} became {role}.").format(name=user, role=role_word(membership.role))
        _diary(pattern, user, became)
    membership.save(update_fields=["user", "joined_at", "ended_at"])
    return membership


@transaction.atomic
def membership_end(*, membership: Membership, by: User) -> bool:
    """End a part, or an invitation to one: its owner may, and who holds it. False when it had ended already."""
    pattern = _locked(membership.pattern)
    locked = Membership.objects.select_related("user").get(pk=membership.pk)
    if locked.user_id != by.pk:
        require(by, Right.INVITE, pattern)
    if locked.ended_at is not None:
        return False
    locked.ended_at = timezone.now()
    locked.save(update_fields=["ended_at"])
    if locked.user is None:
        _diary(
            pattern, by, _("An invitation to be {role} was withdrawn.").format(role=role_word(locked.role))
        )
    else:
        ended = _("{name} is no longer {role}.").format(name=locked.user, role=role_word(locked.role))
        _diary(pattern, by, ended, names=[str(locked.user)])
    return True


def _locked(pattern: Pattern) -> Pattern:
    return (
        Pattern.objects.select_for_update(of=("self",), no_key=True)
        .select_related("owner")
        .get(pk=pattern.pk)
    )


def _diary(pattern: Pattern, by: User, text: str, names: Sequence[str] = ()) -> None:
    """A part in a pattern is one in all its rounds, so that every round's diary has it."""
    for round in Round.objects.filter(edition__pattern=pattern):
        diary_write(round=round, by=by, text=text, names=[str(by), *names])
