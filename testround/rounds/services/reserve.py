"""Who steps in: a place is declined, runs out or is given back, and the next in reserve is proposed for it.

Nobody who has a place is moved for it. The designer invites with one press, or the round does it by itself.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from testround.kernel import round as kernel
from testround.kernel.assignment import AssignmentError, Exclusion, Replacement, replace
from testround.kernel.assignment import Place as Seat
from testround.kernel.findings import Assigned
from testround.kernel.offers import Offers
from testround.kernel.words import spoken
from testround.outbox.mail import mail_send
from testround.outbox.services import handles, regularly
from testround.patterns.access import Right, require
from testround.people.language import speaking_to
from testround.people.models import User
from testround.rounds import letters
from testround.rounds.bridge import seat_fields, seated_round
from testround.rounds.clock import end_of_day, local_day, today_for
from testround.rounds.models import Candidate, Invitation, Place, Round, Vacancy
from testround.rounds.refusals import Refused
from testround.rounds.services.diary import diary_write
from testround.rounds.services.drafts import SECONDS, Asked, Called, asked_of, draft_of
from testround.rounds.services.invitations import invitation_check, invitation_create, invitation_of_secret
from testround.rounds.services.places import place_add, place_move
from testround.rounds.services.rounds import locked_round
from testround.rounds.services.vacancies import KIND, reserve_look_later
from testround.rounds.states import TOO_LATE_TO_BEGIN

LONGEST_WHY = Vacancy._meta.get_field("why").max_length


# A place falls free ---------------------------------------------------------------------------------------


@transaction.atomic
def invitation_decline(*, secret: str, cause: str = "") -> Place:
    """Say "no, thank you" by the link: the place is given back. Saying it twice is saying it once.

    Raises
    ------
    UnknownInvitation
        No invitation has that secret.
    InvitationEnded
        The place was taken by it, or the link was withdrawn or has run out.
    """
    invitation = invitation_of_secret(secret)
    # The lock that whoever takes the place waits for too: it is taken or declined, never both.
    locked_round(invitation.place.round_id)
    invitation = invitation_of_secret(secret)
    if invitation.declined_at is not None:
        return invitation.place
    invitation_check(invitation)
    Invitation.objects.filter(pk=invitation.pk).update(declined_at=timezone.now())
    place = place_move(
        place=invitation.place,
        state=Place.State.GIVEN_BACK,
        by=None,
        cause=_("said no, thank you: {cause}").format(cause=cause.strip().rstrip("."))
        if cause.strip().rstrip(".")
        else _("said no, thank you"),
    )
    owner = invitation.place.round.edition.pattern.owner
    with speaking_to(owner):
        letter = letters.declined(place=invitation.place, cause=cause)
    mail_send(to=owner.email, letter=letter, name=str(owner), about=invitation.place.round.code)
    return place


@regularly
def offers_expire(*, now: dt.datetime | None = None) -> int:
    """Give back every offered place whose day has passed. Returns how many. Twice is as good as once."""
    now = now or timezone.now()
    due = Place.objects.filter(state=Place.State.OFFERED, offered_until__lte=now)
    return sum(_expire(pk, round_id, now) for pk, round_id in list(due.values_list("pk", "round_id")))


@transaction.atomic
def _expire(pk: int, round_id: int, now: dt.datetime) -> bool:
    round = locked_round(round_id)
    still = Place.objects.select_for_update(of=("self",)).filter(
        pk=pk, state=Place.State.OFFERED, offered_until__lte=now
    )
    place = still.first()
    if place is None or place.offered_until is None:
        return False
    with speaking_to(round.edition.pattern.owner):
        cause = _("the offer stood until {day}").format(
            day=letters.day(local_day(round, place.offered_until))
        )
        place_move(place=place, state=Place.State.GIVEN_BACK, by=None, cause=cause)
    return True


# Who is next ----------------------------------------------------------------------------------------------


@handles(KIND)
def _look(subject: dict[str, Any]) -> None:
    round = Round.objects.select_related("edition__pattern__owner").filter(pk=subject["round"]).first()
    if round is not None:
        with speaking_to(round.edition.pattern.owner):
            reserve_look(round=round)


def reserve_look(*, round: Round) -> None:
    """Find who is next for each place of a round that fell free and that nobody has filled.

    It may run at any time and twice: it only says who would be next now, and invites nobody twice.
    """
    open_ = Vacancy.objects.filter(place__round=round, state=Vacancy.State.OPEN)
    if round.state == Round.State.CLOSED:
        open_.update(state=Vacancy.State.LEFT)
        return
    vacancies = list(open_.select_related("place"))
    if not vacancies:
        return
    read = seated_round(round)
    asked = asked_of(draft_of(round), read)
    taken: list[Seat] = []
    seats = [kernel.Tester(**seat_fields(vacancy.place)) for vacancy in vacancies]
    for at, vacancy in enumerate(vacancies):
        # The places that are not yet seen to are held meanwhile, so that each is given to whoever is next for it.
        held = read.model_copy(update={"testers": (*read.testers, *seats[at:])})
        seat, why = _next(held, vacancy.place, asked, taken)
        if seat is not None:
            taken.append(Seat(seat.candidate, seat.size, seat.yarn))
        _propose(round, vacancy, seat, why)
    if round.invite_next and round.state not in TOO_LATE_TO_BEGIN:
        _invite_by_itself(round)


def _next(
    read: kernel.Round, given_back: Place, asked: Asked, taken: list[Seat]
) -> tuple[Assigned | None, str]:
    """Who is next for a place: in its own size first, then by fit, wishes and answers.

    None where nobody can have it, and then why that is.
    """
    called = Called(read)
    out = [Exclusion(key) for key, seat in asked.moves.items() if seat is None]
    try:
        found: Replacement = replace(
            read,
            taken,
            given_back.key,
            reach=asked.reach,
            exclusions=[*asked.exclusions, *out],
            seconds=SECONDS,
        )
    except AssignmentError as error:
        return None, called(" ".join(f"{spoken(problem.sentence)}." for problem in error.problems))
    except TimeoutError:
        return None, _("Who is next was not found in time; ask again.")
    offers = Offers(read, reach=asked.reach)

    def turn(seat: Assigned) -> tuple[bool, int, int, int]:
        i, j = offers.at[seat.candidate], offers.slot_at[seat.size]
        return (seat.size != given_back.size, int(offers.misfit[i, j]), int(offers.steps[i, j]), i)

    seat = min(found.proposed, key=turn, default=None)
    # Why somebody is next holds their measures in some form, so it is worked out for the page and not kept.
    return seat, called(found.why) if seat is None else ""


def _propose(round: Round, vacancy: Vacancy, seat: Assigned | None, why: str) -> None:
    candidate = None
    if seat is not None:
        candidate = round.candidates.filter(key=seat.candidate, state=Candidate.State.CONFIRMED).first()
    Vacancy.objects.filter(pk=vacancy.pk, state=Vacancy.State.OPEN).update(
        candidate=candidate,
        size=seat.size if seat else None,
        yarn=seat.yarn if seat else None,
        why=why[:LONGEST_WHY],
    )


def _invite_by_itself(round: Round) -> None:
    ready = Vacancy.objects.filter(
        place__round=round, state=Vacancy.State.OPEN, candidate__state=Candidate.State.CONFIRMED
    ).exclude(candidate__email="")
    for vacancy in ready.select_related("candidate"):
        try:
            vacancy_invite(vacancy=vacancy, candidate=vacancy.candidate, by=None)
        except Refused:
            # Somebody was quicker or the room is gone; the page of the proposal says what is still open.
            continue


@transaction.atomic
def vacancy_invite(*, vacancy: Vacancy, candidate: Candidate | None, by: User | None) -> tuple[Place, str]:
    """Offer a place that fell free to the candidate who is next for it. Returns the new place and its link.

    A second press gets the same place and no link: the first one is on its way.

    Raises
    ------
    Refused
        Somebody else is next by now, or the place cannot be had any more.
    """
    round = locked_round(vacancy.place.round_id)
    require(by, Right.INVITE, round.edition.pattern)
    locked = (
        Vacancy.objects.select_for_update(of=("self",))
        .select_related("place", "filled_by")
        .get(pk=vacancy.pk)
    )
    if (
        locked.filled_by is not None
        and candidate is not None
        and locked.filled_by.candidate_id == candidate.pk
    ):
        return locked.filled_by, ""
    if locked.state != Vacancy.State.OPEN:
        raise Refused.because(_("That place is settled already."))
    if candidate is None or locked.candidate_id != candidate.pk:
        raise Refused.because(_("Somebody else is next by now: look at the proposal again."))
    person = Candidate.objects.get(pk=candidate.pk)
    yarn = None
    if locked.yarn is not None:
        yarn = round.yarns.filter(key=locked.yarn).first()
        if yarn is None:
            raise Refused.because(
                _("The yarn meant for them is not supplied any more: look who is next now.")
            )
    until = end_of_day(round, today_for(round) + dt.timedelta(days=round.offer_days))
    asked = {measure.key for measure in round.edition.document.measures}
    place = place_add(
        round=round,
        name=person.name,
        size=locked.size,
        measures={key: value for key, value in person.measures.items() if key in asked},
        yarn=yarn,
        candidate=person,
        offered_until=until,
        by=by,
    )
    url = invitation_create(place=place, email=person.email, by=by)[1]
    locked.state, locked.filled_by = Vacancy.State.FILLED, place
    locked.save(update_fields=["state", "filled_by"])
    invited = (
        _("{name}, next in reserve, was invited in place of {before}, until {day}.")
        if by is not None
        else _("{name}, next in reserve, was invited by the round itself in place of {before}, until {day}.")
    )
    diary_write(
        round=round,
        place=place,
        by=by,
        text=invited.format(
            name=person.name, before=locked.place.name, day=letters.day(local_day(round, until))
        ),
        names=[person.name, locked.place.name],
    )
    reserve_look_later(round.pk)
    return place, url


@transaction.atomic
def vacancy_leave(*, vacancy: Vacancy, by: User) -> bool:
    """Leave a place that fell free as it is. False when it was settled already."""
    round = locked_round(vacancy.place.round_id)
    require(by, Right.INVITE, round.edition.pattern)
    left = Vacancy.objects.filter(pk=vacancy.pk, state=Vacancy.State.OPEN).update(
        state=Vacancy.State.LEFT, candidate=None
    )
    if not left:
        return False
    diary_write(
        round=round,
        place=vacancy.place,
        by=by,
        text=_("Nobody is invited in place of {name}.").format(name=vacancy.place.name),
    )
    reserve_look_later(round.pk)
    return True


@transaction.atomic
def candidate_take_back(*, candidate: Candidate, by: User) -> Candidate:
    """Put into reserve again somebody whose place was given back, or who waited for the call.

    Raises
    ------
    Refused
        They have a place, have not confirmed their address, or have offered anew meanwhile.
    """
    round = locked_round(candidate.round_id)
    require(by, Right.EDIT, round.edition.pattern)
    locked = Candidate.objects.select_for_update(of=("self",)).get(pk=candidate.pk)
    if locked.state == Candidate.State.CONFIRMED:
        return locked
    gave_back = locked.places.filter(state=Place.State.GIVEN_BACK).exists()
    if locked.state != Candidate.State.WAITING and not (
        locked.state == Candidate.State.WITHDRAWN and gave_back
    ):
        raise Refused.because(
            _("{name} cannot be put into reserve: their offer is not open.").format(name=locked.name)
        )
    was, locked.state = locked.state, Candidate.State.CONFIRMED
    try:
        with transaction.atomic():
            locked.save(update_fields=["state", "changed"])
    except IntegrityError:
        raise Refused.because(
            _("{name} has offered anew meanwhile: that offer counts.").format(name=locked.name)
        ) from None
    text = (
        _("{name} is in reserve from the waiting list.")
        if was == Candidate.State.WAITING
        else _("{name} is in reserve again.")
    )
    diary_write(round=round, by=by, text=text.format(name=locked.name), names=[locked.name])
    reserve_look_later(round.pk)
    return locked
