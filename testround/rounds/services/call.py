"""The call for testers: how it stands, what the designer changes of it, and who moves up from the waiting list."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from enum import StrEnum

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from testround.kernel.problems import Problem
from testround.kernel.words import commas
from testround.outbox.services import regularly
from testround.patterns.access import Right, require
from testround.patterns.models import new_code
from testround.people.language import speaking_to
from testround.people.models import User
from testround.rounds import letters
from testround.rounds.clock import today_for
from testround.rounds.models import PHOTO_USES, Candidate, OfferLink, Round
from testround.rounds.refusals import Refused
from testround.rounds.services.diary import changed, diary_write
from testround.rounds.services.offer_links import offer_link, offer_mail
from testround.rounds.services.rounds import locked_round, round_move
from testround.rounds.services.vacancies import offers_changed

# Common practice: about one in three who offer fits a size that is still free and stays to the end.
OFFERS_FOR_A_PLACE = 3
# Of a made-to-measure pattern, whose plan has no sizes to count.
PLACES_UNSAID = 8


class CallState(StrEnum):
    """How a call stands to those who find its page."""

    UNOPENED = "unopened"
    OPEN = "open"
    FULL = "full"
    LATE = "late"
    ENDED = "ended"

    @property
    def takes_offers(self) -> bool:
        return self in (CallState.OPEN, CallState.FULL, CallState.LATE)

    @property
    def waits(self) -> bool:
        """Whether an offer confirmed now goes on the waiting list."""
        return self in (CallState.FULL, CallState.LATE)


def places_planned(round: Round) -> int:
    """How many places the round is to have: by its plan, one for a size that the plan says nothing of."""
    sizes = round.edition.sheet.get("sizes") or []
    least = (round.places_plan or {}).get("least") or {}
    return sum(least.get(size, 1) for size in sizes) or PLACES_UNSAID


def sizes_sought(round: Round) -> tuple[str, ...]:
    """The sizes that testers are looked for in: all but those of which the plan takes none."""
    most = (round.places_plan or {}).get("most") or {}
    return tuple(size for size in round.edition.sheet.get("sizes") or [] if most.get(size) != 0)


def offers_wanted(round: Round) -> int:
    """With how many confirmed offers the call is full."""
    return round.offers_wanted or OFFERS_FOR_A_PLACE * places_planned(round)


def call_state(round: Round, *, confirmed: int) -> CallState:
    """How the call stands today, with so many confirmed offers (those who have a place by now among them)."""
    if round.call_code is None or round.state == Round.State.PLANNED:
        return CallState.UNOPENED
    if round.state not in (Round.State.GATHERING, Round.State.SWATCHING) or round.purged_at is not None:
        return CallState.ENDED
    late = round.call_closes is not None and today_for(round) > round.call_closes
    if late or round.call_closed_at is not None or round.state == Round.State.SWATCHING:
        return CallState.LATE
    return CallState.FULL if confirmed >= offers_wanted(round) else CallState.OPEN


def confirmed_count(round: Round) -> int:
    """Offers that count against the number wanted: confirmed, whether or not a place came of them."""
    return round.candidates.filter(state__in=[Candidate.State.CONFIRMED, Candidate.State.PLACED]).count()


@transaction.atomic
def call_edit(
    *,
    round: Round,
    by: User,
    call_opens: dt.date | None,
    call_closes: dt.date | None,
    asked: str,
    given: str,
    terms: str,
    photo_uses: Sequence[str] = (),
    for_child: bool = False,
    offers_wanted: int | None = None,
) -> Round:
    """Write the call, or change it, and say in the diary what changed. Its page gets its address here.

    A later last day opens again a call that its last day had closed; room that comes of a change is given to
    those who wait.
    """
    locked = locked_round(round.pk)
    require(by, Right.EDIT, locked.edition.pattern)
    _check_call(locked, call_opens, call_closes, asked, photo_uses, offers_wanted)
    changes = []
    for label, name, value in (
        (_("first day"), "call_opens", call_opens),
        (_("last day"), "call_closes", call_closes),
        (_("offers wanted"), "offers_wanted", offers_wanted),
    ):
        old = getattr(locked, name)
        if old != value:
            changes.append(changed(label, old, value))
    reopened = locked.call_closed_at is not None and locked.call_closes != call_closes
    more_room = reopened or locked.offers_wanted != offers_wanted
    for reworded, name, text in (
        (_("what is asked reworded"), "asked", asked),
        (_("what testers get reworded"), "given", given),
        (_("terms reworded"), "terms", terms),
    ):
        if getattr(locked, name) != text.strip():
            changes.append(reworded)
            setattr(locked, name, text.strip())
    uses = [use for use in PHOTO_USES if use in photo_uses]
    if list(locked.photo_uses) != uses:
        changes.append(_("what may be done with photos"))
    if locked.for_child != for_child:
        changes.append(_("for a child") if for_child else _("for adults"))
    locked.call_opens, locked.call_closes, locked.offers_wanted = call_opens, call_closes, offers_wanted
    locked.photo_uses, locked.for_child = uses, for_child
    is_new = locked.call_code is None
    if is_new:
        locked.call_code = new_code()
    if reopened and not (call_closes and today_for(locked) > call_closes):
        locked.call_closed_at = None
    if changes or is_new:
        locked.save()
        text = (
            _("Call for testers written.")
            if is_new
            else _("Call changed: {changes}.").format(changes="; ".join(changes))
        )
        diary_write(round=locked, by=by, text=text)
    if more_room:
        waiting_move_up(locked)
    return locked


def _check_call(
    round: Round,
    opens: dt.date | None,
    closes: dt.date | None,
    asked: str,
    photo_uses: Sequence[str],
    wanted: int | None,
) -> None:
    problems = []
    if not asked.strip():
        problems.append(
            Problem("asked", _("Say what is asked of testers, and by when: nobody can offer before."))
        )
    if opens and closes and closes < opens:
        problems.append(
            Problem("call_closes", _("The call cannot close before it opens: pick a later date."))
        )
    if round.opens and opens and opens > round.opens:
        problems.append(
            Problem(
                "call_opens",
                _("The round begins on {day}: open the call before, or move the round's date.").format(
                    day=letters.day(round.opens)
                ),
            )
        )
    if round.opens and closes and closes >= round.opens:
        problems.append(
            Problem(
                "call_closes",
                _("The round begins on {day}: let the call end before, or move the round's date.").format(
                    day=letters.day(round.opens)
                ),
            )
        )
    if wanted is not None and wanted < 1:
        problems.append(Problem("offers_wanted", _("A call wants at least one offer; or leave it empty.")))
    if unknown := [use for use in photo_uses if use not in PHOTO_USES]:
        problems.append(
            Problem(
                "photo_uses",
                _("“{unknown}” is none of {uses}: choose among these.").format(
                    unknown=unknown[0], uses=commas(PHOTO_USES)
                ),
            )
        )
    if problems:
        raise Refused(problems)


@transaction.atomic
def call_open(*, round: Round, by: User) -> Round:
    """Open the call now, or again: the round gathers from here on. An open one stays as it is."""
    locked = locked_round(round.pk)
    require(by, Right.INVITE, locked.edition.pattern)
    if locked.call_code is None:
        raise Refused.because(_("Write the call first: what is asked, and by when."))
    if locked.state not in (Round.State.PLANNED, Round.State.GATHERING):
        raise Refused.because(
            _("The round is {state}: move it back to gathering before you open the call again.").format(
                state=locked.get_state_display()
            )
        )
    if locked.call_closes and today_for(locked) > locked.call_closes:
        raise Refused.because(
            _("The call's last day was {day}: write a later one first.").format(
                day=letters.day(locked.call_closes)
            )
        )
    if locked.state == Round.State.PLANNED:
        locked = round_move(round=locked, state=Round.State.GATHERING, by=by, cause=_("the call was opened"))
    elif locked.call_closed_at is not None:
        locked.call_closed_at = None
        locked.save(update_fields=["call_closed_at"])
        diary_write(round=locked, by=by, text=_("Call opened again."))
        waiting_move_up(locked)
    return locked


@transaction.atomic
def call_close(*, round: Round, by: User) -> Round:
    """Close the call before its last day. Offers that come after this wait. A closed one stays as it is."""
    locked = locked_round(round.pk)
    require(by, Right.INVITE, locked.edition.pattern)
    if locked.state != Round.State.GATHERING or locked.call_code is None:
        raise Refused.because(_("The call is not open, so there is nothing to close."))
    if locked.call_closed_at is None:
        locked.call_closed_at = timezone.now()
        locked.save(update_fields=["call_closed_at"])
        diary_write(round=locked, by=by, text=_("Call closed by hand: offers wait from here on."))
    return locked


@transaction.atomic
def call_address_renew(*, round: Round, by: User) -> Round:
    """Give the call another address; the one that went round leads nowhere from then on."""
    locked = locked_round(round.pk)
    require(by, Right.INVITE, locked.edition.pattern)
    if locked.call_code is None:
        raise Refused.because(_("Write the call first: it has no address yet."))
    locked.call_code = new_code()
    locked.save(update_fields=["call_code"])
    diary_write(round=locked, by=by, text=_("The call's page has a new address."))
    return locked


@regularly
def calls_close_by_date() -> int:
    """Say in the diary of every call whose last day has passed that it is closed. Returns how many it was.

    The page needs no chore for it: it goes by the date. Running it twice says nothing twice.
    """
    yesterday = timezone.now().date() + dt.timedelta(days=1)
    due = Round.objects.filter(
        state=Round.State.GATHERING,
        call_code__isnull=False,
        call_closed_at__isnull=True,
        call_closes__lt=yesterday,
    ).values_list("pk", flat=True)
    return sum(_close_by_date(pk) for pk in list(due))


@transaction.atomic
def _close_by_date(pk: int) -> bool:
    round = locked_round(pk)
    if round.call_closed_at is not None or not round.call_closes or today_for(round) <= round.call_closes:
        return False
    round.call_closed_at = timezone.now()
    round.save(update_fields=["call_closed_at"])
    with speaking_to(round.edition.pattern.owner):
        text = _("Call closed: its last day was {day}.").format(day=letters.day(round.call_closes))
    diary_write(round=round, text=text)
    return True


def waiting_move_up(round: Round, *, most: int | None = None) -> None:
    """Let those who wait longest count, as far as there is room. The round is locked."""
    room = offers_wanted(round) - confirmed_count(round)
    if most is not None:
        room = min(room, most)
    if room <= 0 or round.state not in (Round.State.GATHERING, Round.State.SWATCHING):
        return
    waiting = round.candidates.filter(state=Candidate.State.WAITING).order_by("answered", "pk")
    offers_changed(round)
    for candidate in waiting[:room]:
        candidate.round = round
        candidate.state = Candidate.State.CONFIRMED
        candidate.save(update_fields=["state", "changed"])
        diary_write(
            round=round,
            text=_("{name} moved up from the waiting list; the offer counts.").format(name=candidate.name),
            names=[candidate.name],
        )
        if candidate.email:
            url = offer_link(candidate, OfferLink.Kind.CHANGE)[1]
            offer_mail(candidate, letters.call.counts, url=url)
