"""The addresses of version 1, in the order in which the documentation has them."""

from __future__ import annotations

from django.urls import path

from testround.api.v1 import patterns
from testround.api.v1.urls_errata import urlpatterns as errata
from testround.api.v1.urls_reports import urlpatterns as reports
from testround.api.v1.urls_rounds import urlpatterns as rounds
from testround.api.v1.urls_talk import urlpatterns as talk

urlpatterns = [
    path("patterns", patterns.Patterns.as_view(), name="patterns"),
    path("patterns/<str:code>", patterns.OnePattern.as_view(), name="pattern"),
]
urlpatterns += [*rounds, *reports, *errata, *talk]
