"""The addresses of version 1, in the order in which the documentation has them."""

from __future__ import annotations

from django.urls import path

from testround.api.v1 import editions, files, patterns, people, sheets, values
from testround.api.v1.urls_errata import urlpatterns as errata
from testround.api.v1.urls_reports import urlpatterns as reports
from testround.api.v1.urls_rounds import urlpatterns as rounds
from testround.api.v1.urls_talk import urlpatterns as talk

urlpatterns = [
    path("patterns", patterns.Patterns.as_view(), name="patterns"),
    path("patterns/<str:code>", patterns.OnePattern.as_view(), name="pattern"),
    # editions and sheets
    path("patterns/<str:code>/editions", editions.Editions.as_view(), name="editions"),
    path("patterns/<str:code>/editions/<int:id>", editions.OneEdition.as_view(), name="edition"),
    path(
        "patterns/<str:code>/editions/<int:id>/release",
        editions.EditionsRelease.as_view(),
        name="edition_release",
    ),
    path("patterns/<str:code>/editions/<int:id>/sheet", sheets.EditionSheet.as_view(), name="sheet"),
    path("patterns/<str:code>/editions/<int:id>/states", sheets.SheetStates.as_view(), name="sheet_states"),
    path(
        "patterns/<str:code>/editions/<int:id>/states/<int:revision>",
        sheets.OneSheetState.as_view(),
        name="sheet_state",
    ),
    path("patterns/<str:code>/editions/<int:id>/check", sheets.EditionCheck.as_view(), name="edition_check"),
    path("patterns/<str:code>/editions/<int:id>/values", values.ValuesTried.as_view(), name="values"),
    *(
        path(f"patterns/<str:code>/editions/<int:id>/values.{kind}", view.as_view(), name=f"values_{kind}")
        for kind, view in values.FILES.items()
    ),
    path("checks", sheets.Checks.as_view(), name="checks"),
    # people
    path("patterns/<str:code>/memberships", people.Memberships.as_view(), name="memberships"),
    path("patterns/<str:code>/memberships/<int:id>", people.OneMembership.as_view(), name="membership"),
    path("memberships/accept", people.MembershipsAccept.as_view(), name="membership_accept"),
    # round files
    path("round-files", files.RoundFiles.as_view(), name="round_files"),
    path("rounds/<str:code>/file", files.RoundFile.as_view(), name="round_file"),
    path("rounds/<str:code>/file.zip", files.RoundZip.as_view(), name="round_zip"),
]
urlpatterns += [*rounds, *reports, *errata, *talk]
