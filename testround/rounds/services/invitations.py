"""Inviting someone to a place, and the yes that takes it."""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets

from allauth.account.models import EmailAddress
from django.conf import settings
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from testround.outbox.mail import mail_send
from testround.patterns.access import Right, require
from testround.people.language import speaking_to, speaking_to_address
from testround.people.models import User
from testround.prepared import Prepared
from testround.rounds import letters
from testround.rounds.clock import end_of_day, local_day, today_for
from testround.rounds.models import PHOTO_USES, Consent, Invitation, Place, Round
from testround.rounds.refusals import AddressHasAccount, InvitationEnded, Refused, UnknownInvitation
from testround.rounds.services.diary import diary_write

INVITATION_LASTS = dt.timedelta(days=30)
# How long a form that has taken a place answers a repeated press by the page it came from.
PRESS_REPEATS_WITHIN = dt.timedelta(minutes=10)


def secret_hash(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


@transaction.atomic
def invitation_create(
    *, place: Place, email: str = "", until: dt.date | None = None, by: User | None
) -> tuple[Invitation, str]:
    """Make a link for one place, which ends earlier links to it, and mail it if an address is given.

    Returns the invitation and the link. Only the secret's hash is kept: the link is known this once. It works as
    long as the place is offered, 30 days where nothing is said of that; ``until`` is a new last day of an offer.
    """
    locked = (
        Place.objects.select_for_update(of=("self",))
        .select_related("round__edition__pattern__owner")
        .get(pk=place.pk)
    )
    require(by, Right.INVITE, locked.round.edition.pattern)
    if locked.state != Place.State.OFFERED:
        raise Refused.because(
            _("{name}'s place is {state}: only an offered place can be offered to somebody.").format(
                name=locked.name, state=locked.get_state_display()
            )
        )
    if until is not None and locked.offered_until is not None:
        _prolong(locked, until)
    withdraw_links(locked)
    secret = secrets.token_urlsafe(32)
    invitation = Invitation.objects.create(
        place=locked,
        secret_hash=secret_hash(secret),
        email=email,
        expires=locked.offered_until or timezone.now() + INVITATION_LASTS,
    )
    url = f"{settings.SITE_URL}{reverse('rounds:join', args=[secret])}"
    text = _("Invitation for {name} made and sent by mail.") if email else _("Invitation for {name} made.")
    diary_write(
        round=locked.round,
        place=locked,
        by=by,
        text=text.format(name=locked.name),
    )
    if email:
        with speaking_to_address(email):
            letter = letters.invitation(invitation=invitation, place=locked, url=url)
        mail_send(to=email, letter=letter, name=locked.name, about=locked.round.code)
    return invitation, url


def _prolong(place: Place, until: dt.date) -> None:
    if until < today_for(place.round):
        raise Refused.because(_("That day is past: pick today or a later one."), "until")
    place.offered_until = end_of_day(place.round, until)
    place.save(update_fields=["offered_until"])


@transaction.atomic
def invitation_withdraw(*, place: Place, by: User) -> bool:
    """End the place's open link. False when there was none."""
    locked = (
        Place.objects.select_for_update(of=("self",))
        .select_related("round__edition__pattern")
        .get(pk=place.pk)
    )
    require(by, Right.INVITE, locked.round.edition.pattern)
    if not withdraw_links(locked):
        return False
    diary_write(
        round=locked.round,
        place=locked,
        by=by,
        text=_("Invitation for {name} withdrawn.").format(name=locked.name),
    )
    return True


def withdraw_links(place: Place) -> int:
    return place.invitations.filter(used_at__isnull=True, withdrawn_at__isnull=True).update(
        withdrawn_at=timezone.now()
    )


def invitation_of_secret(secret: str) -> Invitation:
    """The invitation of a link, whatever became of it.

    Raises
    ------
    UnknownInvitation
        No invitation has that secret.
    """
    invitation = _BY_SECRET.first(hash=secret_hash(secret))
    if invitation is None:
        raise UnknownInvitation
    return invitation


_BY_SECRET: Prepared[Invitation] = Prepared(
    lambda hash: Invitation.objects.filter(secret_hash=hash).select_related(
        "place__round__edition__pattern__owner", "place__tester", "place__candidate"
    )
)


def invitation_check(invitation: Invitation) -> None:
    """Raise InvitationEnded, in a sentence for the person who followed the link, unless it can be used."""
    place = invitation.place
    owner = place.round.edition.pattern.owner
    if invitation.used_at is not None:
        raise InvitationEnded.because(
            _(
                "This link has been used. If it was you who used it, sign in with the address you gave; your "
                "place is under “Today”."
            )
        )
    if invitation.declined_at is not None:
        raise InvitationEnded.because(
            _(
                "You said no to this place, and {owner} is told. If you have changed your mind, ask whether "
                "one is free."
            ).format(owner=owner)
        )
    if place.state == Place.State.GIVEN_BACK:
        raise InvitationEnded.because(
            _("This place is no longer offered. Ask {owner} whether another is free.").format(owner=owner)
        )
    if invitation.withdrawn_at is not None:
        raise InvitationEnded.because(
            _(
                "This link was withdrawn, perhaps for a newer one. Look for a later mail, or ask {owner} for "
                "a new link."
            ).format(owner=owner)
        )
    if invitation.expires <= timezone.now():
        raise InvitationEnded.because(
            _("This link ran out on {day}. Ask {owner} for a new one.").format(
                day=letters.day(local_day(place.round, invitation.expires)), owner=owner
            )
        )
    if place.round.state == Round.State.CLOSED:
        raise InvitationEnded.because(_("This round is closed, so its places can no longer be taken."))
    if place.state != Place.State.OFFERED:
        raise InvitationEnded.because(
            _("This place is taken. Ask {owner} whether another is free.").format(owner=owner)
        )


@transaction.atomic
def invitation_accept(*, secret: str, user: User, name: str = "", form_key: str = "") -> Place:
    """Give the invitation's place to a person who said yes to the round's terms.

    The same person following the same link again gets the same place; of two people at once, one wins.

    Raises
    ------
    UnknownInvitation
        No invitation has that secret.
    InvitationEnded
        It was used by somebody else, withdrawn, or has run out.
    Refused
        The person holds another place in a round that gives each person one.
    """
    invitation = invitation_of_secret(secret)
    # The round's row is the one lock that every taking of its places waits for, so that nobody can take two
    # of them at once.
    Round.objects.select_for_update().get(pk=invitation.place.round_id)
    invitation = invitation_of_secret(secret)
    place = invitation.place
    if invitation.used_at is not None and place.tester_id == user.pk:
        return place
    invitation_check(invitation)
    if not place.round.allow_several:
        other = (
            place.round.places.filter(tester=user)
            .exclude(pk=place.pk)
            .exclude(state=Place.State.GIVEN_BACK)
            .first()
        )
        if other is not None:
            seat = letters.size_of(other)
            raise Refused.because(
                _(
                    "You hold a place in this round already ({seat}), and this round gives each person one. Ask "
                    "{owner} to allow several, or give that one back first."
                ).format(seat=seat, owner=place.round.edition.pattern.owner)
            )

    now = timezone.now()
    used = Invitation.objects.filter(
        pk=invitation.pk, used_at__isnull=True, withdrawn_at__isnull=True
    ).update(used_at=now, used_key_hash=secret_hash(form_key) if form_key else "")
    taken = Place.objects.filter(pk=place.pk, state=Place.State.OFFERED).update(
        state=Place.State.TAKEN,
        tester=user,
        name=name.strip() or place.name,
        agreed_at=now,
        agreed_terms=place.round.terms,
        changed=now,
    )
    if not (used and taken):
        raise InvitationEnded.because(_("Somebody has just used this link, so the place is taken."))
    place.refresh_from_db()
    _keep_consents(place, user)
    own = user.pk == place.round.edition.pattern.owner_id
    moved = (
        _("{name} moved from {before} to {after}, the designer's own.")
        if own
        else _("{name} moved from {before} to {after}.")
    )
    diary_write(
        round=place.round,
        place=place,
        by=user,
        text=moved.format(
            name=place.name, before=Place.State(Place.State.OFFERED).label, after=place.get_state_display()
        ),
        reason=_("said yes to the terms"),
    )
    return place


def _keep_consents(place: Place, user: User) -> None:
    """What someone allowed to be done with photos when they offered stands at the place they got by it."""
    offer = place.candidate
    if offer is None or offer.email.lower() != user.email.lower():
        return
    allowed = [use for use in PHOTO_USES if getattr(offer, f"photo_{use}")]
    Consent.objects.bulk_create(
        Consent(place=place, kind=use, given_at=offer.answered or offer.created) for use in allowed
    )


@transaction.atomic
def person_join(
    *, secret: str, name: str, email: str, units: str, tools: str, terms: str, form_key: str = ""
) -> tuple[User, Place]:
    """Take an invitation's place as somebody who has no account yet: the account is made on the way.

    Raises
    ------
    AddressHasAccount
        The address is an existing account's. A link does not prove whose that is, so its owner signs in.
    """
    invitation_check(invitation_of_secret(secret))
    if User.objects.filter(email__iexact=email).exists():
        raise _address_has_account()
    try:
        with transaction.atomic():
            user = User.objects.create_user(email, name=name.strip(), units=units, tools=tools, terms=terms)
            EmailAddress.objects.create(user=user, email=user.email, primary=True, verified=False)
    except IntegrityError as error:
        raise _address_has_account() from error
    place = invitation_accept(secret=secret, user=user, name=name, form_key=form_key)
    with speaking_to(user):
        letter = letters.welcome(place=place, user=user)
    mail_send(to=user.email, person=user, letter=letter, name=place.name, about=place.round.code)
    return user, place


def person_of_repeated_press(*, secret: str, form_key: str) -> User | None:
    """Who took the place a moment ago with this very form, when the answer to the first press was lost.

    The form's key is known to the page it was drawn on and to nobody else.
    """
    if not form_key:
        return None
    invitation = (
        Invitation.objects.filter(
            secret_hash=secret_hash(secret),
            used_key_hash=secret_hash(form_key),
            used_at__gte=timezone.now() - PRESS_REPEATS_WITHIN,
        )
        .select_related("place__tester")
        .first()
    )
    return invitation.place.tester if invitation else None


def _address_has_account() -> AddressHasAccount:
    return AddressHasAccount.because(
        _("There is an account with this address. Sign in first, then follow the link again."), "email"
    )
