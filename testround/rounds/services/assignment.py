"""Who makes what: changing the draft, and the step from it to invitations.

What the designer has looked at has a fingerprint, and nothing else than that is accepted.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.kernel.roundfile import plain
from testround.kernel.units import format_length
from testround.patterns.access import Right, require
from testround.people.models import User
from testround.rounds import letters
from testround.rounds.bridge import seated_round
from testround.rounds.clock import end_of_day, today_for
from testround.rounds.models import Place, Proposal, Round
from testround.rounds.refusals import Refused
from testround.rounds.services.diary import diary_write
from testround.rounds.services.drafts import Drafted, asked_of, best_of, draft_of, drafted
from testround.rounds.services.invitations import invitation_create
from testround.rounds.services.places import place_add
from testround.rounds.services.rounds import checked_plan, locked_round
from testround.rounds.services.vacancies import places_fill

LONGEST_REACH_CM = 50.0
MOST_OFFER_DAYS = 90


class StaleDraft(Refused):
    """The draft, or who offers, is no longer what the page showed."""


class AlreadyAccepted(Refused):
    """This very proposal was accepted a moment ago, by the same press or another tab."""


# Changing a draft -----------------------------------------------------------------------------------------


def proposal_save(
    *,
    round: Round,
    by: User,
    revision: int,
    reach: float | None = None,
    pins: Sequence[Mapping[str, str | None]] | None = None,
    exclusions: Sequence[Mapping[str, str | None]] | None = None,
    moves: Mapping[str, Mapping[str, str | None] | None] | None = None,
) -> Proposal:
    """Save what of the draft is given, if it is the draft that was seen and nothing in it contradicts.

    Raises
    ------
    StaleDraft
        It was saved elsewhere since.
    Refused
        What would be asked contradicts; nothing is saved.
    """
    require(by, Right.EDIT, round.edition.pattern)
    changes = {"reach": reach, "pins": pins, "exclusions": exclusions, "moves": moves}
    given = {field: value for field, value in changes.items() if value is not None}
    if reach is not None and not 0 <= reach <= LONGEST_REACH_CM:
        raise Refused.because(
            _("The reach is a length from 0 to {longest}.").format(longest=format_length(LONGEST_REACH_CM)),
            "reach",
        )
    draft = draft_of(round)
    _check_revision(draft, revision)
    for field, value in given.items():
        setattr(draft, field, value)
    # Worked out before anything is locked: it may take its time, and the page asks for the same at once.
    read = seated_round(round)
    best_of(read, asked_of(draft, read))
    with transaction.atomic():
        locked = locked_round(round.pk)
        _check_revision(draft_of(locked), revision)
        draft.revision = revision + 1
        draft.save()
    return draft


def _check_revision(draft: Proposal, revision: int) -> None:
    if draft.revision != revision:
        raise StaleDraft.because(
            _(
                "This draft was changed since you opened the page, perhaps in another tab. What you chose is "
                "kept below beside it: look again, and save again."
            )
        )


def proposal_limits(
    *,
    round: Round,
    by: User,
    revision: int,
    reach: float,
    places_plan: Mapping[str, object] | None,
    invite_next: bool,
    offer_days: int,
) -> Proposal:
    """Change what a proposal keeps to: the reach, how many testers each size needs and takes, and what happens
    when a place falls free. All of it or nothing.

    Raises
    ------
    StaleDraft
        The draft was saved elsewhere since.
    Refused
        A size takes fewer than it needs or is none of the pattern's, or a pin cannot be kept any more.
    """
    require(by, Right.EDIT, round.edition.pattern)
    # Worked out before anything is locked, on a round that is not saved; the saving then finds it done.
    ahead = Round.objects.select_related("edition__pattern__owner").get(pk=round.pk)
    ahead.places_plan = checked_plan(places_plan, ahead.edition.document)
    draft, read = draft_of(ahead), seated_round(ahead)
    draft.reach = reach
    best_of(read, asked_of(draft, read))
    with transaction.atomic():
        _plan(round, by, places_plan, invite_next, offer_days)
        return proposal_save(round=locked_round(round.pk), by=by, revision=revision, reach=reach)


def _plan(
    round: Round,
    by: User,
    places_plan: Mapping[str, object] | None,
    invite_next: bool,
    offer_days: int,
) -> None:
    locked = locked_round(round.pk)
    plan = checked_plan(places_plan, locked.edition.document)
    if not 1 <= offer_days <= MOST_OFFER_DAYS:
        raise Refused.because(
            _("An offer stands for 1 to {most} days.").format(most=MOST_OFFER_DAYS),
            "offer_days",
        )
    changes = []
    if (locked.places_plan or None) != plan:
        changes.append(_("how many testers each size needs"))
        locked.places_plan = plan
    if locked.invite_next != invite_next:
        # Who may not invite does not have it done by the program either.
        require(by, Right.INVITE, locked.edition.pattern)
        changes.append(
            _("the next in reserve is invited at once")
            if invite_next
            else _("the next in reserve is invited by the designer")
        )
        locked.invite_next = invite_next
    if locked.offer_days != offer_days:
        changes.append(
            ngettext(
                "offers to the next in reserve stand for {n} day",
                "offers to the next in reserve stand for {n} days",
                offer_days,
            ).format(n=offer_days)
        )
        locked.offer_days = offer_days
    if changes:
        locked.save(update_fields=["places_plan", "invite_next", "offer_days"])
        diary_write(
            round=locked, by=by, text=_("Plan changed: {changes}.").format(changes="; ".join(changes))
        )


# Accepting it ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Offered:
    """A place that was offered, with its link; ``mailed`` says whether the link is on its way."""

    place: Place
    url: str
    mailed: bool


def proposal_accept(*, round: Round, by: User, revision: int, seen: str, until: dt.date) -> list[Offered]:
    """Offer every seat of the draft to its candidate until the end of a day, and invite whoever has an address.

    All of it happens or nothing. Whoever has no seat stays in reserve, but for those left out by hand.

    Parameters
    ----------
    seen : str
        The fingerprint of what the designer looked at.

    Raises
    ------
    AlreadyAccepted
        The same press came twice.
    StaleDraft
        The draft, the round or who offers has changed since the designer looked.
    Refused
        A size or a yarn would have more than it takes, the day is past, or nobody has a seat.
    """
    require(by, Right.INVITE, round.edition.pattern)
    _check_not_accepted(round, revision)
    if until < today_for(round):
        raise Refused.because(_("That day is past: pick today or a later one."), "until")
    shown = drafted(round)
    if shown.draft.revision != revision or shown.seen != seen:
        raise _stale()
    if not shown.seats:
        raise Refused.because(_("Nobody has a place in this proposal, so there is nobody to invite."))
    with transaction.atomic():
        locked = locked_round(round.pk)
        _check_not_accepted(locked, revision)
        draft = draft_of(locked)
        if draft.revision != revision or plain(seated_round(locked)) != plain(shown.read):
            raise _stale()
        offered = _offer(locked, shown, end_of_day(locked, until), by)
        draft.revision = revision + 1
        draft.accepted_at = timezone.now()
        draft.save()
        places_fill(locked, [one.place for one in offered])
        n, left = len(offered), len(shown.read.candidates) - len(offered)
        diary_write(
            round=locked,
            by=by,
            text=ngettext(
                "Proposal accepted: {n} place offered until {day}; {left} without a place.",
                "Proposal accepted: {n} places offered until {day}; {left} without a place.",
                n,
            ).format(n=n, day=letters.day(until), left=left),
        )
    return offered


def _offer(round: Round, shown: Drafted, until: dt.datetime, by: User) -> list[Offered]:
    people = {candidate.key: candidate for candidate in round.candidates.filter(key__in=shown.seats)}
    measures = {candidate.id: candidate.measures for candidate in shown.read.candidates}
    yarns = {yarn.key: yarn for yarn in round.yarns.all()}
    sizes = {size: at for at, size in enumerate(shown.read.pattern.sizes)}
    offered = []
    for seat in sorted(shown.seats.values(), key=lambda seat: sizes.get(seat.size or "", 0)):
        person = people[seat.candidate]
        place = place_add(
            round=round,
            name=person.name,
            size=seat.size,
            measures=measures[seat.candidate],
            yarn=yarns[seat.yarn] if seat.yarn is not None else None,
            candidate=person,
            offered_until=until,
            by=by,
        )
        url = invitation_create(place=place, email=person.email, by=by)[1]
        offered.append(Offered(place, url, bool(person.email)))
    return offered


def _check_not_accepted(round: Round, revision: int) -> None:
    latest = round.proposals.first()
    if latest is not None and latest.accepted_at is not None and latest.revision == revision + 1:
        raise AlreadyAccepted.because(_("This proposal has been accepted already; nobody is invited twice."))


def _stale() -> StaleDraft:
    return StaleDraft.because(
        _(
            "Since you looked, the draft, the plan or those who offer have changed. Nobody is invited "
            "yet: look at the proposal as it is now, and accept that."
        )
    )
