"""Errata posted to other programs: who adds an address, what arrives, and what happens when it does not."""

from __future__ import annotations

import datetime as dt
import json
import re
import uuid
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from testround.errata.models import Erratum
from testround.following import posting, signing, webhooks
from testround.following.models import Attempt, Delivery, Webhook
from testround.following.posting import Ways
from testround.following.webhooks import (
    WAITS,
    deliveries_forget,
    deliveries_sweep,
    delivery_run,
    delivery_send_again,
    webhook_add,
    webhook_pause,
    webhook_resume,
    webhook_secret_renew,
    webhook_test,
)
from testround.outbox.models import Work
from testround.patterns.models import Edition, Pattern
from testround.people.models import User
from tests.following.receiver import Receiver, receiver

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def program(monkeypatch: pytest.MonkeyPatch) -> Iterator[Receiver]:
    """A program that takes everything, under the name hook.example."""
    monkeypatch.setattr(
        posting, "ways", Ways(resolve=lambda host, port: ["127.0.0.1"], allowed=lambda address: True)
    )
    with receiver() as state:
        yield state


@pytest.fixture
def webhook(edition: Edition, designer: User, program: Receiver) -> Webhook:
    url = f"http://hook.example:{program.port}/errata"
    return webhook_add(pattern=edition.pattern, url=url, key=uuid.uuid4(), by=designer)[0]


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Callable[[Delivery], dt.datetime]:
    """Move on to when a message is tried next; jitter is left out."""

    class Steady:
        def uniform(self, low: float, high: float) -> float:
            assert (round(low, 6), round(high, 6)) == (0.9, 1.1)
            return 1.0

    monkeypatch.setattr(webhooks, "_random", Steady())

    def next_turn(delivery: Delivery) -> dt.datetime:
        delivery.refresh_from_db()
        return delivery.not_before

    return next_turn


def tried(delivery: Delivery) -> list[tuple[int | None, str]]:
    """The attempts, the oldest first."""
    return [(attempt.status, attempt.problem) for attempt in delivery.attempts.order_by("at", "pk")]


# -- what arrives ------------------------------------------------------------------------------------------


def test_a_published_erratum_is_posted_as_the_published_document_has_it_and_signed(
    client: Client, webhook: Webhook, program: Receiver, publish: Callable[..., Erratum]
) -> None:
    erratum = publish()

    (posted,) = program.posted
    message = json.loads(posted.body)
    document = client.get(reverse("errata:document", args=[erratum.pattern.code])).json()
    assert message == {
        "id": posted.headers["webhook-id"],
        "type": "erratum.published",
        "timestamp": erratum.published_at.isoformat(),
        "data": {"pattern": document["pattern"], "erratum": document["errata"][0]},
    }
    assert message["data"]["erratum"]["text"] == "Cast on 114 stitches."
    at = int(posted.headers["webhook-timestamp"])
    assert abs(at - timezone.now().timestamp()) < 60
    assert posted.headers["webhook-signature"] == signing.signature(
        webhook.secret, message["id"], at, posted.body
    )
    delivery = webhook.deliveries.get()
    assert (delivery.state, tried(delivery)) == ("delivered", [(204, "")])


def test_each_address_gets_one_message_of_an_erratum_however_often_the_work_runs(
    webhook: Webhook, program: Receiver, publish: Callable[..., Erratum], designer: User
) -> None:
    webhook_add(
        pattern=webhook.pattern, url=f"http://hook.example:{program.port}/2", key=uuid.uuid4(), by=designer
    )
    erratum = publish()

    for _ in range(2):
        webhooks._tell({"erratum": erratum.pk})
        for work in Work.objects.filter(kind="deliver-webhook"):
            webhooks._deliver(work.subject)

    assert sorted(posted.path for posted in program.posted) == ["/2", "/errata"]
    assert len({posted.headers["webhook-id"] for posted in program.posted}) == 2


def test_a_pattern_without_addresses_makes_no_work(
    edition: Edition, publish: Callable[..., Erratum], program: Receiver
) -> None:
    publish()

    assert not Work.objects.filter(kind="tell-webhooks").exists()


def test_an_address_that_was_added_afterwards_is_not_posted_what_came_before(
    publish: Callable[..., Erratum], edition: Edition, designer: User, program: Receiver
) -> None:
    erratum = publish()
    webhook_add(
        pattern=edition.pattern, url=f"http://hook.example:{program.port}/", key=uuid.uuid4(), by=designer
    )

    webhooks._tell({"erratum": erratum.pk})

    assert (program.posted, Delivery.objects.count()) == ([], 0)


def test_publishing_holds_though_every_address_is_away(
    webhook: Webhook, publish: Callable[..., Erratum]
) -> None:
    posting.ways = Ways(resolve=lambda host, port: ["10.0.0.1"])

    erratum = publish()

    assert erratum.number == 1
    delivery = webhook.deliveries.get()
    assert (delivery.state, tried(delivery)) == ("waiting", [(None, "not public")])


# -- what does not arrive ----------------------------------------------------------------------------------


def test_a_message_is_tried_again_under_its_id_with_a_new_time_until_it_is_taken(
    webhook: Webhook,
    program: Receiver,
    publish: Callable[..., Erratum],
    clock: Callable[[Delivery], dt.datetime],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    program.status = 500
    publish()
    delivery = webhook.deliveries.get()
    webhook.refresh_from_db()
    assert webhook.failing_since is not None

    assert not delivery_run(delivery_id=delivery.pk, now=clock(delivery) - dt.timedelta(seconds=1))
    later = clock(delivery)
    program.status = 200
    real = timezone.now
    monkeypatch.setattr(timezone, "now", lambda: real() + dt.timedelta(minutes=1))
    assert delivery_run(delivery_id=delivery.pk, now=later)

    first, second = program.posted
    assert first.headers["webhook-id"] == second.headers["webhook-id"]
    assert first.body == second.body
    assert 59 <= int(second.headers["webhook-timestamp"]) - int(first.headers["webhook-timestamp"]) <= 90
    delivery.refresh_from_db()
    webhook.refresh_from_db()
    assert (delivery.state, webhook.failing_since) == ("delivered", None)
    assert tried(delivery) == [(500, ""), (200, "")]


def test_after_three_days_it_is_given_up_the_address_paused_and_the_owner_told(
    webhook: Webhook,
    program: Receiver,
    publish: Callable[..., Erratum],
    clock: Callable[[Delivery], dt.datetime],
    designer: User,
) -> None:
    program.status = 503
    publish()
    publish()
    delivery, other = webhook.deliveries.order_by("pk")
    began, waits = timezone.now(), []

    now = began
    while clock(delivery) > now:
        waits.append(delivery.not_before - now)
        now = delivery.not_before
        delivery_run(delivery_id=delivery.pk, now=now)

    assert [round(wait / dt.timedelta(minutes=1)) for wait in waits] == [
        round(wait / dt.timedelta(minutes=1)) for wait in WAITS
    ]
    assert dt.timedelta(days=2.9) < now - began < dt.timedelta(days=3.1)
    delivery.refresh_from_db()
    other.refresh_from_db()
    webhook.refresh_from_db()
    assert (delivery.state, len(tried(delivery))) == ("given up", 10)
    assert (webhook.paused, other.state) == ("failing", "held")
    (told,) = mail.outbox
    assert (told.to, told.subject) == ([designer.email], "Not delivered: errata of Little top")
    assert webhook.url in told.body
    assert "it answered 503" in told.body
    assert webhook.get_absolute_url() in told.body


def test_a_message_given_up_at_an_address_that_took_others_does_not_pause_it(
    webhook: Webhook,
    program: Receiver,
    publish: Callable[..., Erratum],
    clock: Callable[[Delivery], dt.datetime],
) -> None:
    program.status = 500
    publish()
    delivery = webhook.deliveries.get()
    now = timezone.now()
    for _ in range(8):
        now = clock(delivery)
        delivery_run(delivery_id=delivery.pk, now=now)
    Webhook.objects.update(failing_since=None)  # another one arrived

    delivery_run(delivery_id=delivery.pk, now=clock(delivery))

    delivery.refresh_from_db()
    webhook.refresh_from_db()
    assert (delivery.state, webhook.paused, len(mail.outbox)) == ("given up", "", 1)


def test_an_address_that_is_gone_for_good_is_paused_at_once(
    webhook: Webhook, program: Receiver, publish: Callable[..., Erratum]
) -> None:
    program.status = 410

    publish()

    webhook.refresh_from_db()
    assert (webhook.paused, webhook.deliveries.get().state, len(mail.outbox)) == ("gone", "given up", 1)


@pytest.mark.parametrize(("asked", "minutes"), [("600", 10), ("5", 1), ("900000", 24 * 60), ("soon", 1)])
def test_a_receiver_that_asks_to_be_left_alone_is_within_a_day(
    webhook: Webhook,
    program: Receiver,
    publish: Callable[..., Erratum],
    clock: Callable[[Delivery], dt.datetime],
    asked: str,
    minutes: int,
) -> None:
    program.status, program.headers = 429, {"Retry-After": asked}

    publish()

    delivery = webhook.deliveries.get()
    wait = clock(delivery) - delivery.attempts.get().at
    assert round(wait / dt.timedelta(minutes=1)) == minutes


def test_the_sweep_sets_to_work_what_is_due_and_what_was_lost(
    webhook: Webhook, program: Receiver, publish: Callable[..., Erratum], clock: Callable[..., dt.datetime]
) -> None:
    program.status = 500
    publish()
    delivery = webhook.deliveries.get()
    program.status = 200

    assert deliveries_sweep() == 0
    Delivery.objects.update(not_before=timezone.now(), claimed_until=timezone.now() + dt.timedelta(minutes=1))
    assert deliveries_sweep() == 0  # somebody is at it
    Delivery.objects.update(claimed_until=timezone.now() - dt.timedelta(seconds=1))
    assert deliveries_sweep() == 1

    delivery.refresh_from_db()
    assert (delivery.state, len(program.posted)) == ("delivered", 2)


def test_two_who_work_at_once_post_once(
    webhook: Webhook, program: Receiver, publish: Callable[..., Erratum], monkeypatch: pytest.MonkeyPatch
) -> None:
    real = posting.post

    def post_while_another_tries(*args: Any) -> Any:
        assert not delivery_run(delivery_id=webhook.deliveries.get().pk)
        return real(*args)

    monkeypatch.setattr(posting, "post", post_while_another_tries)

    publish()

    assert len(program.posted) == 1


def test_what_is_long_done_with_is_forgotten_and_so_is_a_former_secret(
    webhook: Webhook, program: Receiver, publish: Callable[..., Erratum], designer: User
) -> None:
    publish()
    webhook_secret_renew(webhook=webhook, by=designer)
    now = timezone.now()

    assert deliveries_forget(now=now + dt.timedelta(days=89)) == 0
    assert deliveries_forget(now=now + dt.timedelta(days=91)) == 1

    webhook.refresh_from_db()
    assert (webhook.former_secret, webhook.former_until, Attempt.objects.count()) == ("", None, 0)


# -- secrets, pauses, trials -------------------------------------------------------------------------------


def test_a_new_secret_signs_beside_the_former_one_for_a_day(
    webhook: Webhook, program: Receiver, designer: User
) -> None:
    former = webhook.secret
    new = webhook_secret_renew(webhook=webhook, by=designer).secret

    webhook_test(webhook=webhook, by=designer)
    Webhook.objects.update(former_until=timezone.now() - dt.timedelta(seconds=1))
    webhook_test(webhook=webhook, by=designer)

    def signed_by(index: int) -> list[str]:
        posted = program.posted[index]
        named, at = posted.headers["webhook-id"], int(posted.headers["webhook-timestamp"])
        by = {signing.signature(secret, named, at, posted.body): secret for secret in (new, former)}
        return [by[one] for one in posted.headers["webhook-signature"].split()]

    assert new != former
    assert (signed_by(0), signed_by(1)) == ([new, former], [new])


def test_while_paused_what_is_published_is_held_back_and_goes_out_afterwards(
    webhook: Webhook, program: Receiver, publish: Callable[..., Erratum], designer: User
) -> None:
    webhook_pause(webhook=webhook, by=designer)
    publish()
    assert (webhook.deliveries.get().state, program.posted, deliveries_sweep()) == ("held", [], 0)

    assert webhook_resume(webhook=webhook, by=designer) == 1

    assert (webhook.deliveries.get().state, len(program.posted)) == ("delivered", 1)


def test_a_trial_says_that_it_is_one_is_tried_once_and_works_while_paused(
    webhook: Webhook, program: Receiver, designer: User
) -> None:
    webhook_pause(webhook=webhook, by=designer)
    program.status = 500

    delivery = webhook_test(webhook=webhook, by=designer)

    (posted,) = program.posted
    message = json.loads(posted.body)
    assert message["type"] == "webhook.test"
    assert message["data"] == {
        "pattern": {
            "title": "Little top",
            "address": f"http://127.0.0.1:8000/errata/{webhook.pattern.code}/",
        }
    }
    delivery.refresh_from_db()
    webhook.refresh_from_db()
    assert (delivery.state, webhook.failing_since, mail.outbox) == ("given up", None, [])


# -- the pages ---------------------------------------------------------------------------------------------


@pytest.fixture
def desk(designer: User, signed_in: Callable[[User], Client]) -> Client:
    return signed_in(designer)


def page_of(pattern: Pattern) -> str:
    return reverse("following:pattern", args=[pattern.code])


def test_the_owner_adds_an_address_and_sees_its_secret_this_once(
    desk: Client, edition: Edition, program: Receiver
) -> None:
    key = str(uuid.uuid4())
    sent = {"url": f"http://Hook.example:{program.port}", "key": key}

    answer = desk.post(page_of(edition.pattern), sent)

    webhook = Webhook.objects.get()
    assert webhook.url == f"http://hook.example:{program.port}/"
    assert answer.status_code == 200
    assert webhook.secret in answer.text
    assert "no-store" in answer["Cache-Control"]
    again = desk.post(page_of(edition.pattern), sent)
    assert (again.status_code, again["Location"]) == (302, webhook.get_absolute_url())
    pages = [desk.get(page_of(edition.pattern)).text, desk.get(webhook.get_absolute_url()).text]
    assert [webhook.secret in page for page in pages] == [False, False]
    assert Webhook.objects.count() == 1


@pytest.mark.parametrize(
    ("url", "said"),
    [
        ("", "Write the address that errata are to be posted to."),
        (
            "https://localhost/in",
            "localhost is a name inside one network; write one that everybody can reach.",
        ),
        ("https://a:b@hook.example/", "There is a user or a password in it; leave that out."),
    ],
)
def test_what_cannot_be_posted_to_is_said_beside_the_field_and_kept(
    desk: Client, edition: Edition, url: str, said: str
) -> None:
    answer = desk.post(page_of(edition.pattern), {"url": url})

    assert (answer.status_code, Webhook.objects.count()) == (422, 0)
    assert said in answer.text
    assert f'value="{url}"' in answer.text or not url


def test_an_address_is_added_once_and_ten_are_as_many_as_a_pattern_has(
    desk: Client, webhook: Webhook
) -> None:
    twice = desk.post(page_of(webhook.pattern), {"url": webhook.url})
    for number in range(9):
        desk.post(page_of(webhook.pattern), {"url": f"https://hook{number}.example/"})
    eleventh = desk.post(page_of(webhook.pattern), {"url": "https://one-more.example/"})

    assert "Errata are posted to this address already." in twice.text
    assert "A pattern posts to 10 addresses at most; remove one first." in eleventh.text
    assert Webhook.objects.count() == 10


def test_the_page_of_an_address_lists_what_was_posted_and_sends_it_again(
    desk: Client, webhook: Webhook, program: Receiver, publish: Callable[..., Erratum]
) -> None:
    program.status, program.body = 410, b"<b>closed</b>"
    publish()
    page = desk.get(webhook.get_absolute_url()).text
    assert "Erratum 1: given up" in page
    assert "&lt;b&gt;closed&lt;/b&gt;" in page
    assert "Paused, because the address answered that it is gone for good (410)." in page
    again = reverse(
        "following:delivery_again",
        args=[webhook.pattern.code, webhook.key, webhook.deliveries.get().pk],
    )
    refused = desk.post(again, follow=True)
    assert "The address is paused; take it up again first." in refused.text

    program.status = 200
    desk.post(reverse("following:webhook_resume", args=[webhook.pattern.code, webhook.key]))
    done = desk.post(again, follow=True)

    assert "On its way again, under the same id." in done.text
    assert "Erratum 1: delivered" in done.text
    assert len({posted.headers["webhook-id"] for posted in program.posted}) == 1
    assert len(program.posted) == 2


def test_a_message_that_waits_for_its_next_turn_can_be_sent_at_once(
    webhook: Webhook, program: Receiver, publish: Callable[..., Erratum], designer: User
) -> None:
    program.status = 500
    publish()
    program.status = 200
    delivery = webhook.deliveries.get()

    assert delivery_send_again(delivery=delivery, by=designer)

    delivery.refresh_from_db()
    assert (delivery.state, tried(delivery)) == ("delivered", [(500, ""), (200, "")])


def test_the_buttons_of_an_address_do_what_they_say(
    desk: Client, webhook: Webhook, program: Receiver
) -> None:
    def press(name: str) -> Any:
        path = reverse(f"following:webhook_{name}", args=[webhook.pattern.code, webhook.key])
        return desk.post(path, follow=True)

    assert "A trial message is on its way." in press("test").text
    assert "Trial message: delivered" in desk.get(webhook.get_absolute_url()).text
    assert "Paused by you." in press("pause").text
    assert "Taken up again." in press("resume").text
    shown = press("secret").text
    webhook.refresh_from_db()
    assert webhook.secret in shown
    assert "The one before is valid until" in shown
    assert f"Nothing is posted to {webhook.url} any more." in press("remove").text
    assert (Webhook.objects.count(), Delivery.objects.count()) == (0, 0)


def test_thirty_posts_an_hour_are_set_off_by_hand_and_no_more(
    desk: Client, webhook: Webhook, program: Receiver
) -> None:
    path = reverse("following:webhook_test", args=[webhook.pattern.code, webhook.key])

    answers = [desk.post(path, follow=True).text for _ in range(31)]

    assert len(program.posted) == 30
    assert "Nothing was sent: 30 posts within an hour" in answers[-1]


def test_an_editor_sees_how_many_follow_and_nothing_of_where_errata_are_posted(
    webhook: Webhook, tester: User, signed_in: Callable[[User], Client]
) -> None:
    webhook.pattern.memberships.create(
        role="editor",
        email=tester.email,
        user=tester,
        secret_hash="x",
        expires=timezone.now(),
        joined_at=timezone.now(),
    )

    page = signed_in(tester).get(page_of(webhook.pattern))

    assert (page.status_code, "hook.example" in page.text) == (200, False)
    assert page.client.post(page_of(webhook.pattern), {"url": "https://a.example/"}).status_code == 403
    assert page.client.get(webhook.get_absolute_url()).status_code == 404


@pytest.mark.parametrize("count", [1, 12])
def test_the_pages_cost_the_same_for_few_messages_or_many(
    desk: Client,
    webhook: Webhook,
    program: Receiver,
    publish: Callable[..., Erratum],
    designer: User,
    django_assert_num_queries: Any,
    count: int,
) -> None:
    for number in range(count):
        publish()
        if number < 9:
            webhook_add(
                pattern=webhook.pattern, url=f"https://h{number}.example/", key=uuid.uuid4(), by=designer
            )
            Delivery.objects.exclude(webhook=webhook).delete()

    with django_assert_num_queries(6):  # session, person, webhook with pattern, count, messages, attempts
        page = desk.get(webhook.get_absolute_url()).text
    with django_assert_num_queries(5):  # session, person, pattern, followers, webhooks
        desk.get(page_of(webhook.pattern))

    assert len(re.findall(r"Erratum \d+: delivered", page)) == count
