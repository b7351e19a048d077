"""When the pieces of a round will be finished, for the page of the round.

What testers send is read by a room above this one; it registers the function that foretells.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from testround.kernel.pace import Forecast
from testround.kernel.words import commas
from testround.paper.plots.finishes import stands_said
from testround.rounds.due import date_of
from testround.rounds.models import Place, Reminder, Round

Foreteller = Callable[[Round, dt.date], Mapping[int, Forecast]]
Namer = Callable[[Round], str]
OUTLOOKS_SHOWN = 40

_foretellers: list[Foreteller] = []
_namers: list[Namer] = []


def foretells(foreteller: Foreteller) -> Foreteller:
    """Register a function that gives, for a round and a day, forecasts by the key of their place."""
    _foretellers.append(foreteller)
    return foreteller


def names_what_foretells(namer: Namer) -> Namer:
    """Register a function that gives a name for all of a round that its forecasts rest on, but for the day."""
    _namers.append(namer)
    return namer


def forecasts_digest(round: Round) -> str:
    """A name for what the forecasts of a round rest on, but for the day."""
    return " ".join(namer(round) for namer in _namers)


@dataclass(frozen=True, slots=True)
class PlaceOutlook:
    """One piece in progress. ``stands`` is how it stands to its date, the round's or a later one of its own; empty
    where that is not known."""

    place: Place
    forecast: Forecast | None
    stands: str
    a_week: float | None
    """Hours a week that would finish it by that date."""

    @property
    def stands_said(self) -> str:
        """The same in words."""
        return stands_said(self.stands)

    @property
    def hours_a_week(self) -> int:
        """The same as it is said: whole hours."""
        return round(self.a_week) if self.a_week is not None else 0

    @property
    def done(self) -> int:
        """Per cent."""
        return round(100 * self.forecast.share) if self.forecast else 0


@dataclass(frozen=True, slots=True)
class Outlook:
    """Will they finish in time? The pieces in progress, those that will be longest first."""

    answer: str = ""
    places: tuple[PlaceOutlook, ...] = ()
    count: int = 0
    late: Mapping[str | None, Sequence[str]] = field(default_factory=dict)
    """Whose pieces are likely late, by their size; None for those without one."""
    last: dt.date | None = None
    """By when the last of them is likely done, of those that can be told."""


def forecasts_of(round: Round, *, today: dt.date) -> dict[int, Forecast]:
    """The forecast of every piece in progress of which something can be foretold, by the key of its place."""
    found: dict[int, Forecast] = {}
    for foreteller in _foretellers:
        found.update(foreteller(round, today))
    return found


def outlook_of(round: Round, places: Sequence[Place], *, today: dt.date) -> Outlook:
    """The forecast of these places of a round, in a number of queries that does not grow with them."""
    if not places:
        return Outlook()
    forecasts = forecasts_of(round, today=today)
    found = [
        _outlook(place, forecasts.get(place.pk), date_of(place, Reminder.What.MEASURES), today)
        for place in places
    ]
    found.sort(key=_urgency)
    late: dict[str | None, list[str]] = {}
    for one in found:
        if one.stands == "likely late":
            late.setdefault(one.place.size, []).append(one.place.name)
    finishes = [one.forecast.finish for one in found if one.forecast is not None and one.forecast.finish]
    last = max((finish.latest for finish in finishes), default=None)
    return Outlook(_answer(found), tuple(found[:OUTLOOKS_SHOWN]), len(found), late, last)


def _outlook(place: Place, forecast: Forecast | None, closes: dt.date | None, today: dt.date) -> PlaceOutlook:
    if forecast is None:
        return PlaceOutlook(place, None, "", None)
    stands = forecast.finish.against(closes) if forecast.finish else ""
    return PlaceOutlook(place, forecast, stands, forecast.a_week_until(closes, today))


def _urgency(one: PlaceOutlook) -> tuple[bool, int, float, str]:
    forecast = one.forecast
    if forecast is None:
        return True, 0, 0.0, one.place.name
    latest = forecast.finish.latest.toordinal() if forecast.finish else 0
    return False, -latest, -forecast.left.high, one.place.name


def _answer(found: Sequence[PlaceOutlook]) -> str:
    """ "Not all: 2 in time, 1 perhaps late, 3 cannot be told yet."."""
    in_time, perhaps, late, untold = (
        sum(one.stands == key for one in found) for key in ("in time", "may be late", "likely late", "")
    )
    if untold == len(found):
        return _("It cannot be told yet.")
    if in_time == len(found):
        return _("Yes, all of them.")
    said = [
        words.format(n=n)
        for n, words in (
            (in_time, ngettext("{n} in time", "{n} in time", in_time)),
            (perhaps, ngettext("{n} perhaps late", "{n} perhaps late", perhaps)),
            (late, ngettext("{n} likely late", "{n} likely late", late)),
            (untold, ngettext("{n} cannot be told yet", "{n} cannot be told yet", untold)),
        )
        if n
    ]
    if not perhaps and not late:
        answer = pgettext("will they finish in time?", "{counts}.")
    elif in_time:
        answer = pgettext("will they finish in time?", "Not all: {counts}.")
    else:
        answer = pgettext("will they finish in time?", "No: {counts}.")
    return answer.format(counts=commas(said))
