"""A person's own dates: as tester, what is due when; as designer, when her rounds open, are due and close."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from urllib.parse import urlsplit

from django.conf import settings
from django.db.models import Max
from django.db.models.functions import Coalesce, Greatest
from django.urls import reverse
from django.utils.translation import gettext as _

from testround.people.models import User
from testround.rounds.models import Place, Round
from testround.talk.ical import Day, calendar
from testround.talk.models import CalendarAddress
from testround.talk.selectors import rounds_spoken_for

# A calendar of what lies further back is no use, and a person may have been in hundreds of rounds.
KEPT = dt.timedelta(days=366)
MOST_DAYS = 1000


def address_of(token: str) -> CalendarAddress | None:
    """The calendar address with that secret, of somebody whose account is open."""
    addresses = CalendarAddress.objects.select_related("person").filter(person__is_active=True)
    return addresses.filter(token=token).first()


def dates_of(person: User, *, today: dt.date) -> list[Day]:
    """The person's dates of the last year and those to come, in their order. Two queries, whatever there is."""
    days = [*_as_tester(person), *_as_designer(person)]
    kept = [day for day in days if day.day >= today - KEPT]
    return sorted(kept, key=lambda day: (day.day, day.uid))[:MOST_DAYS]


def calendar_of(person: User, *, today: dt.date) -> str:
    """The same as an iCalendar object, in the language that is active."""
    return calendar(_("Test rounds"), dates_of(person, today=today))


def changed_of(person: User, address: CalendarAddress) -> dt.datetime:
    """When anything last changed in a round that the person's dates come from, given-back places included.

    Every change of a round is in its diary.
    """
    held = Place.objects.filter(tester=person).order_by().values("round")
    run = rounds_spoken_for(person).order_by().values("pk")
    rounds = Round.objects.filter(pk__in=held.union(run))
    last: dt.datetime | None = rounds.aggregate(last=Max("diary__at"))["last"]
    return max(last, address.made) if last is not None else address.made


def _as_tester(person: User) -> Iterator[Day]:
    places = (
        Place.objects.filter(tester=person)
        .exclude(state=Place.State.GIVEN_BACK)
        .select_related("round__edition__pattern")
        .annotate(stamp=_revised("round__diary__at", "round__created"))
    )
    for place in places:
        round = place.round
        title = round.edition.pattern.title
        made = _("{title}, size {size}").format(title=title, size=place.size) if place.size else title
        for what, due, asked, words in (
            ("swatch", round.swatches_due, place.swatch_until, _("Swatch due: {piece}")),
            ("measures", round.closes, place.measures_until, _("Finished measurements due: {piece}")),
        ):
            day = max((date for date in (due, asked) if date is not None), default=None)
            if day is None:
                continue
            later = asked is not None and asked == day and asked != due
            yield Day(
                uid=_uid(f"place-{place.pk}-{what}"),
                day=day,
                summary=words.format(piece=made),
                description=_("The day you asked for.")
                if later
                else _("What comes later is taken all the same."),
                url=_address(place.get_absolute_url()),
                stamp=place.stamp,
            )


def _as_designer(person: User) -> Iterator[Day]:
    rounds = rounds_spoken_for(person).annotate(stamp=_revised("diary__at", "created"))
    for round in rounds.defer("edition__sheet", "terms"):
        for what, day, words in (
            ("call-opens", round.call_opens, _("Call for testers opens: {pattern}")),
            ("call-closes", round.call_closes, _("Call for testers closes: {pattern}")),
            ("opens", round.opens, _("Round opens: {pattern}")),
            ("swatches", round.swatches_due, _("Swatches due: {pattern}")),
            ("closes", round.closes, _("Round closes: {pattern}")),
        ):
            if day is not None:
                yield Day(
                    uid=_uid(f"round-{round.code}-{what}"),
                    day=day,
                    summary=words.format(pattern=round.edition.pattern.title),
                    description=round.title,
                    url=_address(round.get_absolute_url()),
                    stamp=round.stamp,
                )


def _revised(diary: str, created: str) -> Greatest:
    return Greatest(Coalesce(Max(diary), created), created)


def _uid(what: str) -> str:
    return f"{what}@{urlsplit(settings.SITE_URL).hostname}"


def _address(path: str) -> str:
    return f"{settings.SITE_URL}{path}"


def feed_address(address: CalendarAddress) -> str:
    return _address(reverse("talk:feed", args=[address.token]))


def subscribing_address(address: CalendarAddress) -> str:
    """The same under the scheme by which phones hand an address to their calendar."""
    return f"webcal://{feed_address(address).partition('://')[2]}"
