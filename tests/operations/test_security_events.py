"""Security events: a line to each, with the number of the account where one is known, and nothing of a person in it."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from allauth.account.models import EmailAddress
from django.core import mail
from django.core.cache import cache
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from testround.api.services import token_make
from testround.logs import configuration
from testround.patterns.spreadsheets import FileRefused, grid_of
from testround.people.held import person_erase
from testround.people.models import User
from testround.people.recovery import codes_make
from testround.people.services import factors_remove
from testround.people.sessions import BEGAN
from testround.reports.photos import PhotoRefused, photo_check
from testround.rounds.models import Place, Round
from testround.security import Event, done, refused
from tests.operations.test_logs import REQUEST, Written, written
from tests.people.apps import App, app
from tests.people.test_factors import (
    ADD_APP,
    ASKED,
    INDEX,
    KEY,
    PASSWORD,
    known,
    passkey_of,
    sign_in,
    with_app,
)
from tests.people.test_sessions import browser
from tests.reports.pictures import bomb_header

__all__ = ["app", "written"]

pytestmark = pytest.mark.django_db

NEW_PASSWORD = "nine-hollow-oaks"
RUNNING = Path(__file__).parents[2] / "docs" / "running.md"
# What every line of the log has.
ALWAYS = {"time", "level", "logger", "message", "request_id"}
Events = Callable[[], list[dict[str, Any]]]


@pytest.fixture
def someone(tester: User) -> User:
    cache.clear()
    EmailAddress.objects.create(user=tester, email=tester.email, primary=True, verified=True)
    return tester


@pytest.fixture
def events(written: Written, django_capture_on_commit_callbacks: Callable[..., Any]) -> Iterator[Events]:
    """The events since they were asked for last, without what every line has. Asking commits what was done."""
    seen = 0
    commit = django_capture_on_commit_callbacks(execute=True)
    commit.__enter__()

    def told() -> list[dict[str, Any]]:
        nonlocal commit, seen
        commit.__exit__(None, None, None)
        commit = django_capture_on_commit_callbacks(execute=True)
        commit.__enter__()
        lines = written.lines(logger="testround.security")
        new, seen = lines[seen:], len(lines)
        return [
            {name: value for name, value in line.items() if name not in ALWAYS and value is not None}
            for line in new
        ]

    yield told
    commit.__exit__(None, None, None)


# -- the line ----------------------------------------------------------------------------------------------


def test_a_line_names_the_event_the_account_and_the_request(written: Written, someone: User) -> None:
    Client().post(
        "/account/login/",
        {"login": someone.email, "password": "not-that-one"},
        headers={"X-Request-ID": REQUEST},
    )

    (line,) = written.lines(logger="testround.security")
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT[\d:.]+\+00:00", line.pop("time"))
    assert line == {
        "level": "WARNING",
        "logger": "testround.security",
        "message": f"sign_in_failed account={someone.pk} method=password",
        "request_id": REQUEST,
        "event": "sign_in_failed",
        "account": someone.pk,
        "method": "password",
    }


def test_it_is_written_however_little_else_is() -> None:
    settled = configuration(level="ERROR", form="json")

    assert settled["loggers"]["testround.security"] == {"level": "INFO"}
    assert "level" not in settled["handlers"]["console"]


@pytest.mark.django_db(transaction=True)
def test_what_was_rolled_back_is_not_told_as_done_and_what_was_refused_is(written: Written) -> None:
    def both() -> None:
        done(Event.TOKEN_MADE, account=7)
        refused(Event.TOKEN_REFUSED, account=7)

    with transaction.atomic():
        both()
        transaction.set_rollback(True)
    before = [line["event"] for line in written.lines(logger="testround.security")]
    both()

    assert before == ["token_refused"]
    assert [line["event"] for line in written.lines(logger="testround.security")] == [
        "token_refused",
        "token_made",
        "token_refused",
    ]


def test_every_event_is_described_for_who_runs_a_server() -> None:
    described = re.findall(r"^\| `(\w+)` \|", RUNNING.read_text(encoding="utf-8"), re.M)

    assert described == [str(event) for event in Event]


# -- signing in and out ------------------------------------------------------------------------------------


def test_signing_in_with_password_and_code_is_told_step_by_step(
    events: Events, client: Client, someone: User, app: App
) -> None:
    with_app(someone)

    sign_in(client, someone)
    client.post(ASKED, {"code": app.wrong(KEY)})
    client.post(ASKED, {"code": app.code(KEY)})
    client.post("/account/logout/")

    account = someone.pk
    assert events() == [
        {"event": "second_factor_failed", "account": account, "method": "factor"},
        {"event": "first_factor_passed", "account": account, "method": "password"},
        {"event": "second_factor_passed", "account": account, "method": "totp"},
        {"event": "signed_in", "account": account},
        {"event": "signed_out", "account": account, "reason": "asked"},
    ]


def test_a_wrong_password_is_told_by_the_account_and_of_an_unknown_address_nothing_is(
    events: Events, written: Written, someone: User
) -> None:
    for address in (someone.email, "nobody-at-all@example.org"):
        Client().post("/account/login/", {"login": address, "password": "not-that-one"})

    assert events() == [
        {"event": "sign_in_failed", "account": someone.pk, "method": "password"},
        {"event": "sign_in_failed", "method": "password"},
    ]
    assert [said for said in ("nobody-at-all", "not-that-one", "example.org") if said in written.text] == []


def test_a_code_by_mail_that_does_not_fit_and_a_closed_account_are_failed_sign_ins(
    events: Events, client: Client, someone: User
) -> None:
    client.post("/account/login/code/", {"email": someone.email})
    client.post("/account/login/code/confirm/", {"code": "WRONG1"})
    User.objects.filter(pk=someone.pk).update(is_active=False)
    sign_in(Client(), someone)

    told = [event for event in events() if event["event"] == "sign_in_failed"]
    assert told == [
        {"event": "sign_in_failed", "account": someone.pk, "method": "code"},
        {"event": "sign_in_failed", "account": someone.pk, "reason": "account_closed"},
    ]


def test_a_recovery_code_and_a_passkey_are_told_as_what_they_are(
    events: Events, client: Client, someone: User, app: App
) -> None:
    with_app(someone)
    code = codes_make(user=someone)[0]
    sign_in(client, someone)
    events()

    client.post(ASKED, {"code": "2222-2222-2222"})
    client.post(ASKED, {"code": code})
    stranger = Client()
    stranger.get(f"{INDEX}passkeys/sign-in/", headers={"Accept": "application/json"})
    stranger.post(f"{INDEX}passkeys/sign-in/", {"credential": '{"response": {"userHandle": "MQ"}}'})

    assert events() == [
        {"event": "second_factor_failed", "account": someone.pk, "method": "factor"},
        {"event": "sign_in_failed", "method": "passkey"},
        {"event": "second_factor_passed", "account": someone.pk, "method": "recovery_codes"},
        {"event": "signed_in", "account": someone.pk},
    ]


def test_saying_once_more_who_one_is_is_told_and_so_is_failing_at_it(
    events: Events, client: Client, someone: User
) -> None:
    client.force_login(someone)
    events()

    client.post("/account/reauthenticate/", {"password": "not-that-one"})
    client.post(reverse("people:erase"), {"password": "not-that-one", "sure": "on"})
    client.post("/account/reauthenticate/", {"password": PASSWORD})

    failed = {"event": "reauthentication_failed", "account": someone.pk, "method": "password"}
    assert events() == [
        failed,
        failed,
        {"event": "reauthenticated", "account": someone.pk, "method": "password"},
    ]


def test_a_session_that_has_lasted_as_long_as_one_may_is_told_to_have_ended_so(
    events: Events, client: Client, someone: User
) -> None:
    client.force_login(someone)
    session = client.session
    session[BEGAN] = 0
    session.save()
    events()

    client.get("/me/held/")

    assert events() == [{"event": "signed_out", "account": someone.pk, "reason": "lasted"}]


# -- what an account is opened with ------------------------------------------------------------------------


def test_what_opens_an_account_is_not_changed_without_a_line(
    events: Events, client: Client, someone: User, app: App
) -> None:
    known(client, someone).get(ADD_APP)
    passkey = passkey_of(someone)
    account = someone.pk
    events()

    client.post(ADD_APP, {"code": app.code(client.session["mfa.totp.secret"])})
    client.post(f"{INDEX}recovery-codes/")
    client.post(f"{INDEX}passkeys/{passkey.pk}/remove/")
    client.post("/account/email/", {"action_add": "", "email": "new@example.org"})
    client.post(
        "/account/password/change/",
        {"oldpassword": PASSWORD, "password1": NEW_PASSWORD, "password2": NEW_PASSWORD},
    )

    assert [event for event in events() if event["event"] != "sessions_ended"] == [
        {"event": "recovery_codes_made", "account": account},
        {"event": "factor_removed", "account": account, "kind": "webauthn"},
        {"event": "address_changed", "account": account, "change": "added"},
        {"event": "password_changed", "account": account},
        {"event": "factor_added", "account": account, "kind": "totp"},
    ]


def test_a_password_that_was_forgotten_and_chosen_anew_ends_all_sessions_and_both_are_told(
    events: Events, someone: User
) -> None:
    browser(someone)
    client = Client()
    client.post("/account/password/reset/", {"email": someone.email})
    events()
    link = re.search(r"/account/password/reset/key/\S+", mail.outbox[-1].body)
    assert link is not None

    form = client.get(link[0]).headers["Location"]
    client.post(form, {"password1": NEW_PASSWORD, "password2": NEW_PASSWORD})

    assert events()[:2] == [
        {"event": "sessions_ended", "account": someone.pk, "sessions": 1},
        {"event": "password_changed", "account": someone.pk, "reason": "forgotten"},
    ]


def test_an_account_is_told_to_be_made_and_to_be_erased(events: Events, client: Client) -> None:
    cache.clear()

    client.post(
        "/account/signup/", {"name": "Willow", "email": "willow@example.org", "password1": NEW_PASSWORD}
    )
    newcomer = User.objects.get(email="willow@example.org")
    account = newcomer.pk
    made = events()
    person_erase(user=newcomer)

    assert {"event": "account_made", "account": account} in made
    assert events()[-1] == {"event": "account_erased", "account": account}


def test_tokens_are_told_by_their_number_as_they_are_made_revoked_and_refused(
    events: Events, client: Client, designer: User
) -> None:
    token, secret = token_make(
        user=designer,
        name="Shop of Willow",
        scopes=["patterns:read"],
        expires=timezone.now() + dt.timedelta(days=3),
    )
    client.force_login(designer)
    of_it = {"account": designer.pk, "token": token.pk}
    assert {"event": "token_made", **of_it} in events()

    client.post(reverse("tokens:revoke", args=[token.pk]))
    client.post(reverse("tokens:revoke", args=[token.pk]))
    for shown in (secret, f"{secret}x"):
        Client().get("/api/v1/patterns", headers={"Authorization": f"Bearer {shown}"})

    assert events() == [
        {"event": "token_refused", "reason": "revoked", **of_it},
        {"event": "token_refused", "reason": "unknown"},
        {"event": "token_revoked", **of_it},
    ]


def test_what_support_does_to_an_account_is_told_with_who_did_it(events: Events, someone: User) -> None:
    keeper = User.objects.create_superuser("keeper@example.org", PASSWORD)
    browser(someone)
    with_app(someone)
    desk = Client()
    desk.force_login(keeper)
    events()

    desk.post(reverse("admin:people_user_end_sessions", args=[someone.pk]))
    desk.post(
        reverse("admin:people_user_change", args=[someone.pk]),
        {"email": someone.email, "name": "Other", "units": "cm", "tools": "metric", "terms": "us"}
        | {"language": "", "time_zone": "UTC"},
    )
    factors_remove(user=someone)

    ended, changed, removed = events()
    assert ended == {"event": "sessions_ended", "account": someone.pk, "sessions": 1, "by": keeper.pk}
    assert (changed["account"], changed["by"]) == (someone.pk, keeper.pk)
    assert {"name", "is_active"} <= set(changed["fields"].split(","))
    assert removed == {"event": "factor_removed", "account": someone.pk, "kind": "all", "reason": "lost"}


# -- refusals ----------------------------------------------------------------------------------------------


def test_what_somebody_may_not_do_or_see_is_told_with_who_and_where(
    events: Events, stranger: User, designer: User, a_round: Round, place: Place
) -> None:
    client = Client()
    client.force_login(stranger)
    events()

    client.get(reverse("admin:people_user_changelist"))
    client.get(reverse("reports:place", args=[place.pk]))
    Client().get("/rounds/join/no-such-secret-at-all/")
    client.get("/no/such/page/")
    client.get("/me/held/")

    assert events() == [
        {"event": "access_refused", "account": stranger.pk, "route": "reports:place", "status": 404},
        {"event": "access_refused", "route": "rounds:join", "status": 404},
    ]


def test_what_a_token_does_not_open_is_told_with_whose_it_is(events: Events, designer: User) -> None:
    _token, secret = token_make(
        user=designer, name="Shop", scopes=["rounds:read"], expires=timezone.now() + dt.timedelta(days=3)
    )
    events()

    answer = Client().get("/api/v1/patterns", headers={"Authorization": f"Bearer {secret}"})

    (told,) = events()
    route = told.pop("route")
    assert answer.status_code == 403
    assert told == {"event": "access_refused", "account": designer.pk, "status": 403}
    assert "patterns" in route


def test_who_tries_too_often_is_told_at_the_form_and_by_the_answer(
    events: Events, client: Client, someone: User, settings: Any
) -> None:
    settings.API_REQUESTS_PER_NETWORK = 1
    for _ in range(6):
        client.post("/account/login/", {"login": someone.email, "password": "not-that-one"})
    for _ in range(2):
        client.get("/api/v1/patterns")

    told = [event for event in events() if event["event"] != "sign_in_failed"]
    assert told[0] == {"event": "throttled"}
    assert (told[1]["event"], told[1]["status"], len(told)) == ("throttled", 429, 2)


def test_forged_forms_and_hosts_are_told_as_such_once(events: Events, someone: User) -> None:
    forged = Client(enforce_csrf_checks=True)
    forged.force_login(someone)
    events()

    answers = [
        forged.post("/me/preferences/", {"name": "Other"}),
        Client().get("/", headers={"Host": "evil.example"}),
    ]

    assert [answer.status_code for answer in answers] == [403, 400]
    assert events() == [
        {"event": "forged_request", "account": someone.pk, "route": "people:preferences"},
        {"event": "suspicious_request", "kind": "DisallowedHost"},
    ]


def test_bombs_and_what_is_no_picture_and_no_table_are_told(events: Events) -> None:
    workbook = io.BytesIO()
    with zipfile.ZipFile(workbook, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/media/picture.png", b"\0" * 60_000_000)

    for data in (bomb_header(), b"<svg>willow@example.org</svg>"):
        with pytest.raises(PhotoRefused):
            photo_check(data)
    for data in (workbook.getvalue(), b"PK not an archive"):
        with pytest.raises(FileRefused):
            grid_of(data, name="Willow.xlsx")

    assert events() == [
        {"event": "upload_refused", "kind": "photo", "reason": "too_many_pixels"},
        {"event": "upload_refused", "kind": "photo", "reason": "no_picture"},
        {"event": "upload_refused", "kind": "table", "reason": "unpacks_to_more"},
        {"event": "upload_refused", "kind": "table", "reason": "damaged"},
    ]


def test_a_refused_picture_is_told_with_who_sent_it(events: Events, someone: User, place: Place) -> None:
    client = Client()
    client.force_login(someone)
    events()

    upload = io.BytesIO(bomb_header())
    upload.name = "willow.png"
    client.post(
        reverse("reports:photo_new", args=[place.pk]),
        {"key": "6b8a5b4e-6d0f-4a55-8a2c-6f1f3c1f9f10", "photo": upload, "caption": "", "seen": "on"},
    )

    assert events() == [
        {"event": "upload_refused", "account": someone.pk, "kind": "photo", "reason": "too_many_pixels"}
    ]


# -- what it costs and what it tells -----------------------------------------------------------------------


def test_no_request_asks_the_database_for_more_because_of_it(
    events: Events, stranger: User, place: Place, django_assert_num_queries: Any
) -> None:
    client = Client()
    client.force_login(stranger)
    client.get("/")

    with django_assert_num_queries(0):
        Client().get("/", headers={"Host": "evil.example"})
    # Session, person, and the place that is not theirs.
    with django_assert_num_queries(3):
        client.get(reverse("reports:place", args=[place.pk]))
