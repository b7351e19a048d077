"""The operator's page: how the server stands, for those of the staff with the right to operate it."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.models import Permission
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from testround.following.models import Webhook
from testround.following.signing import new_secret
from testround.operations.models import Act, Backup
from testround.outbox.models import Mail, Work
from testround.outbox.services import _handlers
from testround.patterns.models import Edition
from testround.people.models import User

pytestmark = pytest.mark.django_db


@pytest.fixture
def operator(stranger: User) -> User:
    """Somebody of the staff who may operate the server, and nothing else."""
    stranger.is_staff = True
    stranger.save()
    stranger.user_permissions.add(Permission.objects.get(codename="operate"))
    return stranger


@pytest.fixture
def at_the_desk(operator: User) -> Client:
    client = Client()
    client.force_login(operator)
    return client


def trouble(edition: Edition, n: int) -> None:
    for number in range(n):
        Work.objects.create(
            kind=f"photo{number}", state="failed", problem="OSError: no room", request_id="abc12345"
        )
        Mail.objects.create(
            to="w@example.org", subject=f"A code {number}", state="failed", problem="550 no such user"
        )
        Webhook.objects.create(
            pattern=edition.pattern,
            url=f"https://hook{number}.example/secret-path",
            secret=new_secret(),
            failing_since=timezone.now(),
        )
        Backup.objects.create(
            started=timezone.now(), file=f"/srv/b{number}.tar", size=5_000_000, rows=1234, files=7
        )


@pytest.mark.parametrize("n", [1, 4])
def test_it_costs_the_same_for_one_trouble_or_four(
    at_the_desk: Client, edition: Edition, n: int, settings: Any
) -> None:
    at_the_desk.get("/operator/")
    trouble(edition, n)

    with CaptureQueriesContext(connection) as asked:
        page = at_the_desk.get("/operator/")

    assert page.status_code == 200
    # Session and person, rights (2), last and failed backup, queues of work and mail, failed work, troubled mails,
    # webhooks, waiting photos and pictures, size, photos, readiness (2), the act itself.
    assert len(asked) == 18


def test_it_says_what_failed_and_whom_it_concerns_no_more_than_needed(
    at_the_desk: Client, edition: Edition
) -> None:
    trouble(edition, 1)

    page = at_the_desk.get("/operator/").text

    for said in (
        "photo0",
        "OSError: no room",
        "abc12345",
        "A code 0",
        "550 no such user",
        "hook0.example",
        "/srv/b0.tar",
        "1,234 rows",
    ):
        assert said in page
    assert "w@example.org" not in page
    assert "secret-path" not in page


def test_a_quiet_server_says_so(at_the_desk: Client) -> None:
    page = at_the_desk.get("/operator/").text

    assert "Nothing waits, and nothing failed." in page
    assert "There is none." in page


def first_words(page: str) -> str:
    lede = page.partition('<p class="lede">')[2].partition("</p>")[0]
    return " ".join(re.sub("<[^>]*>", "", lede).split())


def test_its_first_words_say_whether_all_is_well(at_the_desk: Client, edition: Edition) -> None:
    without_backup = first_words(at_the_desk.get("/operator/").text)
    Backup.objects.create(started=timezone.now(), file="/srv/good.tar")
    well = first_words(at_the_desk.get("/operator/").text)
    trouble(edition, 1)
    troubled = first_words(at_the_desk.get("/operator/").text)

    assert without_backup == "Something needs you: Backup"
    assert well == "All is well: every part answers, nothing has failed, and there is a backup."
    assert troubled == (
        "Something needs you: Work that was given up, Mail that failed or may not have arrived, "
        "Webhooks that take nothing"
    )


def test_a_backup_that_failed_after_the_last_is_said_first(at_the_desk: Client) -> None:
    Backup.objects.create(started=timezone.now(), file="/srv/good.tar")
    Backup.objects.create(started=timezone.now(), file="/srv/bad.tar", problem="No space left on device")

    page = at_the_desk.get("/operator/").text

    assert page.index("No space left on device") < page.index("/srv/good.tar")


def test_work_that_was_given_up_is_tried_again_at_a_press(
    at_the_desk: Client,
    operator: User,
    monkeypatch: pytest.MonkeyPatch,
    django_capture_on_commit_callbacks: Callable[..., Any],
) -> None:
    done = []
    monkeypatch.setitem(_handlers, "photo", done.append)
    work = Work.objects.create(
        kind="photo", subject={"photo": 7}, state="failed", attempts=6, problem="OSError"
    )

    with django_capture_on_commit_callbacks(execute=True):
        at_the_desk.post(f"/operator/work/{work.pk}/again/")
    again = at_the_desk.post(f"/operator/work/{work.pk}/again/", follow=True)

    work.refresh_from_db()
    assert (done, work.state, work.problem) == ([{"photo": 7}], "done", "")
    assert "It is no longer one that failed." in again.text
    acts = Act.objects.filter(view="work_again").values_list("person", "method", "object_id")
    assert list(acts) == [(operator.pk, "POST", str(work.pk))] * 2


def test_mail_about_no_round_is_settled_here_and_mail_of_a_round_by_its_designer(at_the_desk: Client) -> None:
    ours, other = (
        Mail.objects.create(to="w@example.org", state="failed", about=about) for about in ("", "abc")
    )

    answers = [at_the_desk.post(f"/operator/mail/{mail.pk}/let-be/").status_code for mail in (ours, other)]

    assert answers == [302, 404]
    assert list(Mail.objects.exclude(finished=None)) == [ours]


@pytest.mark.parametrize("staff", [False, True])
def test_without_the_right_there_is_no_such_page(client: Client, stranger: User, staff: bool) -> None:
    stranger.is_staff = staff
    stranger.save()
    client.force_login(stranger)
    work = Work.objects.create(kind="photo", state="failed")

    answers = [
        client.get("/operator/").status_code,
        client.post(f"/operator/work/{work.pk}/again/").status_code,
    ]

    assert answers == [404, 404]
    assert Work.objects.get().state == "failed"
