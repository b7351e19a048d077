"""How long every page takes in a round of two hundred testers, as a multiple of a bare page in the same run.

``uv run pytest tests/benchmarks/test_pages.py --benchmark-enable`` measures; without that option each page is asked
for a few times, and only what leaves no doubt is held against it. All is asked through Django's test client in the
process of the tests, every middleware included, and what counts is the time of the processor, so that neither a network nor
whatever else the machine does is measured. A page is warm, and so are the caches that a server has. The bare page is the frame of every page, with whoever is signed in, one query
and one sentence.
"""

from __future__ import annotations

import gc
import statistics
import time
from collections.abc import Iterator
from typing import Any

import pytest
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.template import RequestContext, Template
from django.test import Client
from django.urls import path

from testround import urls
from testround.people.models import User
from testround.settled import settle
from tests.many_testers import scenes  # noqa: F401
from tests.test_access import Scene, scene  # noqa: F401
from tests.visits import Visit, visits

MOST_TIMES_BARE = 5.0
# What two runs of one program differ by, where a page is near its bound.
BY_CHANCE = 0.3
# Answers of each page. Of twenty the 95th percentile would be the slowest of all, whatever slowed it.
MEASURED = 40

BARE = Template(
    '{% extends "base.html" %}{% block main %}<h1>Bare</h1><p>{{ people }} people</p>{% endblock %}'
)


def bare(request: HttpRequest) -> HttpResponse:
    return HttpResponse(BARE.render(RequestContext(request, {"people": User.objects.count()})))


urlpatterns = [path("bare/", bare), *urls.urlpatterns]


def taken(client: Client, address: str, times: int) -> list[float]:
    """Milliseconds of each of that many answers, after one that warms up."""
    found = []
    for _ in range(times + 1):
        began = time.process_time()
        response = client.get(address)
        found.append(1000 * (time.process_time() - began))
        assert response.status_code == 200
    return found[1:]


def slow(found: list[float]) -> float:
    """The 95th percentile, or of a few the smallest, which says least of what else the machine does."""
    return statistics.quantiles(found, n=20)[-1] if len(found) >= 20 else min(found)


@pytest.fixture
def settled() -> Iterator[None]:
    """The process as a server is once it has loaded, so that the collector looks through none of the tests either."""
    settle()
    yield
    gc.unfreeze()


@pytest.mark.django_db
@pytest.mark.usefixtures("settled")
def test_no_page_takes_more_than_its_multiple_of_a_bare_one(
    benchmark: Any,
    scenes: list[Scene],  # noqa: F811
    settings: Any,
) -> None:
    settings.ROOT_URLCONF = __name__
    times, allowed = (MEASURED, 1.0) if benchmark.enabled else (2, 3.0)
    cache.clear()
    ratios: dict[Visit, float] = {}

    for visit in visits(scenes):
        # Beside each page, so that both meet the machine in the same mood.
        yardstick = slow(taken(visit.client, "/bare/", times))
        ratios[visit] = slow(taken(visit.client, visit.path, times)) / yardstick

    worst = sorted(((round(ratio, 1), str(visit)) for visit, ratio in ratios.items()), reverse=True)
    benchmark.extra_info["times a bare page"] = worst
    benchmark.pedantic(lambda: None, rounds=1)
    bound = (MOST_TIMES_BARE + BY_CHANCE) * allowed
    assert {str(visit): ratio for visit, ratio in ratios.items() if ratio > bound} == {}
