"""Addresses of what a tester sends from a place, and of how the designer of the round reads it."""

from __future__ import annotations

from django.urls import path

from testround.api.v1 import photos, reports, unsent, working

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
    path("places/<int:id>/unsent", unsent.Unsent.as_view(), name="unsent"),
    path("places/<int:id>/unsent/<str:form>", unsent.UnsentForm.as_view(), name="unsent_form"),
    path("places/<int:id>/timer", working.Timer.as_view(), name="timer"),
    path("places/<int:id>/timer/stop", working.TimerEnd.as_view(), name="timer_stop"),
    path("places/<int:id>/counting", working.Counting.as_view(), name="counting"),
    path("places/<int:id>/thanks", working.Thanks.as_view(), name="thanks"),
    path("places/<int:id>/consents", working.Consents.as_view(), name="consents"),
    path("places/<int:id>/photos", photos.Photos.as_view(), name="photos"),
    path("places/<int:id>/photos/<uuid:photo>", photos.OnePhoto.as_view(), name="photo"),
    path("places/<int:id>/photos/<uuid:photo>/<int:width>", photos.PhotoFile.as_view(), name="photo_file"),
    path("rounds/<str:code>/places/<int:id>/sent", reports.SentByTester.as_view(), name="round_place_sent"),
    path("rounds/<str:code>/photos", photos.PhotosOfRound.as_view(), name="round_photos"),
    path(
        "rounds/<str:code>/photos/<uuid:photo>/<int:width>",
        photos.PhotoFileOfRound.as_view(),
        name="round_photo_file",
    ),
]
