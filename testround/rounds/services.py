"""What changes a round. Each service is one transaction, and every change is written in the diary."""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets
from collections.abc import Mapping, Sequence
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from allauth.account.models import EmailAddress
from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone
from pydantic import ValidationError

from testround.kernel.problems import Problem
from testround.kernel.round import LONGEST_CM, Places, Yarn
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.round import SuppliedYarn as YarnDocument
from testround.kernel.roundfile import problems_of
from testround.kernel.sheet import check_pattern
from testround.outbox.mail import mail_send
from testround.outbox.services import regularly
from testround.patterns.models import Edition
from testround.patterns.services import edition_freeze
from testround.people.models import User
from testround.rounds import letters
from testround.rounds.models import DiaryEntry, Invitation, Place, Round, SuppliedYarn
from testround.rounds.refusals import AddressHasAccount, InvitationEnded, Refused, UnknownInvitation
from testround.rounds.states import ROUND_ORDER, place_is_behind, place_states_after, round_states_after

INVITATION_LASTS = dt.timedelta(days=30)
# How long a form that has taken a place answers a repeated press by the page it came from.
PRESS_REPEATS_WITHIN = dt.timedelta(minutes=10)
MOST_PLACES_AT_ONCE = 100


def diary_write(*, round: Round, text: str, by: User | None = None, place: Place | None = None) -> DiaryEntry:
    """Write one dated entry; a text longer than the column is cut with an ellipsis."""
    most = DiaryEntry._meta.get_field("text").max_length
    if len(text) > most:
        text = text[: most - 1] + "…"
    return DiaryEntry.objects.create(round=round, place=place, by=by, text=text)


def today_for(round: Round) -> dt.date:
    """The date at the designer's, which is the one her round's dates mean."""
    return timezone.localdate(timezone=_zone(round))


def _zone(round: Round) -> ZoneInfo:
    try:
        return ZoneInfo(round.edition.pattern.owner.time_zone)
    except (ZoneInfoNotFoundError, ValueError):
        return ZoneInfo("UTC")


# -- the round ---------------------------------------------------------------------------------------------


@transaction.atomic
def round_open(
    *,
    edition: Edition,
    by: User,
    title: str,
    opens: dt.date | None = None,
    swatches_due: dt.date | None = None,
    closes: dt.date | None = None,
    terms: str = "",
    places_plan: Places | Mapping[str, object] | None = None,
    yarns: Sequence[YarnDocument] = (),
    allow_several: bool = False,
) -> Round:
    """Open a round on an edition, and freeze the edition's sheet.

    Raises
    ------
    Refused
        The edition is another designer's, its sheet has a problem, the dates are out of order, or the plan
        names a size that the pattern does not have.
    """
    given = edition
    edition = (
        Edition.objects.select_for_update(of=("self",)).select_related("pattern__owner").get(pk=edition.pk)
    )
    if edition.pattern.owner_id != by.pk:
        raise Refused.because("Only the pattern's own designer can open a round on it.", "edition")
    problems = edition_problems(edition)
    if problems:
        raise Refused(Problem("edition", f"{problem} Mend it on the sheet first.") for problem in problems)
    document = edition.document
    plan = _checked_plan(places_plan, document)
    _check_dates(opens, swatches_due, closes)
    _check_yarn_keys(yarns)

    edition_freeze(edition=edition)
    given.frozen_at, given.revision = edition.frozen_at, edition.revision
    round = Round.objects.create(
        edition=edition,
        title=title.strip(),
        opens=opens,
        swatches_due=swatches_due,
        closes=closes,
        terms=terms.strip(),
        places_plan=plan,
        allow_several=allow_several,
    )
    SuppliedYarn.objects.bulk_create(SuppliedYarn(round=round, **yarn.model_dump()) for yarn in yarns)
    diary_write(round=round, by=by, text=f"Round opened on edition {edition.label}; its sheet is now frozen.")
    return round


def edition_problems(edition: Edition) -> list[Problem]:
    """Why no round can open on an edition: everything that is wrong with its sheet."""
    try:
        document = edition.document
    except ValidationError as error:
        return problems_of(error)
    return check_pattern(document)


def _check_dates(opens: dt.date | None, swatches_due: dt.date | None, closes: dt.date | None) -> None:
    problems = []
    if opens and swatches_due and swatches_due < opens:
        problems.append(
            Problem("swatches_due", "Swatches cannot be due before the round opens: pick a later date.")
        )
    first = max((date for date in (opens, swatches_due) if date), default=None)
    if closes and first and closes < first:
        problems.append(
            Problem(
                "closes",
                "The round cannot close before it opens and its swatches are due: pick a later date.",
            )
        )
    if problems:
        raise Refused(problems)


def _check_yarn_keys(yarns: Sequence[YarnDocument]) -> None:
    keys = [yarn.key for yarn in yarns]
    twice = sorted({key for key in keys if keys.count(key) > 1})
    if twice:
        raise Refused.because(f"Two yarns have the key {twice[0]}: give each its own.", "yarns")


def _checked_plan(
    places_plan: Places | Mapping[str, object] | None, document: SheetDocument
) -> dict[str, dict[str, int]] | None:
    if places_plan is None:
        return None
    plan = places_plan if isinstance(places_plan, Places) else Places.model_validate(dict(places_plan))
    least, most = plan.least or {}, plan.most or {}
    problems = [
        Problem(field, f"The pattern has no size {size}: it has {', '.join(document.sizes) or 'no sizes'}.")
        for field, sizes in (("least", least), ("most", most))
        for size in sizes
        if size not in document.sizes
    ]
    problems += [
        Problem(
            "most", f"Size {size} takes at most {most[size]} but needs at least {least[size]}: raise one."
        )
        for size in least
        if size in most and most[size] < least[size]
    ]
    if problems:
        raise Refused(problems)
    return plan.model_dump(exclude_none=True) or None


@transaction.atomic
def round_edit(
    *,
    round: Round,
    by: User,
    title: str,
    opens: dt.date | None,
    swatches_due: dt.date | None,
    closes: dt.date | None,
    terms: str,
    places_plan: Places | Mapping[str, object] | None,
    allow_several: bool = False,
) -> Round:
    """Change a round's plan, and say in the diary what changed."""
    locked = (
        Round.objects.select_for_update(of=("self",))
        .select_related("edition__pattern__owner")
        .get(pk=round.pk)
    )
    plan = _checked_plan(places_plan, locked.edition.document)
    _check_dates(opens, swatches_due, closes)
    changes = []
    for label, field, value in (
        ("title", "title", title.strip()),
        ("opening date", "opens", opens),
        ("date swatches are due", "swatches_due", swatches_due),
        ("closing date", "closes", closes),
    ):
        old = getattr(locked, field)
        if old != value:
            changes.append(f"{label} from {_said(old)} to {_said(value)}")
            setattr(locked, field, value)
    if locked.terms != terms.strip():
        changes.append("terms reworded")
        locked.terms = terms.strip()
    if (locked.places_plan or None) != plan:
        changes.append("how many testers each size needs")
        locked.places_plan = plan
    if locked.allow_several != allow_several:
        changes.append("one person may hold several places" if allow_several else "one place for each person")
        locked.allow_several = allow_several
    if changes:
        locked.save()
        diary_write(round=locked, by=by, text=f"Plan changed: {'; '.join(changes)}.")
    return locked


def _said(value: object) -> str:
    if value is None or value == "":
        return "none"
    if isinstance(value, dt.date):
        return letters.day(value)
    return f"“{value}”"


@transaction.atomic
def round_move(*, round: Round, state: str, by: User | None, cause: str = "") -> Round:
    """Move a round to another state. To the one it is in already is no move and leaves no entry."""
    locked = (
        Round.objects.select_for_update(of=("self",))
        .select_related("edition__pattern__owner")
        .get(pk=round.pk)
    )
    if state not in Round.State.values:
        raise Refused.because(
            f"“{state}” is no state of a round: choose one of {', '.join(ROUND_ORDER)}.", "state"
        )
    if locked.state == state:
        return locked
    allowed = round_states_after(locked.state)
    if state not in allowed:
        raise Refused.because(
            f"A round that is {locked.state} cannot become {state}: it can go to {', '.join(allowed)}.",
            "state",
        )
    was, locked.state, locked.moved_at = locked.state, state, timezone.now()
    locked.save(update_fields=["state", "moved_at"])
    diary_write(round=locked, by=by, text=f"Round moved from {was} to {state}{_because(cause)}.")
    round.state, round.moved_at = locked.state, locked.moved_at
    return locked


def _because(cause: str) -> str:
    cause = cause.strip().rstrip(".")
    return f": {cause}" if cause else ""


@regularly
def rounds_follow_dates(*, now: dt.datetime | None = None) -> int:
    """Move on every round whose date has passed since it was last moved. Returns how many moved.

    The opening date starts the swatches, the day after they are due starts the making, and the day after the
    closing date closes the round. A round that its designer moved back after a date had passed stays where
    she put it. Running it twice moves nothing twice.
    """
    now = now or timezone.now()
    # A day wider than any zone needs: whose midnight has struck is settled per round below.
    tomorrow = now.date() + dt.timedelta(days=1)
    rounds = (
        Round.objects.exclude(state=Round.State.CLOSED)
        .filter(Q(opens__lte=tomorrow) | Q(swatches_due__lte=tomorrow) | Q(closes__lte=tomorrow))
        .select_related("edition__pattern__owner")
    )
    return sum(_follow_dates(round, now) for round in rounds.iterator(chunk_size=200))


def _follow_dates(round: Round, now: dt.datetime) -> bool:
    zone = _zone(round)
    next_day = dt.timedelta(days=1)
    steps = (
        (round.opens, dt.timedelta(0), Round.State.SWATCHING, "it was to open on"),
        (round.swatches_due, next_day, Round.State.MAKING, "swatches were due on"),
        (round.closes, next_day, Round.State.CLOSED, "it was to close on"),
    )
    reached: tuple[str, str] | None = None
    for date, wait, state, why in steps:
        if date is None:
            continue
        moment = dt.datetime.combine(date + wait, dt.time(), tzinfo=zone)
        struck = moment <= now and (round.moved_at is None or moment > round.moved_at)
        if struck and ROUND_ORDER.index(state) > ROUND_ORDER.index(round.state):
            reached = state, f"{why} {letters.day(date)}"
    if reached is None:
        return False
    round_move(round=round, state=reached[0], by=None, cause=reached[1])
    return True


@transaction.atomic
def yarn_supply(*, round: Round, yarn: YarnDocument, by: User) -> SuppliedYarn:
    """Add a yarn that the designer supplies, or change the one of that key."""
    Round.objects.select_for_update().get(pk=round.pk)
    values = yarn.model_dump(exclude={"key"})
    row, created = SuppliedYarn.objects.update_or_create(round=round, key=yarn.key, defaults=values)
    diary_write(round=round, by=by, text=f"Supplied yarn {'added' if created else 'changed'}: {row.label}.")
    return row


@transaction.atomic
def yarn_withdraw(*, yarn: SuppliedYarn, by: User) -> None:
    """Take a supplied yarn off the list. Places that have it keep it."""
    diary_write(round=yarn.round, by=by, text=f"Supplied yarn no longer offered: {yarn.label}.")
    yarn.delete()


# -- places ------------------------------------------------------------------------------------------------


@transaction.atomic
def place_add(
    *,
    round: Round,
    name: str,
    size: str | None,
    measures: Mapping[str, float] | None = None,
    yarn: Yarn | SuppliedYarn | None = None,
    by: User | None,
) -> Place:
    """Offer one seat in a round. Its yarn is one the designer supplies, or the tester's own."""
    locked = (
        Round.objects.select_for_update(of=("self",))
        .select_related("edition__pattern__owner")
        .get(pk=round.pk)
    )
    if locked.state == Round.State.CLOSED:
        raise Refused.because("The round is closed: move it back to measuring before adding a place.")
    if not name.strip():
        raise Refused.because("Say how this tester is to be called, a first name or “Tester 5”.", "name")
    document = locked.edition.document
    size = _checked_size(locked, document, size)
    _check_measures(measures or {}, document)
    _check_makers(locked, yarn)
    place = Place(
        round=locked, key=_next_key(locked), name=name.strip(), size=size, measures=dict(measures or {})
    )
    _set_yarn(place, yarn)
    place.save()
    diary_write(round=locked, by=by, place=place, text=f"Place offered: {_seat(place)}.")
    return place


@transaction.atomic
def places_add(
    *,
    round: Round,
    names: Sequence[str],
    size: str | None,
    measures: Mapping[str, float] | None = None,
    yarn: Yarn | SuppliedYarn | None = None,
    by: User | None,
) -> list[Place]:
    """Offer several seats of one size and yarn: all of them, or none and a sentence why."""
    return [
        place_add(round=round, name=name, size=size, measures=measures, yarn=yarn, by=by) for name in names
    ]


def _seat(place: Place) -> str:
    made = f"size {place.size}" if place.size else "made to measure"
    return f"{place.name}, {made}, {place.yarn_label or 'yarn of their own'}"


def _next_key(round: Round) -> str:
    taken = set(round.places.values_list("key", flat=True))
    number = len(taken) + 1
    while f"t{number:02d}" in taken:
        number += 1
    return f"t{number:02d}"


def _checked_size(
    round: Round, document: SheetDocument, size: str | None, besides: Place | None = None
) -> str | None:
    if not document.is_graded:
        if size:
            raise Refused.because("This pattern is made to measure: leave the size empty.", "size")
        return None
    if size not in document.sizes:
        raise Refused.because(
            f"The pattern has no size {size or '(none chosen)'}: choose one of {', '.join(document.sizes)}.",
            "size",
        )
    most = ((round.places_plan or {}).get("most") or {}).get(size)
    if most is not None:
        held = round.places.filter(size=size).exclude(state=Place.State.GIVEN_BACK)
        if besides is not None:
            held = held.exclude(pk=besides.pk)
        if held.count() >= most:
            raise Refused.because(
                f"Size {size} takes at most {most} testers in this round and has them: choose another size, "
                "or raise the most in the round's plan.",
                "size",
            )
    return size


def _check_measures(measures: Mapping[str, float], document: SheetDocument) -> None:
    labels = {measure.key: measure.label for measure in document.measures}
    problems = []
    for key, value in measures.items():
        if key not in labels:
            problems.append(Problem("measures", f"The pattern asks for no measure “{key}”: leave it out."))
        elif not 0 < value <= LONGEST_CM:
            problems.append(
                Problem(
                    f"measure_{key}",
                    f"{labels[key]}: {value:g} cm cannot be meant; give a length above 0 and up to "
                    f"{LONGEST_CM:g} cm.",
                )
            )
    if problems:
        raise Refused(problems)


def _check_makers(round: Round, yarn: Yarn | SuppliedYarn | None, besides: Place | None = None) -> None:
    if not isinstance(yarn, SuppliedYarn):
        return
    if yarn.round_id != round.pk:
        raise Refused.because("That yarn belongs to another round: choose one of this round's.", "yarn")
    if yarn.makers is None:
        return
    # A place keeps the yarn's label, as the round file does, so the label is what is counted.
    users = round.places.filter(yarn_label=yarn.label).exclude(state=Place.State.GIVEN_BACK)
    if besides is not None:
        users = users.exclude(pk=besides.pk)
    if users.count() >= yarn.makers:
        raise Refused.because(
            f"{yarn.label} is enough for {yarn.makers} testers and they are found: choose another yarn.",
            "yarn",
        )


def _set_yarn(place: Place, yarn: Yarn | SuppliedYarn | None) -> None:
    place.yarn_label = yarn.label if yarn else None
    place.yarn_weight = yarn.weight if yarn else None
    place.yarn_fibre = yarn.fibre if yarn else None
    place.metres_per_ball = yarn.metres_per_ball if yarn else None
    place.grams_per_ball = yarn.grams_per_ball if yarn else None


@transaction.atomic
def place_edit(
    *,
    place: Place,
    name: str,
    size: str | None,
    measures: Mapping[str, float] | None,
    yarn: Yarn | SuppliedYarn | None,
    by: User | None,
) -> Place:
    """Change a place. Its size is fixed once its tester has begun: counts belong to a size."""
    round = (
        Round.objects.select_for_update(of=("self",))
        .select_related("edition__pattern__owner")
        .get(pk=place.round_id)
    )
    locked = Place.objects.select_for_update(of=("self",)).get(pk=place.pk)
    if locked.state == Place.State.GIVEN_BACK:
        raise Refused.because("This place was given back: add a new one in its stead.")
    if not name.strip():
        raise Refused.because("Say how this tester is to be called, a first name or “Tester 5”.", "name")
    document = round.edition.document
    if (size or None) != locked.size:
        if not place_is_behind(locked.state, Place.State.MAKING):
            raise Refused.because(
                f"{locked.name} has begun size {locked.size}: give this place back and add one in the other "
                "size.",
                "size",
            )
        size = _checked_size(round, document, size, besides=locked)
    measures = locked.measures if measures is None else dict(measures)
    _check_measures(measures, document)
    if isinstance(yarn, SuppliedYarn) and yarn.label != locked.yarn_label:
        _check_makers(round, yarn, besides=locked)

    before = {"name": locked.name, "size": locked.size, "yarn": locked.yarn_label}
    measures_changed = measures != locked.measures
    locked.name, locked.size, locked.measures = name.strip(), size or None, measures
    _set_yarn(locked, yarn)
    after = {"name": locked.name, "size": locked.size, "yarn": locked.yarn_label}
    changes = [
        f"{what} from {_said(before[what])} to {_said(after[what])}"
        for what in before
        if before[what] != after[what]
    ]
    # That measures changed is in the diary; what they are is not.
    changes += ["body measurements"] if measures_changed else []
    locked.save()
    if changes:
        diary_write(round=round, place=locked, by=by, text=f"{before['name']}: changed {'; '.join(changes)}.")
    return locked


@transaction.atomic
def place_move(*, place: Place, state: str, by: User | None, cause: str = "") -> Place:
    """Move a place to another state. To the one it is in already is no move and leaves no entry."""
    locked = Place.objects.select_for_update(of=("self",)).select_related("round").get(pk=place.pk)
    if state not in Place.State.values:
        raise Refused.because(
            f"“{state}” is no state of a place: choose one of {', '.join(Place.State.values)}.", "state"
        )
    if locked.state == state:
        return locked
    allowed = place_states_after(locked.state)
    if state not in allowed:
        where = f"it can go to {', '.join(allowed)}" if allowed else "add a new place instead"
        raise Refused.because(f"A place that is {locked.state} cannot become {state}: {where}.", "state")
    if state == Place.State.TAKEN and locked.tester_id is None:
        raise Refused.because(
            "Nobody holds this place yet: invite a tester, who takes it by saying yes.", "state"
        )
    was, locked.state = locked.state, state
    locked.save(update_fields=["state", "changed"])
    if state == Place.State.GIVEN_BACK:
        _withdraw_links(locked)
    diary_write(
        round=locked.round,
        place=locked,
        by=by,
        text=f"{locked.name} moved from {was} to {state}{_because(cause)}.",
    )
    place.state = locked.state
    return locked


def place_reach(*, place: Place, state: str, by: User | None, cause: str = "") -> Place:
    """Move a place on to a state unless it is there or further already, as after a second swatch."""
    with transaction.atomic():
        locked = Place.objects.select_for_update(of=("self",)).get(pk=place.pk)
        if not place_is_behind(locked.state, state):
            return locked
        return place_move(place=place, state=state, by=by, cause=cause)


def place_give_back(*, place: Place, by: User | None, cause: str = "") -> Place:
    """Give a place back. What its holder sent stays; its links end; a new place takes its size.

    A designer who did not do it herself is told by mail: a size may be without a tester now.
    """
    with transaction.atomic():
        was = Place.objects.select_for_update(of=("self",)).get(pk=place.pk).state
        given = place_move(place=place, state=Place.State.GIVEN_BACK, by=by, cause=cause)
        owner = given.round.edition.pattern.owner
        if was != Place.State.GIVEN_BACK and by is not None and by.pk != owner.pk:
            letter = letters.given_back(place=given, cause=cause)
            mail_send(to=owner.email, subject=letter.subject, text=letter.text)
    return given


# -- invitations -------------------------------------------------------------------------------------------


def secret_hash(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


@transaction.atomic
def invitation_create(*, place: Place, email: str = "", by: User) -> tuple[Invitation, str]:
    """Make a link for one place, which ends earlier links to it, and mail it if an address is given.

    Returns the invitation and the link. Only the secret's hash is kept: the link is known this once.
    """
    locked = (
        Place.objects.select_for_update(of=("self",))
        .select_related("round__edition__pattern__owner")
        .get(pk=place.pk)
    )
    if locked.state != Place.State.OFFERED:
        raise Refused.because(
            f"{locked.name}'s place is {locked.state}: only an offered place can be offered to somebody."
        )
    _withdraw_links(locked)
    secret = secrets.token_urlsafe(32)
    invitation = Invitation.objects.create(
        place=locked, secret_hash=secret_hash(secret), email=email, expires=timezone.now() + INVITATION_LASTS
    )
    url = f"{settings.SITE_URL}{reverse('rounds:join', args=[secret])}"
    sent = " and sent by mail" if email else ""
    diary_write(round=locked.round, place=locked, by=by, text=f"Invitation for {locked.name} made{sent}.")
    if email:
        letter = letters.invitation(invitation=invitation, place=locked, url=url)
        mail_send(to=email, subject=letter.subject, text=letter.text)
    return invitation, url


@transaction.atomic
def invitation_withdraw(*, place: Place, by: User) -> bool:
    """End the place's open link. False when there was none."""
    locked = Place.objects.select_for_update(of=("self",)).select_related("round").get(pk=place.pk)
    if not _withdraw_links(locked):
        return False
    diary_write(round=locked.round, place=locked, by=by, text=f"Invitation for {locked.name} withdrawn.")
    return True


def _withdraw_links(place: Place) -> int:
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
    invitation = (
        Invitation.objects.filter(secret_hash=secret_hash(secret))
        .select_related("place__round__edition__pattern__owner", "place__tester")
        .first()
    )
    if invitation is None:
        raise UnknownInvitation
    return invitation


def invitation_check(invitation: Invitation) -> None:
    """Raise InvitationEnded, in a sentence for the person who followed the link, unless it can be used."""
    place = invitation.place
    owner = place.round.edition.pattern.owner
    if invitation.used_at is not None:
        raise InvitationEnded.because(
            "This link has been used. If it was you who used it, sign in with the address you gave; your "
            "place is under “Today”."
        )
    if place.state == Place.State.GIVEN_BACK:
        raise InvitationEnded.because(
            f"This place is no longer offered. Ask {owner} whether another is free."
        )
    if invitation.withdrawn_at is not None:
        raise InvitationEnded.because(
            "This link was withdrawn, perhaps for a newer one. Look for a later mail, or ask "
            f"{owner} for a new link."
        )
    if invitation.expires <= timezone.now():
        raise InvitationEnded.because(
            f"This link ran out on {letters.day(invitation.expires.date())}. Ask {owner} for a new one."
        )
    if place.round.state == Round.State.CLOSED:
        raise InvitationEnded.because("This round is closed, so its places can no longer be taken.")
    if place.state != Place.State.OFFERED:
        raise InvitationEnded.because(f"This place is taken. Ask {owner} whether another is free.")


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
            seat = f"size {other.size}" if other.size else "made to measure"
            raise Refused.because(
                f"You hold a place in this round already ({seat}), and this round gives each person one. "
                f"Ask {place.round.edition.pattern.owner} to allow several, or give that one back first."
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
        raise InvitationEnded.because("Somebody has just used this link, so the place is taken.")
    place.refresh_from_db()
    whose = ", the designer's own" if user.pk == place.round.edition.pattern.owner_id else ""
    diary_write(
        round=place.round,
        place=place,
        by=user,
        text=f"{place.name} moved from offered to taken{whose}: said yes to the terms.",
    )
    return place


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
    letter = letters.welcome(place=place, user=user)
    mail_send(to=user.email, subject=letter.subject, text=letter.text)
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
        "There is an account with this address. Sign in first, then follow the link again.", "email"
    )
