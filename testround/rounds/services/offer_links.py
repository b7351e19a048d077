"""The links by which an offer is confirmed, changed or taken back, and the mails that bring them."""

from __future__ import annotations

import datetime as dt
import secrets
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.urls import reverse

from testround.outbox.letters import Letter
from testround.outbox.mail import mail_send
from testround.people.language import speaking_to_address
from testround.rounds.models import Candidate, OfferLink
from testround.rounds.services.invitations import secret_hash


def offer_link(
    candidate: Candidate, kind: str, *, expires: dt.datetime | None = None
) -> tuple[OfferLink, str]:
    """Another link to an offer, with its address, which is known this once."""
    secret = secrets.token_urlsafe(32)
    link = OfferLink.objects.create(
        candidate=candidate, kind=kind, secret_hash=secret_hash(secret), expires=expires
    )
    return link, f"{settings.SITE_URL}{reverse('rounds:offer', args=[secret])}"


def offer_mail(candidate: Candidate, write: Callable[..., Letter], **about: Any) -> None:
    """Mail what a function of `letters.call` says of a candidate, in the language of who reads it."""
    with speaking_to_address(candidate.email):
        letter = write(candidate=candidate, **about)
    mail_send(to=candidate.email, letter=letter, name=candidate.name, about=candidate.round.code)
