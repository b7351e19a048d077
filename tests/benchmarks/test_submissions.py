"""How many reports are acknowledged, as a share of what a bare Django view that writes the same rows acknowledges.

``DATABASE_URL=postgres://… uv run pytest tests/benchmarks/test_submissions.py --benchmark-enable`` measures; without that
option a few reports of each kind are sent, and only what leaves no doubt is held against it. The bare view has the
same middleware and the same sign-in. It parses what was posted by ``float``, takes no notice of whether it makes
sense, locks the place, and writes by Django's models, in one transaction, the rows that the program writes: the
submission, what was reported, the diary's entry and the work that follows; then it redirects. Every request
commits for itself. The two take turns, so that both meet the machine in the same mood. Whoever sends a report is led
on to a page, which says that it has arrived and forgets it; as no page is opened here, what it would say is dropped,
and does not go to and fro with all that is sent afterwards.
"""

from __future__ import annotations

import json
import time
import uuid
from typing import Any

import pytest
from django.conf import settings as project
from django.contrib.auth.decorators import login_required
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.test import Client
from django.urls import path
from django.views.decorators.http import require_POST

from testround import urls
from testround.outbox import services as outbox
from testround.outbox.models import Work
from testround.people.messages import HostCookie
from testround.people.models import User
from testround.reports.exchange import round_import
from testround.reports.models import Count, Finished, Remark, Reported, Sitting, Submission, Swatch
from testround.reports.sections import sections_of
from testround.reports.selectors import desk_of
from testround.rounds.models import DiaryEntry, Place

LEAST_OF_BARE = 0.5
# How often each kind comes in a round: many sittings, a few swatches, the rest once.
SHARES = {"sitting": 12, "swatch": 3, "counts": 4, "finished": 2, "remark": 2}
MEASURED = 8


def rows_of(kind: str, posted: dict[str, str], shared: dict[str, Any]) -> list[Reported]:
    match kind:
        case "sitting":
            return [Sitting(hours=float(posted["hours"]), **shared)]
        case "remark":
            return [Remark(kind=posted["kind"], text=posted["remark"], **shared)]
        case "swatch":
            read = {name: float(posted[name]) for name in ("width", "stitches", "height", "rows")}
            return [Swatch(gauge=posted["gauge"], state=posted["state"], tool_mm=4.0, **read, **shared)]
        case "counts":
            return [
                Count(number=name.removeprefix("count_"), worked=float(value), **shared)
                for name, value in posted.items()
                if name.startswith("count_")
            ]
        case _:
            return [
                Finished(dimension=name[5:-2], values=[float(value)], state=posted["state"], **shared)
                for name, value in posted.items()
                if name.startswith("read_")
            ]


@login_required
@require_POST
def bare(request: HttpRequest, pk: int, kind: str) -> HttpResponse:
    posted = request.POST.dict()
    with transaction.atomic():
        place = Place.objects.select_for_update().get(pk=pk, tester=request.user)
        submission = Submission.objects.create(place=place, key=posted["key"], kind=kind, by=request.user)
        rows = rows_of(kind, posted, {"place": place, "submission": submission})
        type(rows[0])._default_manager.bulk_create(rows)
        DiaryEntry.objects.create(
            round_id=place.round_id, place=place, by=request.user, text=f"{place.name} sent {kind}."
        )
        work = Work.objects.create(kind="analyse", subject={"round": place.round_id})
        transaction.on_commit(lambda: outbox.send_off("run", work.pk, lambda: None))
    return redirect("/places/")


urlpatterns = [path("bare/<int:pk>/<str:kind>/", bare), *urls.urlpatterns]


@pytest.fixture
def places(designer: User) -> list[Place]:
    """The demo's round with all that its testers sent, each place held by somebody."""
    document = json.loads((project.BASE_DIR / "fixtures" / "fenlight.json").read_text())
    round_ = round_import(data=json.dumps(document).encode(), owner=designer)
    held = list(round_.places.order_by("pk")[:4])
    for number, place in enumerate(held):
        place.tester = User.objects.create_user(f"{number}@example.org", name=place.name)
    Place.objects.bulk_update(held, ["tester"])
    return held


def posts(place: Place) -> dict[str, tuple[str, dict[str, str]]]:
    """By kind, the query of its address and what a tester sends: what the pattern gives them, as most do."""
    desk = desk_of(place)
    section = sections_of(desk.pattern)[0]
    own = {line.key: line.value for group in desk.worksheet.places for line in group.numbers}
    wanted = {dimension.key: dimension.target for dimension in desk.worksheet.dimensions}
    return {
        "sitting": ("", {"hours": "1.5"}),
        "remark": ("", {"kind": "unclear", "remark": "Which edge is meant here?"}),
        # One that will not do, so that the answer to it is worked out with its advice.
        "swatch": (
            "",
            {
                "gauge": "body",
                "state": "blocked",
                "tool": "4",
                "width": "10",
                "stitches": "20",
                "height": "10",
                "rows": "28",
            },
        ),
        "counts": (
            f"?section={section.slug}",
            {f"count_{number.key}": f"{own[number.key]:g}" for number in section.numbers},
        ),
        "finished": (
            "",
            {"state": "blocked"} | {f"read_{key}_1": f"{value:.1f}" for key, value in wanted.items()},
        ),
    }


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_reports_are_acknowledged_at_least_half_as_fast_as_by_a_bare_view(
    benchmark: Any, places: list[Place], settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.ROOT_URLCONF = __name__
    # On a server workers do what follows; here nobody does, after either of the two.
    monkeypatch.setattr(outbox, "send_off", lambda *_: None)
    clients = [(Client(), place, posts(place)) for place in places]
    for client, place, _ in clients:
        client.force_login(place.tester)
    times = MEASURED if benchmark.enabled else 1
    spent = {kind: {"bare": 0.0, "ours": 0.0} for kind in SHARES}

    for kind, share in SHARES.items():
        # Nothing that is sent here moves a place on; before the gauge is agreed, a swatch is answered.
        state = Place.State.SWATCH_SENT if kind == "swatch" else Place.State.MEASURED
        Place.objects.update(state=state)
        for turn in range(share * times + 1):
            client, place, said = clients[turn % len(clients)]
            for side in ("ours", "bare") if turn % 2 else ("bare", "ours"):
                query, body = said[kind]
                ours = f"/places/{place.pk}/{kind}/{query}"
                as_if_nothing_waited(place)
                taken = sent(client, ours if side == "ours" else f"/bare/{place.pk}/{kind}/", body)
                # The first of each kind warms up.
                spent[kind][side] += taken if turn else 0.0

    shares = {kind: round(each["bare"] / each["ours"], 2) for kind, each in spent.items()}
    overall = sum(each["bare"] for each in spent.values()) / sum(each["ours"] for each in spent.values())
    a_second = {
        side: round(sum(SHARES.values()) * times / sum(each[side] for each in spent.values()), 1)
        for side in ("bare", "ours")
    }
    benchmark.extra_info.update(
        {"of a bare view": round(overall, 2), "by kind": shares, "acknowledged a second": a_second}
    )
    benchmark.pedantic(lambda: None, rounds=1)
    assert overall >= (LEAST_OF_BARE if benchmark.enabled else LEAST_OF_BARE / 3)


def as_if_nothing_waited(place: Place) -> None:
    """The next report is written in full: no count stands already as it is sent, and a worker is at the work before."""
    Count.objects.filter(place=place).delete()
    Work.objects.filter(state=Work.State.WAITING).update(state=Work.State.DONE)


def sent(client: Client, address: str, said: dict[str, str]) -> float:
    """Seconds until it is acknowledged."""
    # A key of its own, and a text of its own, as two people never write the same.
    body = {**said, "key": str(uuid.uuid4())}
    client.cookies.pop(HostCookie.cookie_name, None)
    began = time.perf_counter()
    response = client.post(address, body)
    taken = time.perf_counter() - began
    assert response.status_code == 302, response.content.decode()[:2000]
    return taken
