"""Reminding testers of their dates, and a designer's friendly word."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator, Sequence
from itertools import groupby
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import Prefetch, Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from testround.outbox.mail import Kind, mail_send
from testround.outbox.services import regularly
from testround.outbox.stopping import wants
from testround.patterns.access import Right, require
from testround.people.clock import zone_of_person
from testround.people.language import speaking_to
from testround.people.models import User
from testround.rounds import letters
from testround.rounds.clock import local_day
from testround.rounds.due import UNMEASURED, dues_of, still_awaits
from testround.rounds.letters.dates import Reminded
from testround.rounds.models import Invitation, MailDay, Nudge, Place, Reminder, Round
from testround.rounds.refusals import Refused
from testround.rounds.services.dates import until_address
from testround.rounds.services.diary import diary_write

# Days before a date on which its reminder may come, and days after it (common practice).
DAYS_BEFORE = 3
DAYS_AFTER = 7
# Days before the last day of an invitation on which its reminder may come, and how old it is then at the least.
DAYS_BEFORE_THE_END = 2
NOT_JUST_SENT = dt.timedelta(days=1)
# From nine in the morning until eight in the evening where the tester lives (common practice).
CIVIL_HOURS = range(9, 20)
LONGEST_WORD = 5000
When = Reminder.When


def is_civil(now: dt.datetime, zone: ZoneInfo) -> bool:
    """Whether it is an hour, in the zone where somebody lives, at which a reminder may come."""
    return now.astimezone(zone).hour in CIVIL_HOURS


@regularly
def reminders_send(*, now: dt.datetime | None = None) -> int:
    """Remind every tester whose day and hour it is: one mail a person and day, for all their rounds together.

    Of each date once in the three days before it and once in the week after it. Returns how many mails were
    written. Run twice, also at once, it writes nothing twice: the rows that say so are unique.
    """
    now = now or timezone.now()
    written = 0
    for _person, places in groupby(_reminded_maybe(now), key=lambda place: place.tester_id):
        written += _remind(list(places), now)
    return written


def _reminded_maybe(now: dt.datetime) -> list[Place]:
    # A day wider than any zone needs; whose day it is is settled by each person's own clock.
    first = now.date() - dt.timedelta(days=DAYS_AFTER + 1)
    last = now.date() + dt.timedelta(days=DAYS_BEFORE + 1)
    near = Q()
    for field in ("round__swatches_due", "swatch_until", "round__closes", "measures_until"):
        near |= Q(**{f"{field}__range": (first, last)})
    rows = (
        Place.objects.filter(near, state__in=UNMEASURED, tester__is_active=True)
        .exclude(round__state=Round.State.PLANNED)
        .exclude(tester__stopped_mail__kind=Kind.REMINDERS)
        .select_related("round__edition__pattern__owner", "tester")
        .defer("round__edition__sheet", "round__terms", "agreed_terms")
        .prefetch_related(
            "reminders",
            Prefetch("tester__mail_days", MailDay.objects.filter(day__gte=first), to_attr="days_had"),
        )
        .order_by("tester_id", "round__closes", "pk")
    )
    return list(rows)


def _remind(places: Sequence[Place], now: dt.datetime) -> bool:
    person = places[0].tester
    assert person is not None  # noqa: S101 -- as the query says
    if not is_civil(now, zone_of_person(person)):
        return False
    today = now.astimezone(zone_of_person(person)).date()
    if any(had.day == today for had in person.days_had):
        return False
    reminded = [one for place in places for one in _dates_of(place, today)]
    # Whoever has had a designer's word today is left in peace; tomorrow is another day.
    if not reminded or Nudge.objects.filter(person=person, day=today).exists():
        return False
    try:
        with transaction.atomic():
            day = MailDay.objects.create(person=person, day=today, at=now)
            Reminder.objects.bulk_create(
                Reminder(place=one.place, what=one.due.what, due=one.due.date, when=one.when, day=day)
                for one in reminded
            )
            rounds = {one.place.round.code for one in reminded}
            with speaking_to(person):
                letter = letters.dates.reminder(person=person, reminded=reminded, today=today)
            mail = mail_send(
                to=person.email,
                letter=letter,
                kind=Kind.REMINDERS,
                person=person,
                name=reminded[0].place.name,
                about=rounds.pop() if len(rounds) == 1 else "",
            )
            for one in reminded:
                _write_down(one)
    except IntegrityError:
        # Another process has reminded this person in the same moment.
        return False
    return mail is not None


def _write_down(one: Reminded) -> None:
    is_swatch, is_before = one.due.what == Reminder.What.SWATCH, one.when == When.BEFORE
    with speaking_to(one.place.round.edition.pattern.owner):
        if is_swatch and is_before:
            said = _("{name} was reminded by mail: swatch due {day}.")
        elif is_swatch:
            said = _("{name} was reminded by mail: swatch overdue since {day}.")
        elif is_before:
            said = _("{name} was reminded by mail: finished measurements due {day}.")
        else:
            said = _("{name} was reminded by mail: finished measurements overdue since {day}.")
        text = said.format(name=one.place.name, day=letters.day(one.due.date))
    diary_write(round=one.place.round, place=one.place, text=text)


def _dates_of(place: Place, today: dt.date) -> Iterator[Reminded]:
    if not still_awaits(place.round):
        return
    had = {(row.what, row.due, row.when) for row in place.reminders.all()}
    for due in dues_of(place):
        days = (due.date - today).days
        if 0 <= days <= DAYS_BEFORE:
            when = When.BEFORE
        elif -DAYS_AFTER <= days < 0:
            when = When.AFTER
        else:
            continue
        if (due.what, due.date, when) not in had:
            yield Reminded(place, due, when, until_address(place))


@regularly
def invitations_remind(*, now: dt.datetime | None = None) -> int:
    """Say once of every mailed invitation, in its last days, that it runs out. Returns how many mails were written.

    The day is counted and the hour chosen where the person lives, or by the server's clock for an address without
    an account. Run twice, also at once, it says nothing twice.
    """
    now = now or timezone.now()
    # A day wider than any zone needs.
    ends = now + dt.timedelta(days=DAYS_BEFORE_THE_END + 2)
    due = (
        _unanswered()
        .filter(expires__gt=now, expires__lte=ends, created__lte=now - NOT_JUST_SENT)
        .filter(place__state=Place.State.OFFERED)
        .exclude(email="")
        .exclude(place__round__state=Round.State.CLOSED)
        .select_related("place__round__edition__pattern__owner")
        .defer("place__round__edition__sheet", "place__round__terms")
        .order_by("pk")
    )
    return sum(_remind_of_end(invitation, now) for invitation in list(due))


def _unanswered() -> QuerySet[Invitation]:
    return Invitation.objects.filter(used_at=None, withdrawn_at=None, declined_at=None, reminded_at=None)


def _remind_of_end(invitation: Invitation, now: dt.datetime) -> bool:
    place = invitation.place
    person = User.objects.filter(email__iexact=invitation.email).first()
    zone = zone_of_person(person) if person is not None else ZoneInfo(settings.TIME_ZONE)
    last = local_day(place.round, invitation.expires)
    days = (last - now.astimezone(zone).date()).days
    if not (0 <= days <= DAYS_BEFORE_THE_END and is_civil(now, zone)):
        return False
    if person is not None and not person.is_active:
        return False
    with transaction.atomic():
        # Whoever answers or reminds in the same moment has the row first, or finds it changed.
        if not _unanswered().filter(pk=invitation.pk).update(reminded_at=now):
            return False
        with speaking_to(person):
            letter = letters.invitation_ends(
                invitation=invitation, sent=invitation.created.astimezone(zone).date()
            )
        mail = mail_send(
            to=invitation.email,
            letter=letter,
            # Who has no account cannot stop a kind of mail, and gets this one once.
            kind=Kind.ESSENTIAL if person is None else Kind.REMINDERS,
            person=person,
            name=place.name,
            about=place.round.code,
        )
        if mail is not None:
            with speaking_to(place.round.edition.pattern.owner):
                text = _("{name} was reminded by mail: the invitation runs out after {day}.").format(
                    name=place.name, day=letters.day(last)
                )
            diary_write(round=place.round, place=place, text=text)
    return mail is not None


@transaction.atomic
def nudge_send(
    *, place: Place, text: str, by: User, key: uuid.UUID | None = None, now: dt.datetime | None = None
) -> Nudge:
    """Send a designer's own words to the holder of a place. The same form, by its key, sends them once.

    Raises
    ------
    Refused
        Nobody with an account holds it, they want no such mails, there are no words or too many, or somebody
        has written to them today.
    PermissionDenied
        The person may not change the round.
    """
    now = now or timezone.now()
    locked = (
        Place.objects.select_for_update(of=("self",))
        .select_related("round__edition__pattern__owner", "tester")
        .get(pk=place.pk)
    )
    require(by, Right.EDIT, locked.round.edition.pattern)
    key = key or uuid.uuid4()
    sent = Nudge.objects.filter(place=locked, key=key).first()
    if sent is not None:
        return sent
    person = locked.tester
    if person is None or locked.state not in UNMEASURED:
        raise Refused.because(
            _("Nothing is awaited from {name}, or nobody holds the place: there is no one to nudge.").format(
                name=locked.name
            )
        )
    if not text.strip():
        raise Refused.because(_("Write a few words, or leave it."), "text")
    if len(text) > LONGEST_WORD:
        raise Refused.because(
            _("That is long: say it in {most} characters.").format(most=LONGEST_WORD), "text"
        )
    if not wants(person, Kind.REMINDERS):
        raise Refused.because(
            _(
                "{name} wants no reminders by mail, and this counts as one. Leave a private word instead."
            ).format(name=locked.name)
        )
    today = now.astimezone(zone_of_person(person)).date()
    try:
        with transaction.atomic():
            nudge = Nudge.objects.create(place=locked, person=person, by=by, day=today, at=now, key=key)
    except IntegrityError as error:
        raise Refused.because(
            _(
                "{name} has had a friendly word today already: one a day is enough. Try again tomorrow."
            ).format(name=locked.name)
        ) from error
    with speaking_to(person):
        letter = letters.dates.nudge(place=locked, text=text, by=by, until_url=until_address(locked))
    mail_send(
        to=person.email,
        letter=letter,
        kind=Kind.REMINDERS,
        person=person,
        name=locked.name,
        about=locked.round.code,
    )
    diary_write(
        round=locked.round,
        place=locked,
        by=by,
        text=_("{name} was sent a friendly word by mail.").format(name=locked.name),
    )
    return nudge
