"""What is drawn on the pages of a round."""

from __future__ import annotations

import datetime as dt

from testround.paper.plots import Plot
from testround.paper.plots.finishes import Finishes, FinishRange, finish_plot
from testround.rounds.models import Round
from testround.rounds.selectors.forecasts import Outlook

PLOTTED = 16
"""Bars in the plot, those that will be longest; all are in the table beside it."""


def outlook_plot(outlook: Outlook, round: Round, *, today: dt.date) -> Plot | None:
    """The likely days of finishing of the pieces in progress; nothing where no day can be told of any."""
    ranges = [
        FinishRange(
            tester=one.place.name,
            size=one.place.size,
            earliest=finish.earliest,
            middle=finish.middle,
            latest=finish.latest,
            stands=one.stands,
            until=one.place.measures_until,
        )
        for one in outlook.places
        if one.forecast is not None and (finish := one.forecast.finish) is not None
    ]
    if not ranges:
        return None
    return finish_plot(Finishes(round.title, today, round.closes, tuple(ranges[:PLOTTED])))
