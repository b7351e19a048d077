"""Addresses of what a tester sends from a place, and of how the designer of the round reads it."""

from __future__ import annotations

from django.urls import path

from testround.api.v1 import reports

urlpatterns = [
    *(
        path(f"places/<int:id>/{name}", at_place.as_view(), name=name)
        for name, (at_place, _of) in reports.ROWS.items()
    ),
    *(path(f"places/<int:id>/{name}", view.as_view(), name=name) for name, view in reports.ON_PLACE.items()),
    path("places/<int:id>/swatch-answer", reports.SwatchAnswerOfPlace.as_view(), name="swatch_answer"),
    path("places/<int:id>/reports", reports.Reports.as_view(), name="reports"),
    path("places/<int:id>/finish", reports.Finish.as_view(), name="place_finish"),
    *(
        path(f"rounds/<str:code>/{name}", of_round.as_view(), name=f"round_{name}")
        for name, (_at, of_round) in reports.ROWS.items()
    ),
    path("rounds/<str:code>/reports", reports.ReportsOfRound.as_view(), name="round_reports"),
]
