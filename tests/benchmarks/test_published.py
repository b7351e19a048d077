"""How long published errata take, as a multiple of a bare page in the same run.

``uv run pytest tests/benchmarks/test_published.py --benchmark-enable`` measures; without that option each page is
asked for a few times, and only what leaves no doubt is held against it. As in `test_pages`, what counts is the time
of the processor for an answer to Django's test client, every middleware included. The bare page is the frame of public
pages with one query and one sentence, without anybody signed in. The pattern has nine sizes and as many errata as a
much tested one gathers.
"""

from __future__ import annotations

import statistics
import time
from typing import Any

import pytest
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.template import RequestContext, Template
from django.test import Client
from django.urls import path, reverse
from django.utils import timezone

from testround import urls
from testround.errata.models import Erratum
from testround.patterns.models import Edition, Pattern
from testround.people.everybody import for_everybody
from testround.people.models import User
from tests.benchmarks.test_pages import slow
from tests.errata.printed import FIRST_DAY, change

# Answers of each page, as in `test_pages`.
MEASURED = 40
SIZES = ("XS", "S", "M", "L", "XL", "2X", "3X", "4X", "5X")
FEW, MANY = 10, 40
# Times the bare page, at the 95th percentile: an answer that somebody has asked for before, in any form.
MOST_TIMES_BARE = 6.0
# One that nobody has, and is made: ten errata of three numbers each, in nine sizes.
MADE: dict[str, float] = {
    **dict.fromkeys(("list", "edition", "embed"), 40.0),
    **dict.fromkeys(("document", "feed", "text"), 30.0),
    "size": 30.0,
    "erratum": 20.0,
}

# An erratum that somebody has just read, beside a bare view that gives kept bytes.
MEASURED_AT_ONCE = 1000
LEAST_OF_KEPT = 0.8

BARE = Template(
    '{% extends "base_public.html" %}{% block main %}<h1>Bare</h1><p>{{ people }} people</p>{% endblock %}'
)


@for_everybody
def bare(request: HttpRequest) -> HttpResponse:
    return HttpResponse(BARE.render(RequestContext(request, {"people": User.objects.count()})))


def bare_cached(request: HttpRequest) -> HttpResponse:
    """What Django answers at the least when it has an answer already: the bytes that are kept."""
    return HttpResponse(cache.get("bare-cached"))


urlpatterns = [path("bare/", bare), path("bare-cached/", bare_cached), *urls.urlpatterns]


def pattern_with(owner: User, sheet: dict[str, Any], errata: int) -> Edition:
    """A pattern with two editions that are out, and this many errata of three numbers for the first."""
    numbers = [{**each, "printed": dict.fromkeys(SIZES, 100)} for each in sheet["numbers"]]
    sheet = {
        **sheet,
        "sizes": list(SIZES),
        "numbers": numbers,
        "measures": [{**sheet["measures"][0], "values": dict.fromkeys(SIZES, 96)}],
    }
    pattern = Pattern.objects.create(owner=owner, title="Published top")
    first, _ = (
        Edition.objects.create(
            pattern=pattern, label=label, sheet={**sheet, "edition": label}, released_at=timezone.now()
        )
        for label in ("1.0", "1.1")
    )
    was, now = dict.fromkeys(SIZES, 100), dict.fromkeys(SIZES, 104)
    for number in range(1, errata + 1):
        Erratum.objects.create(
            pattern=pattern,
            edition=first,
            number=number,
            published_at=FIRST_DAY,
            place=f"Back, step {number}",
            text="Work 1 single crochet in each stitch, then bind off with the numbers given here.",
            why="Nine testers’ pieces came out 2.5 cm longer than their own gauge explains.",
            changes=[
                change("back_sts", "st", was, now),
                change("body_length", "cm", dict.fromkeys(SIZES, 32.0), dict.fromkeys(SIZES, 35.5)),
                change("body", "st/10 cm", {"stitches": 22}, {"stitches": 23.5}),
            ],
        )
    return first


def addresses(edition: Edition) -> dict[str, str]:
    code = edition.pattern.code
    return {
        **{
            name: reverse(f"errata:{name}", args=[code])
            for name in ("list", "embed", "document", "feed", "text")
        },
        "size": reverse("errata:list", args=[code]) + f"?edition={edition.pk}&size=M&units=in&terms=uk",
        "edition": reverse("errata:edition", args=[code, edition.pk]),
        "erratum": reverse("errata:erratum", args=[code, 1]),
    }


def measured(client: Client, address: str, times: int, *, made: bool = False, name: str = "") -> list[float]:
    """Milliseconds of each of that many answers: made anew, or to somebody who has the one of this name."""
    found = []
    for _ in range(times + 1):
        if made:
            cache.clear()
        began = time.process_time()
        response = client.get(address, headers={"If-None-Match": name} if name else {})
        found.append(1000 * (time.process_time() - began))
        assert response.status_code == (304 if name else 200)
    return found[1:]


@pytest.mark.django_db
def test_published_pages_take_no_more_than_their_multiple_of_a_bare_one(
    benchmark: Any, designer: User, little_top: dict[str, Any], client: Client, settings: Any
) -> None:
    settings.ROOT_URLCONF = __name__
    times, allowed = (MEASURED, 1.0) if benchmark.enabled else (2, 3.0)
    found: dict[str, dict[str, float]] = {"kept": {}, "made": {}, "known already": {}}

    for page, address in addresses(pattern_with(designer, little_top, FEW)).items():
        name = client.get(address)["ETag"]
        # Beside each page, so that both meet the machine in the same mood.
        yardstick = slow(measured(client, "/bare/", times))
        found["kept"][page] = slow(measured(client, address, times)) / yardstick
        found["known already"][page] = slow(measured(client, address, times, name=name)) / yardstick
        found["made"][page] = slow(measured(client, address, times, made=True)) / yardstick

    benchmark.extra_info["times a bare page"] = {
        how: {page: round(ratio, 1) for page, ratio in ratios.items()} for how, ratios in found.items()
    }
    benchmark.pedantic(lambda: None, rounds=1)
    most = {"kept": dict.fromkeys(MADE, MOST_TIMES_BARE), "made": MADE}
    most["known already"] = most["kept"]
    assert {
        (how, page): ratio
        for how, ratios in found.items()
        for page, ratio in ratios.items()
        if ratio > most[how][page] * allowed
    } == {}


@pytest.mark.django_db
def test_what_is_published_takes_time_in_proportion_to_how_much_it_is(
    benchmark: Any, designer: User, little_top: dict[str, Any], client: Client
) -> None:
    """Four times the errata take no more than five times as long."""
    times, most = (MEASURED, 5.0) if benchmark.enabled else (3, 12.0)
    # Of a few the smallest, which says least of what else the process has to do, such as clearing away.
    typical = statistics.median if benchmark.enabled else min
    few = addresses(pattern_with(designer, little_top, FEW))
    many = addresses(pattern_with(designer, little_top, MANY))

    growth = {
        name: typical(measured(client, many[name], times, made=True))
        / typical(measured(client, few[name], times, made=True))
        for name in ("list", "size", "embed", "document", "feed", "text")
    }

    benchmark.extra_info["forty errata, times ten"] = {name: round(by, 1) for name, by in growth.items()}
    benchmark.pedantic(lambda: None, rounds=1)
    assert {name: by for name, by in growth.items() if by > most} == {}


@pytest.mark.django_db
def test_reading_an_erratum_is_nearly_as_fast_as_a_bare_view_of_kept_bytes(
    benchmark: Any, designer: User, little_top: dict[str, Any], settings: Any
) -> None:
    """As on a server whose readers come all at once: somebody has read it within the last seconds."""
    settings.ROOT_URLCONF, settings.PUBLISHED_UNASKED_SECONDS = __name__, 600
    times, least = (MEASURED_AT_ONCE, LEAST_OF_KEPT) if benchmark.enabled else (20, LEAST_OF_KEPT / 3)
    address = addresses(pattern_with(designer, little_top, FEW))["erratum"]
    # A client to each reader: nobody brings a cookie.
    ours, bare = Client(), Client()
    cache.set("bare-cached", ours.get(address).content, None)
    spent: dict[str, list[float]] = {"ours": [], "bare": []}

    for turn in range(times):
        sides = [("ours", ours, address), ("bare", bare, "/bare-cached/")]
        for side, client, at in sides if turn % 2 else reversed(sides):
            began = time.process_time()
            response = client.get(at)
            spent[side].append(time.process_time() - began)
            assert response.status_code == 200

    share = statistics.median(spent["bare"]) / statistics.median(spent["ours"])
    benchmark.extra_info["of a bare cached view"] = round(share, 2)
    benchmark.extra_info["milliseconds"] = {
        side: round(1000 * statistics.median(each), 2) for side, each in spent.items()
    }
    benchmark.pedantic(lambda: None, rounds=1)
    assert share >= least
