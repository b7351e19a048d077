"""How testers are doing for time: hours so far, hours left, and when that will be."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.core.cache import cache
from django.utils.translation import npgettext, pgettext

from testround import __version__
from testround.kernel import round as kernel
from testround.kernel.cautions import Caution, sitting_caution
from testround.kernel.pace import Diary, Everyone, Forecast, everyone, forecast, pieces_of
from testround.kernel.sheet import Sheet, SheetError
from testround.kernel.words import listed
from testround.reports.bridge import kernel_tester, testers_of
from testround.reports.digest import round_digest
from testround.reports.models import Count, Finished, Reported, Sitting, Swatch
from testround.reports.selectors import Desk
from testround.rounds.due import date_of
from testround.rounds.models import Place, Reminder, Round
from testround.rounds.selectors.forecasts import foretells, names_what_foretells

names_what_foretells(round_digest)

# What a forecast rests on.
READ = (Swatch, Count, Finished, Sitting)
# Everyone's pace moves slowly, and reading it reads the whole round: a tester's page may be that much behind.
CACHED_FOR_SECONDS = 10 * 60
# A forecast is another as soon as anything is sent, and tomorrow.
FORECASTS_KEPT_FOR_SECONDS = 24 * 60 * 60


@dataclass(frozen=True, slots=True)
class PlaceTime:
    """How am I doing for time? ``took`` are the hours of a piece that is measured; ``caution`` follows a long
    last sitting."""

    so_far: float
    took: float | None
    forecast: Forecast | None
    guess: float | None
    closes: dt.date | None
    own_date: bool
    """``closes`` is the later date that was asked for, not the round's."""
    stands: str
    a_week: float | None
    caution: Caution | None

    @property
    def done(self) -> int:
        """Per cent."""
        return round(100 * self.forecast.share) if self.forecast else 0

    @property
    def rests_on(self) -> str:
        """Whose pace the range comes from, as it stands after "It rests on"."""
        if self.forecast is None:
            return ""
        others = self.forecast.others
        own = pgettext("it rests on", "your own pace so far")
        match self.forecast.rests_on:
            case "testers":
                expected = npgettext(
                    "it rests on", "the pace of {n} other tester", "the pace of {n} other testers", others
                ).format(n=others)
            case "edition":
                expected = pgettext("it rests on", "the hours the pattern states")
            case "guess":
                expected = pgettext("it rests on", "your guess")
            case _:
                return own
        return listed([own, expected]) if self.so_far and self.forecast.share > 0 else expected


def time_of(desk: Desk, *, today: dt.date) -> PlaceTime:
    """One tester's hours: what was logged, and what is left with its likely range."""
    place = desk.place
    sittings = tuple(Sitting.objects.filter(place=place, superseded_at=None).order_by("pk"))
    so_far = sum(row.hours for row in sittings)
    finished = place.state in (Place.State.MEASURED, Place.State.DONE)
    found = None if finished else _forecast(desk, sittings, today)
    closes = date_of(place, Reminder.What.MEASURES)
    return PlaceTime(
        so_far=so_far,
        took=so_far if finished and sittings else None,
        forecast=found,
        guess=place.guess_hours,
        closes=closes,
        own_date=closes != place.round.closes,
        stands=found.finish.against(closes) if found and found.finish else "",
        a_week=found.a_week_until(closes, today) if found else None,
        caution=sitting_caution(sittings[-1].hours) if sittings else None,
    )


def pace_told(place: Place, today: dt.date) -> Everyone | None:
    """What a place's forecast rests on beyond what was sent from it: everyone's pace; nothing once it is measured."""
    if place.state in (Place.State.MEASURED, Place.State.DONE):
        return None
    return everyone_in(place.round, today)


def _forecast(desk: Desk, sittings: Sequence[Sitting], today: dt.date) -> Forecast | None:
    rows = {Swatch: desk.swatches, Count: desk.counts, Finished: desk.finished, Sitting: sittings}
    (piece,) = pieces_of(desk.sheet, [kernel_tester(desk.place, rows)])
    return forecast(desk.sheet, piece, everyone_in(desk.place.round, today), diary_of(sittings), today)


def diary_of(sittings: Iterable[Sitting]) -> Diary:
    """The sittings whose day is known; those read from a round file have none."""
    return [(row.day, row.hours) for row in sittings if row.day is not None]


def everyone_in(round_: Round, today: dt.date) -> Everyone:
    """The pace of a round's testers, at most ten minutes old."""
    key = f"pace:{__version__}:{round_.code}:{today}"
    known = cache.get(key)
    if not isinstance(known, Everyone):
        sheet = round_.edition.compiled
        found = testers_of(round_, READ)
        known = everyone(pieces_of(sheet, [tester for _, tester, _ in found]), _diaries(found), today)
        cache.set(key, known, CACHED_FOR_SECONDS)
    return known


def _diaries(
    found: Iterable[tuple[Place, kernel.Tester, Mapping[type[Reported], Sequence[Any]]]],
) -> dict[str, Diary]:
    diaries = {tester.id: diary_of(rows[Sitting]) for _, tester, rows in found}
    return {tester: diary for tester, diary in diaries.items() if diary}


@foretells
def forecasts_in(round_: Round, today: dt.date) -> Mapping[int, Forecast]:
    """The forecast of every piece in progress of a round, by its place."""
    try:
        sheet = round_.edition.compiled
    except SheetError:
        return {}
    digest = round_digest(round_)
    key = f"forecasts:{digest}:{today}"
    known = cache.get(key)
    if not isinstance(known, dict):
        known = _forecasts(round_, sheet, today)
        # Unless somebody sent something while the rows were read.
        if round_digest(round_) == digest:
            cache.set(key, known, FORECASTS_KEPT_FOR_SECONDS)
    return known


def _forecasts(round_: Round, sheet: Sheet, today: dt.date) -> dict[int, Forecast]:
    found = testers_of(round_, READ)
    pieces = pieces_of(sheet, [tester for _, tester, _ in found])
    diaries = _diaries(found)
    all_of_them = everyone(pieces, diaries, today)
    forecasts = {}
    for (place, tester, _), piece in zip(found, pieces, strict=True):
        if place.state not in (Place.State.MEASURED, Place.State.DONE):
            one = forecast(sheet, piece, all_of_them, diaries.get(tester.id, ()), today)
            if one is not None:
                forecasts[place.pk] = one
    return forecasts
