"""The one letter to those who offered and got no place, as the round moves on without them."""

from __future__ import annotations

from django.utils import timezone
from django.utils.translation import ngettext

from testround.rounds import letters
from testround.rounds.models import OfferLink, Round
from testround.rounds.selectors.rounds import offers_without_place
from testround.rounds.services.diary import diary_write
from testround.rounds.services.offer_links import offer_link, offer_mail
from testround.rounds.states import ROUND_ORDER, TOO_LATE_TO_BEGIN


def candidates_thank(round: Round) -> int:
    """Tell everybody who offered and has no place, once, as the round is past gathering. It is locked.

    While no place has been made nobody has been chosen, so that it cannot be said yet who is left; a closed round
    chooses nobody any more. Returns how many were told.
    """
    if ROUND_ORDER.index(round.state) <= ROUND_ORDER.index(Round.State.GATHERING):
        return 0
    if round.state != Round.State.CLOSED and not round.places.exists():
        return 0
    told = list(offers_without_place(round))
    for candidate in told:
        candidate.round = round
        candidate.thanked_at = timezone.now()
        candidate.save(update_fields=["thanked_at"])
        url = offer_link(candidate, OfferLink.Kind.CHANGE)[1]
        may_begin = round.state not in TOO_LATE_TO_BEGIN
        offer_mail(candidate, letters.call.no_place, url=url, may_begin=may_begin)
    if told:
        text = ngettext(
            "{n} person who offered was thanked and told that there is no place for them this time.",
            "{n} people who offered were thanked and told that there is no place for them this time.",
            len(told),
        ).format(n=len(told))
        diary_write(round=round, text=text)
    return len(told)
