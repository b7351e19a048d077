"""A call for testers, and people who offer."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from typing import Any

from django.core import mail
from django.utils import timezone

from testround.outbox.letters import Action, from_data
from testround.outbox.models import Mail
from testround.people.models import User
from testround.rounds.models import Candidate, Round
from testround.rounds.services import call as services
from testround.rounds.services import offers
from testround.rounds.services.offers import Offer

ASKED = "Make one piece, and send a swatch by 25 January."
WREN = Offer(
    name="Wren",
    measures={"bust": 92.5},
    typed={"bust": "92.5 cm"},
    wishes=("S", "M"),
    yarns=("wool_blue",),
    own_yarn=True,
    tests_before=3,
    photo_uses=("pattern",),
    adult=True,
)


def in_days(days: int) -> dt.date:
    return timezone.localdate() + dt.timedelta(days=days)


def written(round: Round, by: User, **changed: Any) -> Round:
    """The call of a round, written and not open yet."""
    said: dict[str, Any] = {
        "call_opens": None,
        "call_closes": in_days(20),
        "asked": ASKED,
        "given": "The pattern.",
        "terms": round.terms,
        "photo_uses": ["pattern", "online"],
    }
    return services.call_edit(round=round, by=by, **(said | changed))


def offer(round: Round, email: str, said: Offer = WREN, key: str = "") -> str:
    """Make an offer, and the secret of the link that is mailed for it."""
    offers.offer_make(round=round, email=email, offer=said, form_key=key or str(uuid.uuid4()))
    return secret_mailed(email)


def confirmed(round: Round, email: str, said: Offer = WREN) -> tuple[Candidate, str]:
    """An offer that was confirmed, and the secret by which it is changed."""
    candidate, url = offers.offer_confirm(secret=offer(round, email, said))
    return candidate, secret_of(url)


def secret_of(url: str) -> str:
    found = re.search(r"/rounds/offer/([^/]+)/", url)
    assert found
    return found[1]


def letters_to(email: str) -> list[Mail]:
    return list(Mail.objects.filter(to=email).order_by("pk"))


def secret_mailed(email: str) -> str:
    """The secret in the newest mail to an address: in its row while it waits, then in what was sent."""
    row = letters_to(email)[-1]
    if row.letter:
        (action,) = [part for part in from_data(row.letter).parts if isinstance(part, Action)]
        return secret_of(action.url)
    return secret_of([sent for sent in mail.outbox if sent.to == [row.to]][-1].body)


def subjects_to(email: str) -> list[str]:
    return [mail.subject for mail in letters_to(email)]


def filled(**changed: Any) -> dict[str, Any]:
    """What the form of somebody who offers sends; None leaves a field out."""
    said = {
        "name": "Wren",
        "email": "wren@example.org",
        "units": "cm",
        "measure_bust": "92.5",
        "wish_1": "S",
        "wish_2": "M",
        "wish_3": "",
        "yarns": ["wool_blue", "own"],
        "tests_before": "3",
        "photo_uses": ["pattern"],
        "adult": "on",
        "website": "",
        "key": str(uuid.uuid4()),
    } | changed
    return {name: value for name, value in said.items() if value is not None}
