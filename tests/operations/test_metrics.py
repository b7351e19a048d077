"""What Prometheus reads: requests by route, and how the queues stand; for who brings the token."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from prometheus_client.parser import text_string_to_metric_families

from testround.operations.models import Backup
from testround.outbox.models import Mail, Work
from testround.outbox.services import _handlers, work_add, work_run
from testround.people.models import User

pytestmark = pytest.mark.django_db


def samples(client: Client, **headers: str) -> dict[tuple[str, frozenset[tuple[str, str]]], float]:
    answer = client.get("/metrics", headers=headers)
    assert answer.status_code == 200
    return {
        (sample.name, frozenset(sample.labels.items())): sample.value
        for family in text_string_to_metric_families(answer.text)
        for sample in family.samples
    }


def of(name: str, **labels: str) -> tuple[str, frozenset[tuple[str, str]]]:
    return f"testround_{name}", frozenset(labels.items())


def test_requests_are_counted_and_timed_by_route_and_not_by_address(client: Client) -> None:
    counted = of("requests_total", route="account_confirm_email", method="GET", status="200")
    timed = of("request_seconds_count", route="account_confirm_email", method="GET")
    before = samples(client)

    for key in ("one-key", "another-key"):
        client.get(f"/account/confirm-email/{key}/")

    after = samples(client)
    assert after[counted] - before.get(counted, 0) == 2
    assert after[timed] - before.get(timed, 0) == 2
    assert "one-key" not in str(after)


def test_the_queues_stand_as_the_database_has_them(client: Client) -> None:
    ago = timezone.now() - dt.timedelta(hours=1)
    Work.objects.bulk_create([Work(kind="photo"), Work(kind="photo"), Work(kind="photo", state="failed")])
    Work.objects.update(created=ago)
    Mail.objects.create(to="a@example.org", state="uncertain")
    Mail.objects.create(to="b@example.org", state="sent")
    Backup.objects.create(started=ago, finished=ago, file="/srv/b.tar")

    found = samples(client)

    assert found[of("work", kind="photo", state="waiting")] == 2
    assert found[of("work", kind="photo", state="failed")] == 1
    assert found[of("work_oldest_seconds", kind="photo", state="waiting")] == pytest.approx(3600, abs=120)
    assert found[of("mail", kind="essential", state="uncertain")] == 1
    assert of("mail", kind="essential", state="sent") not in found
    assert found[of("last_backup_timestamp_seconds")] == pytest.approx(ago.timestamp())
    assert found[of("database_bytes")] > 0
    assert found[of("photos_waiting")] == 0


def test_work_is_timed_by_its_kind_and_how_it_ended(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(_handlers, "measured", lambda _: None)
    monkeypatch.setitem(_handlers, "broken", lambda _: 1 / 0)

    for kind in ("measured", "broken"):
        work_run(work_id=work_add(kind=kind, subject={}).pk)

    found = samples(client)
    assert found[of("work_seconds_count", kind="measured", outcome="done")] == 1
    assert found[of("work_seconds_count", kind="broken", outcome="failed")] == 1


def test_with_a_token_set_they_are_for_who_brings_it(client: Client, settings: Any) -> None:
    settings.METRICS_TOKEN = "seven-grey-sheep"

    answers = {
        said: client.get("/metrics", headers={"Authorization": said} if said else {}).status_code
        for said in ("", "Bearer", "Bearer seven-grey-goats", "seven-grey-sheep", "Bearer seven-grey-sheep")
    }

    assert answers == {
        "": 404,
        "Bearer": 404,
        "Bearer seven-grey-goats": 404,
        "seven-grey-sheep": 404,
        "Bearer seven-grey-sheep": 200,
    }


def test_without_a_token_only_the_machine_of_an_embedded_installation_sees_them(settings: Any) -> None:
    settings.EMBEDDED = True
    embedded = {
        who: Client(REMOTE_ADDR=who).get("/metrics").status_code for who in ("127.0.0.1", "::1", "192.0.2.7")
    }
    settings.EMBEDDED = False

    # Behind a proxy of the same machine everybody comes from there.
    assert embedded == {"127.0.0.1": 200, "::1": 200, "192.0.2.7": 404}
    assert Client().get("/metrics").status_code == 404


def test_they_cost_the_same_for_one_row_or_many(client: Client) -> None:
    User.objects.create_user("a@example.org", "x")
    with CaptureQueriesContext(connection) as empty:
        client.get("/metrics")
    Work.objects.bulk_create(Work(kind=f"kind {n}", state="failed") for n in range(30))
    Mail.objects.bulk_create(Mail(to="a@example.org", subject=str(n)) for n in range(30))

    with CaptureQueriesContext(connection) as full:
        client.get("/metrics")

    assert len(full) == len(empty) == 8
