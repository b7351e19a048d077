"""Those who offer to test: an offer, its confirmation, its changes, and its end.

Who offers has no account. What proves an offer is the link mailed to its address: until it was followed and the
button pressed, the offer counts for nothing and anybody may have typed it. That an address has offered before is
said in a mail to that address and nowhere else.
"""

from __future__ import annotations

import datetime as dt
import json
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.kernel.problems import Problem
from testround.kernel.round import LONGEST_CM
from testround.kernel.units import decimal
from testround.kernel.words import commas
from testround.outbox.services import regularly
from testround.prepared import Prepared
from testround.rounds import letters
from testround.rounds.models import PHOTO_USES, Candidate, OfferLink, Round
from testround.rounds.refusals import OfferEnded, Refused, UnknownOffer
from testround.rounds.services.call import (
    call_state,
    confirmed_count,
    offers_wanted,
    waiting_move_up,
)
from testround.rounds.services.diary import diary_write
from testround.rounds.services.invitations import secret_hash
from testround.rounds.services.offer_links import offer_link, offer_mail
from testround.rounds.services.rounds import locked_round
from testround.rounds.services.vacancies import offers_changed

CONFIRM_WITHIN = dt.timedelta(days=3)
# An offer that nobody confirmed is kept somewhat longer than its link, so that who comes late is told why.
UNCONFIRMED_KEPT = dt.timedelta(days=7)
# Mails about one round to one address in a day: an address may be typed by anybody.
MAILS_A_DAY = 3


_ANSWERS = (
    "name",
    "measures",
    "typed",
    "wishes",
    "yarns",
    "own_yarn",
    "tests_before",
    "units",
    "terms",
    *(f"photo_{use}" for use in PHOTO_USES),
)


@dataclass(frozen=True, slots=True)
class Offer:
    """What somebody says who offers to test. Lengths in cm; ``typed`` is what was written for them."""

    name: str
    measures: Mapping[str, float] = field(default_factory=dict)
    typed: Mapping[str, str] = field(default_factory=dict)
    wishes: Sequence[str] = ()
    yarns: Sequence[str] = ()
    own_yarn: bool = False
    tests_before: int | None = None
    units: str = "cm"
    terms: str = "us"
    photo_uses: Sequence[str] = ()
    adult: bool = False


def email_key(email: str) -> str:
    """What two spellings of one mailbox share: no capitals, and nothing after a “+” (RFC 5233)."""
    local, _, domain = unicodedata.normalize("NFKC", email).strip().casefold().rpartition("@")
    return f"{local.partition('+')[0] or local}@{domain}"


@transaction.atomic
def offer_make(*, round: Round, email: str, offer: Offer, form_key: str) -> None:
    """Take in an offer, and mail a link that confirms it. The caller learns nothing about the address.

    A press repeated by the same form is one offer. An address whose offer holds already gets a mail that says
    so; one that got MAILS_A_DAY mails in a day gets none until tomorrow, and the offer is not taken in.

    Raises
    ------
    Refused
        The offer cannot be meant: a size that is not there, a measurement out of range.
    OfferEnded
        The call takes no offers any more.
    """
    locked = locked_round(round.pk)
    if not call_state(locked, confirmed=0).takes_offers:
        raise OfferEnded.because(_("This call has ended and takes no more offers."))
    _check_offer(locked, offer)
    key = email_key(email)
    form_hash = _form_hash(form_key, key, offer)
    # Without a key nothing tells a repeated press from another offer.
    if form_hash and locked.candidates.filter(form_hash=form_hash).exists():
        return
    now = timezone.now()
    mailed = OfferLink.objects.filter(
        candidate__round=locked, candidate__email_key=key, created__gt=now - dt.timedelta(days=1)
    )
    if mailed.count() >= MAILS_A_DAY:
        return
    held = locked.candidates.filter(email_key=key, state__in=Candidate.HOLDING).first()
    if held is not None:
        url = offer_link(held, OfferLink.Kind.CHANGE)[1]
        offer_mail(held, letters.call.offered_already, url=url)
        return
    candidate = Candidate(
        round=locked,
        key=_next_key(locked),
        state=Candidate.State.OFFERED,
        email=email.strip(),
        email_key=key,
        form_hash=form_hash,
        adult=True,
    )
    _fill(candidate, offer)
    candidate.save()
    link, url = offer_link(candidate, OfferLink.Kind.CONFIRM, expires=now + CONFIRM_WITHIN)
    offer_mail(candidate, letters.call.confirm, link=link, url=url, days=UNCONFIRMED_KEPT.days)


def offer_of_secret(secret: str) -> OfferLink:
    """The link with its offer, whatever became of it.

    Raises
    ------
    UnknownOffer
        No link has that secret.
    """
    link = _BY_SECRET.first(hash=secret_hash(secret))
    if link is None:
        raise UnknownOffer
    return link


_BY_SECRET: Prepared[OfferLink] = Prepared(
    lambda hash: OfferLink.objects.filter(secret_hash=hash).select_related(
        "candidate__round__edition__pattern__owner"
    )
)


def offer_check(link: OfferLink) -> None:
    """Raise OfferEnded, in a sentence for the person who followed the link, unless it leads to an offer."""
    candidate = link.candidate
    if candidate.state == Candidate.State.WITHDRAWN:
        raise OfferEnded.because(
            _("This offer was taken back. While the call is open you can make another one.")
        )
    if link.kind == OfferLink.Kind.CONFIRM and link.used_at is not None:
        raise OfferEnded.because(
            _(
                "This link has been used: the offer is confirmed. The mail you got then has a link to change "
                "it or to take it back."
            )
        )
    if candidate.state == Candidate.State.OFFERED and link.expires and link.expires <= timezone.now():
        raise OfferEnded.because(
            _(
                "This link ran out on {day}, so the offer was never confirmed. While the call is open you "
                "can make it again."
            ).format(day=letters.day(timezone.localdate(link.expires)))
        )


@transaction.atomic
def offer_confirm(*, secret: str) -> tuple[Candidate, str]:
    """Let an offer count, or wait where the call is full or over. Returns it, and the link to change it by.

    Raises
    ------
    UnknownOffer
        No link has that secret.
    OfferEnded
        The link was used or has run out, the offer was taken back, or the call has ended.
    """
    round = locked_round(offer_of_secret(secret).candidate.round_id)
    # Read again under the lock: of two presses at once, the second finds what the first did.
    link = offer_of_secret(secret)
    offer_check(link)
    candidate = link.candidate
    if candidate.state != Candidate.State.OFFERED:
        raise OfferEnded.because(_("This offer is confirmed already."))
    confirmed = confirmed_count(round)
    state = call_state(round, confirmed=confirmed)
    if not state.takes_offers:
        raise OfferEnded.because(
            _("The call has ended before this offer was confirmed, so it does not count.")
        )
    now = timezone.now()
    candidate.state = Candidate.State.WAITING if state.waits else Candidate.State.CONFIRMED
    candidate.answered = now
    candidate.save(update_fields=["state", "answered", "changed"])
    # What else was offered under this address is this person's too: its links lead to the offer that holds.
    others = round.candidates.filter(email_key=candidate.email_key, state=Candidate.State.OFFERED)
    OfferLink.objects.filter(candidate__in=others).update(candidate=candidate, used_at=now)
    others.delete()
    OfferLink.objects.filter(pk=link.pk).update(used_at=now)
    offers_changed(round)
    url = offer_link(candidate, OfferLink.Kind.CHANGE)[1]
    waits = candidate.state == Candidate.State.WAITING
    offer_mail(candidate, letters.call.waits if waits else letters.call.counts, url=url)
    text = (
        _("{name} confirmed an offer by mail; it waits: the call was full or over.")
        if waits
        else _("{name} confirmed an offer by mail; it counts.")
    )
    diary_write(round=round, text=text.format(name=candidate.name), names=[candidate.name])
    if not waits and confirmed + 1 == offers_wanted(round):
        text = ngettext(
            "Call full with {n} offer: later ones wait.",
            "Call full with {n} offers: later ones wait.",
            confirmed + 1,
        )
        diary_write(round=round, text=text.format(n=confirmed + 1))
    return candidate, url


@transaction.atomic
def offer_change(*, secret: str, offer: Offer) -> Candidate:
    """Put other answers in the place of those given. The address stays: it is what proves whose offer it is.

    Raises
    ------
    Refused, OfferEnded, UnknownOffer
        As when offering; and a place came of the offer meanwhile.
    """
    round = locked_round(offer_of_secret(secret).candidate.round_id)
    link = offer_of_secret(secret)
    offer_check(link)
    candidate = link.candidate
    if candidate.state == Candidate.State.PLACED:
        raise OfferEnded.because(
            _("A place came of this offer: look for the invitation in your mail, or ask {owner}.").format(
                owner=round.edition.pattern.owner
            )
        )
    _check_offer(round, offer)
    before = {name: getattr(candidate, name) for name in _ANSWERS}
    _fill(candidate, offer)
    if {name: getattr(candidate, name) for name in _ANSWERS} != before:
        candidate.save()
        if candidate.state != Candidate.State.OFFERED:
            text = _("{name} changed their offer.").format(name=candidate.name)
            diary_write(round=round, text=text, names=[candidate.name])
    return candidate


@transaction.atomic
def offer_withdraw(*, secret: str) -> Candidate:
    """Take an offer back: what was given with it is deleted, and who waits longest moves up.

    The name stays, as it stands in the diary. An offer that was taken back stays so.
    """
    round = locked_round(offer_of_secret(secret).candidate.round_id)
    candidate = offer_of_secret(secret).candidate
    if candidate.state == Candidate.State.WITHDRAWN:
        return candidate
    if candidate.state == Candidate.State.PLACED:
        raise OfferEnded.because(
            _("A place came of this offer: give it back by the invitation, or tell {owner}.").format(
                owner=round.edition.pattern.owner
            )
        )
    was = candidate.state
    candidate.state = Candidate.State.WITHDRAWN
    candidate.measures, candidate.typed, candidate.wishes, candidate.yarns = {}, {}, [], []
    candidate.own_yarn, candidate.tests_before = False, None
    candidate.email = candidate.email_key = ""
    for use in PHOTO_USES:
        setattr(candidate, f"photo_{use}", False)
    candidate.save()
    if was != Candidate.State.OFFERED:
        text = _("{name} took their offer back.").format(name=candidate.name)
        diary_write(round=round, text=text, names=[candidate.name])
    if was == Candidate.State.CONFIRMED:
        waiting_move_up(round, most=1)
        offers_changed(round)
    return candidate


@regularly
def offers_forget() -> int:
    """Delete offers that nobody confirmed in time, with all that was typed in them. Returns how many."""
    stale = Candidate.objects.filter(
        state=Candidate.State.OFFERED, created__lt=timezone.now() - UNCONFIRMED_KEPT
    )
    count = stale.count()
    stale.delete()
    return count


def _fill(candidate: Candidate, offer: Offer) -> None:
    candidate.name = " ".join(offer.name.split())
    candidate.measures, candidate.typed = dict(offer.measures), dict(offer.typed)
    candidate.wishes, candidate.yarns = list(offer.wishes), list(offer.yarns)
    candidate.own_yarn, candidate.tests_before = offer.own_yarn, offer.tests_before
    candidate.units, candidate.terms = offer.units, offer.terms
    for use in PHOTO_USES:
        setattr(candidate, f"photo_{use}", use in offer.photo_uses)


def _check_offer(round: Round, offer: Offer) -> None:
    document = round.edition.document
    labels = {measure.key: measure.label for measure in document.measures}
    sizes = commas(document.sizes)
    problems = []
    if not offer.name.strip():
        problems.append(Problem("name", _("Write a name to call you by; a first name will do.")))
    if not offer.adult:
        problems.append(
            Problem("adult", _("Only adults offer: for a minor's garment, a parent or another adult does."))
        )
    for size in offer.wishes:
        if size not in document.sizes:
            no_size = (
                _("The pattern has no size {size}: it has {sizes}.")
                if sizes
                else _("The pattern has no size {size}: it is made to measure.")
            )
            problems.append(Problem("wish_1", no_size.format(size=size, sizes=sizes)))
    twice = next((size for i, size in enumerate(offer.wishes) if size in offer.wishes[:i]), None)
    if twice is not None:
        problems.append(
            Problem(
                "wish_2", _("You wished for {twice} twice: choose another size, or none.").format(twice=twice)
            )
        )
    for key, cm in offer.measures.items():
        if key not in labels:
            problems.append(
                Problem("", _("The pattern asks for no measure “{key}”: leave it out.").format(key=key))
            )
        elif not 0 < cm <= LONGEST_CM:
            problems.append(
                Problem(
                    f"measure_{key}",
                    _("{label}: {length} cannot be meant; give a length above 0 and up to {longest}.").format(
                        label=labels[key], length=f"{decimal(cm)} cm", longest=f"{decimal(LONGEST_CM)} cm"
                    ),
                )
            )
    if document.is_graded and not offer.wishes and not set(offer.measures) & set(labels):
        problems.append(
            Problem(
                "wish_1", _("Give a measurement, or wish for a size: otherwise no size can be found for you.")
            )
        )
    known = set(round.yarns.values_list("key", flat=True))
    if unknown := [yarn for yarn in offer.yarns if yarn not in known]:
        problems.append(
            Problem(
                "yarns",
                _("This round does not supply the yarn “{unknown}”: choose one of these.").format(
                    unknown=unknown[0]
                ),
            )
        )
    if not offer.yarns and not offer.own_yarn:
        problems.append(
            Problem("yarns", _("Choose the yarns you would work in, or say that you bring your own."))
        )
    if problems:
        raise Refused(problems)


def _form_hash(form_key: str, key: str, offer: Offer) -> str:
    if not form_key:
        return ""
    return secret_hash(json.dumps([form_key, key, asdict(offer)], sort_keys=True, default=list))


def _next_key(round: Round) -> str:
    taken = set(round.candidates.values_list("key", flat=True))
    number = len(taken) + 1
    while f"c{number:02d}" in taken:
        number += 1
    return f"c{number:02d}"
