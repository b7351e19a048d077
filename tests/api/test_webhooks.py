"""To which programs errata are posted, by a program of the pattern's owner."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

import pytest
from django.core.cache import cache
from django.utils import timezone

from testround.errata.models import Erratum
from testround.following.models import Attempt, Delivery, Follower, Webhook
from testround.patterns.models import Edition
from tests.api.programs import Program, assert_costs_the_same
from tests.api.test_reports import asked
from tests.api.test_requests import problem
from tests.following.conftest import publish

__all__ = ["publish"]


@pytest.fixture
def at(edition: Edition) -> str:
    return f"/patterns/{edition.pattern.code}"


@pytest.fixture
def hook(program: Program, at: str) -> str:
    """The address of a program that was added: its host leads nowhere (RFC 6761)."""
    added = program.post(f"{at}/webhooks", {"url": "https://hook.invalid/errata"})
    assert added.status_code == 201
    return added.headers["Location"].partition("/api/v1")[2]


def test_the_secret_is_shown_when_a_program_is_added_and_never_read_again(program: Program, at: str) -> None:
    added = program.post(f"{at}/webhooks", {"url": "https://hook.invalid/errata"})

    secret = added.json()["secret"]
    assert secret == Webhook.objects.get().secret
    for path in (f"{at}/webhooks", added.headers["Location"]):
        assert secret not in program.get(path).text


def test_an_address_that_cannot_be_posted_to_or_is_there_is_refused(
    program: Program, at: str, hook: str
) -> None:
    refused = [
        asked(program.post(f"{at}/webhooks", {"url": url}))
        for url in ("https://127.0.0.1/", "ftp://hook.invalid/", "https://hook.invalid/errata")
    ]

    assert [[pointer for pointer, _ in faults] for faults in refused] == [["/url"]] * 3
    assert Webhook.objects.count() == 1


def test_a_program_is_tried_paused_taken_up_again_and_removed(program: Program, hook: str) -> None:
    tried = program.post(f"{hook}/test").json()
    paused = program.post(f"{hook}/pause").json()
    Delivery.objects.update(state=Delivery.State.HELD)
    resumed = program.post(f"{hook}/resume").json()
    former = Webhook.objects.get().secret
    renewed = program.post(f"{hook}/secret").json()
    removed = program.delete(hook, match=program.get(hook).headers["ETag"])

    assert (tried["kind"], tried["erratum"]) == ("webhook.test", None)
    assert (paused["paused"], resumed) == ("by owner", {"sent": 1})
    assert (renewed["secret"] != former, renewed["former_until"] is None) == (True, False)
    assert (removed.status_code, Webhook.objects.count()) == (204, 0)


def test_a_message_is_posted_again_unless_its_program_is_paused(
    program: Program, hook: str, publish: Callable[..., Erratum]
) -> None:
    delivery = Delivery.objects.create(
        webhook=Webhook.objects.get(),
        erratum=publish(),
        kind=Delivery.Kind.PUBLISHED,
        body="{}",
        state=Delivery.State.GIVEN_UP,
        attempts_made=10,
        finished=timezone.now(),
    )
    again = f"{hook}/deliveries/{delivery.pk}/again"

    sent = program.post(again).json()
    program.post(f"{hook}/pause")
    held = program.post(again)

    assert (sent["state"], sent["erratum"], sent["finished"]) == ("waiting", 1, None)
    assert problem(held) == (409, "conflict")


def test_as_many_posts_are_set_off_by_hand_as_on_the_page(program: Program, hook: str) -> None:
    answers = [program.post(f"{hook}/test") for _ in range(31)]

    assert {answer.status_code for answer in answers[:30]} == {200}
    assert problem(answers[30]) == (429, "too-many-requests")
    assert answers[30].headers["Retry-After"] == "3600"


def test_how_many_follow_is_told_and_not_who(program: Program, at: str, edition: Edition) -> None:
    Follower.objects.create(
        pattern=edition.pattern, address="maker@example.org", confirmed_at=timezone.now(), language="en-gb"
    )
    Follower.objects.create(pattern=edition.pattern, address="other@example.org", language="en-gb")

    assert program.get(f"{at}/following").json() == {"followers": 1}


def test_reading_costs_the_same_whatever_was_posted(
    program: Program, at: str, hook: str, edition: Edition
) -> None:
    def post() -> None:
        for _ in range(3):
            delivery = Delivery.objects.create(
                webhook=Webhook.objects.earliest("pk"), kind=Delivery.Kind.TEST, body="{}"
            )
            for minutes in range(2):
                at_ = timezone.now() - dt.timedelta(minutes=minutes)
                Attempt.objects.create(delivery=delivery, at=at_, status=500, milliseconds=3)

    def add() -> None:
        for number in range(3):
            Webhook.objects.create(
                pattern=edition.pattern,
                url=f"https://hook{number}.invalid/",
                secret="whsec_AAAA",
            )

    def follow() -> None:
        for number in range(3):
            Follower.objects.create(
                pattern=edition.pattern,
                address=f"maker{number}@example.org",
                confirmed_at=timezone.now(),
                language="en-gb",
            )

    cache.clear()
    post()
    assert_costs_the_same(lambda: program.get(f"{hook}/deliveries"), post)
    assert_costs_the_same(lambda: program.get(f"{at}/webhooks"), add)
    assert_costs_the_same(lambda: program.get(f"{at}/following"), follow)
    assert_costs_the_same(lambda: program.get(hook), lambda: program.post(f"{hook}/pause"))
