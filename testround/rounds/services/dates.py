"""What moves by a date, and the later date that a tester may ask for. Nothing moves without an entry in the diary."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.core import signing
from django.db import transaction
from django.db.models import DateTimeField, Exists, F, OuterRef, Q, QuerySet, Subquery
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import pgettext_lazy

from testround.outbox.clock import long_since
from testround.outbox.mail import Mail, on_trouble
from testround.outbox.services import regularly
from testround.people.clock import zone_of_person
from testround.people.language import speaking_to
from testround.people.models import User
from testround.rounds.clock import zone_of
from testround.rounds.due import Due, What, date_of, dues_of
from testround.rounds.letters import day
from testround.rounds.models import DiaryEntry, Place, Round
from testround.rounds.refusals import Refused
from testround.rounds.selectors.forecasts import forecasts_of
from testround.rounds.services.diary import diary_write
from testround.rounds.services.rounds import round_move

SALT = "testround.rounds.until"
# The link in a mail lets in nobody but to this one question, and not for ever.
LINK_LASTS = dt.timedelta(days=60)
LATEST = dt.timedelta(days=120)
SUGGESTED_DAYS = (3, 7, 14, 28)
FORETOLD_AT_ONCE = 20
# Translators: each after "need until a day for".
IN_WORDS: dict[str, Any] = {
    What.SWATCH: pgettext_lazy("what needs until a day", "the swatch"),
    What.MEASURES: pgettext_lazy("what needs until a day", "the finished measurements"),
}


class UnknownLink(LookupError):
    """Not a link of ours, too old, or the place has another holder by now."""


# -- I need until… -------------------------------------------------------------------------------------------


def until_address(place: Place) -> str:
    """The address at which the holder of a place says until when they need, without signing in."""
    token = signing.dumps([place.pk, place.tester_id], salt=SALT)
    return f"{settings.SITE_URL}{reverse('rounds:until_by_mail', args=[token])}"


def place_of_token(token: str) -> Place:
    """The place of such an address.

    Raises
    ------
    UnknownLink
        The address is not ours, has run out, or its person no longer holds the place.
    """
    try:
        place_id, tester_id = signing.loads(token, salt=SALT, max_age=LINK_LASTS)
    except (signing.BadSignature, ValueError, TypeError):
        raise UnknownLink from None
    place = (
        Place.objects.filter(pk=place_id, tester_id=tester_id)
        .exclude(tester=None)
        .exclude(state=Place.State.GIVEN_BACK)
        .select_related("round__edition__pattern__owner", "tester")
        .first()
    )
    if place is None:
        raise UnknownLink
    return place


@dataclass(frozen=True, slots=True)
class Extension:
    """What can be asked for more time now: the next date of a place, and days to choose from."""

    due: Due
    suggested: tuple[dt.date, ...]
    latest: dt.date

    @property
    def what(self) -> str:
        return str(IN_WORDS[What(self.due.what)])


def extension_of(place: Place, *, now: dt.datetime | None = None) -> Extension | None:
    """The nearest date of a place for which its tester may want more time; None where none is awaited."""
    dues = dues_of(place)
    if not dues or place.tester is None:
        return None
    due, today = dues[0], _today(place, now)
    start = max(due.date, today)
    suggested = {start + dt.timedelta(days=days) for days in SUGGESTED_DAYS}
    if due.what == What.MEASURES and place.likely_until and place.likely_until > start:
        suggested.add(place.likely_until)
    latest = today + LATEST
    return Extension(due, tuple(sorted(date for date in suggested if date <= latest)), latest)


def _today(place: Place, now: dt.datetime | None) -> dt.date:
    assert place.tester is not None  # noqa: S101 -- asked of held places only
    return (now or timezone.now()).astimezone(zone_of_person(place.tester)).date()


@transaction.atomic
def place_needs_until(
    *, place: Place, what: str, until: dt.date, by: User | None, now: dt.datetime | None = None
) -> Place:
    """Give a place the date its tester asks for. The same date again changes nothing and leaves no entry.

    Raises
    ------
    Refused
        It is not awaited from this place, the date is past, not later than the round's own, or too far off.
    """
    locked = (
        Place.objects.select_for_update(of=("self",))
        .select_related("round__edition__pattern__owner", "tester")
        .get(pk=place.pk)
    )
    due = next((due for due in dues_of(locked) if due.what == what), None)
    if due is None or locked.tester is None:
        raise Refused.because(_("Nothing of this kind is awaited from this place any more."), "until")
    today = _today(locked, now)
    if until < today:
        raise Refused.because(
            _("{day} is past: choose a day from {first} on.").format(day=day(until), first=day(today)),
            "until",
        )
    if due.of_round is not None and until <= due.of_round:
        raise Refused.because(
            _("You have until {day} as it is: choose a later day, or leave it at that.").format(
                day=day(due.of_round)
            ),
            "until",
        )
    if until > today + LATEST:
        raise Refused.because(
            _("{day} is very far off: choose a day until {latest}, or write to the designer.").format(
                day=day(until), latest=day(today + LATEST)
            ),
            "until",
        )
    field = "swatch_until" if what == What.SWATCH else "measures_until"
    was = date_of(locked, what)
    if getattr(locked, field) == until:
        return locked
    setattr(locked, field, until)
    locked.save(update_fields=[field, "changed"])
    diary_write(
        round=locked.round,
        place=locked,
        by=by,
        text=(
            _("{name} needs until {day} for {what}, which had been due on {before}.")
            if was
            else _("{name} needs until {day} for {what}.")
        ).format(name=locked.name, day=day(until), what=IN_WORDS[What(what)], before=day(was) if was else ""),
    )
    return locked


# -- the likely days of finishing ----------------------------------------------------------------------------


@regularly
def likely_days_keep(*, now: dt.datetime | None = None, most: int = FORETOLD_AT_ONCE) -> int:
    """Work out the likely days of finishing of rounds whose diary has gone on since, or whose day has changed.

    They stand on the places, so that the first page and the mails need not read a whole round. Returns how many
    rounds were worked out.
    """
    now = now or timezone.now()
    stale = list(_stale(now)[:most])
    for round_ in stale:
        found = forecasts_of(round_, today=now.astimezone(zone_of(round_)).date())
        with transaction.atomic():
            for place in round_.places.only("pk", "likely_from", "likely_until"):
                forecast = found.get(place.pk)
                finish = forecast.finish if forecast else None
                likely = (finish.earliest, finish.latest) if finish else (None, None)
                if likely != (place.likely_from, place.likely_until):
                    Place.objects.filter(pk=place.pk).update(likely_from=likely[0], likely_until=likely[1])
            Round.objects.filter(pk=round_.pk).update(foretold_at=now)
    return len(stale)


def _stale(now: dt.datetime) -> QuerySet[Round]:
    newest = DiaryEntry.objects.filter(round=OuterRef("pk")).order_by("-at", "-pk").values("at")[:1]
    return (
        Round.objects.exclude(state__in=[Round.State.PLANNED, Round.State.CLOSED])
        .annotate(newest=Subquery(newest, output_field=DateTimeField()))
        .filter(
            Q(foretold_at=None)
            | Q(foretold_at__lt=F("newest"))
            | long_since("foretold_at", now=now, ago=dt.timedelta(hours=24))
        )
        .select_related("edition__pattern__owner")
        .order_by(F("foretold_at").asc(nulls_first=True), "pk")
    )


# -- moved by what testers send ------------------------------------------------------------------------------


@regularly
def rounds_follow_places() -> int:
    """Move rounds on by what their testers sent. Returns how many moved.

    When every swatch is in, the making begins; when the first piece is measured, the measuring. What was sent
    before the round was last moved moves it no further: where its designer put it, it stays. One that never moved
    came whole from a round file, and stays too.
    """
    places = Place.objects.filter(round=OuterRef("pk"))
    since = Q(changed__gt=OuterRef("moved_at"))
    measured = places.filter(left_at=None, state__in=[Place.State.MEASURED, Place.State.DONE])
    awaited = places.filter(state__in=[Place.State.OFFERED, Place.State.TAKEN])
    begun = places.filter(state__in=[Place.State.SWATCH_SENT, Place.State.GAUGE_AGREED, Place.State.MAKING])
    rounds = Round.objects.exclude(moved_at=None).select_related("edition__pattern__owner").order_by("pk")
    first_measured = (
        rounds.filter(state__in=[Round.State.SWATCHING, Round.State.MAKING])
        .filter(Exists(measured.filter(since)), ~Exists(measured.exclude(since)))
        .annotate(first=Subquery(measured.order_by("changed").values("name")[:1]))
    )
    moved = 0
    for round_ in list(first_measured):
        with speaking_to(round_.edition.pattern.owner):
            why = _("{name} sent the first finished measurements").format(name=round_.first)
            round_move(round=round_, state=Round.State.MEASURING, by=None, cause=why, names=[round_.first])
        moved += 1
    all_swatches = rounds.filter(state=Round.State.SWATCHING).filter(
        Exists(begun.filter(since)), ~Exists(awaited)
    )
    for round_ in list(all_swatches):
        with speaking_to(round_.edition.pattern.owner):
            round_move(round=round_, state=Round.State.MAKING, by=None, cause=_("every swatch is in"))
        moved += 1
    return moved


# -- mails that did not arrive -------------------------------------------------------------------------------


@on_trouble
def mail_in_trouble(mail: Mail) -> None:
    """A mail about a round that failed or may not have arrived stands in its diary."""
    round_ = Round.objects.filter(code=mail.about).first() if mail.about else None
    if round_ is None:
        return
    with speaking_to(round_.edition.pattern.owner):
        said = (
            _("The mail to {whom} may not have arrived and is not sent again by itself: {subject}.")
            if mail.state == Mail.State.UNCERTAIN
            else _("The mail to {whom} could not be sent: {subject}.")
        ).format(whom=mail.name or _("a tester"), subject=mail.subject)
    diary_write(round=round_, text=said, names=[mail.name] if mail.name else [])
