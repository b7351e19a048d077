"""Second factors: adding one, being asked for it, coming in without it, and what is kept of it."""

from __future__ import annotations

import datetime as dt
import io
import json
import re
from collections.abc import Callable
from typing import Any

import pytest
from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from django.core import mail
from django.core.cache import cache
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone

from testround.patterns.models import Edition, Membership
from testround.people import recovery
from testround.people.held import held_of
from testround.people.models import RecoveryCode, User
from testround.people.recovery import codes_make
from testround.people.sealed import CannotOpen, seal, unseal
from tests.people.apps import App, app

__all__ = ["app"]

PASSWORD = "a-long-password"
KEY = "JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP"
INDEX = "/account/second-factor/"
ADD_APP, ADD_PASSKEY = f"{INDEX}app/add/", f"{INDEX}passkeys/add/"
ASKED = f"{INDEX}authenticate/"


def address_of(person: User, *, confirmed: bool = True) -> EmailAddress:
    return EmailAddress.objects.create(user=person, email=person.email, primary=True, verified=confirmed)


@pytest.fixture
def someone(tester: User) -> User:
    cache.clear()
    address_of(tester)
    return tester


def with_app(person: User, key: str = KEY) -> Authenticator:
    return Authenticator.objects.create(user=person, type="totp", data={"secret": seal(key)})


def passkey_of(person: User, name: str = "My phone") -> Authenticator:
    """A row as a passkey leaves it, enough for what does not use it."""
    return Authenticator.objects.create(user=person, type="webauthn", data={"name": name, "credential": {}})


def sign_in(client: Client, person: User, **more: str) -> Any:
    return client.post("/account/login/", {"login": person.email, "password": PASSWORD, **more})


def known(client: Client, person: User) -> Client:
    """The client with that person signed in, who has just said once more who they are."""
    client.force_login(person)
    client.post("/account/reauthenticate/", {"password": PASSWORD})
    return client


def alert_of(page: Any) -> str:
    return re.sub(r"<[^>]+>|\s+", " ", page.text.split('role="alert"')[1].split("</ul>")[0])


# -- adding one --------------------------------------------------------------------------------------------


def test_an_app_is_added_with_a_code_and_recovery_codes_are_offered(
    client: Client, someone: User, app: App, django_capture_on_commit_callbacks: Callable[..., Any]
) -> None:
    page = known(client, someone).get(ADD_APP)
    key = client.session["mfa.totp.secret"]
    assert " ".join(re.findall("....", key)) in page.text

    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post(ADD_APP, {"code": app.code(key)})

    assert answer.headers["Location"] == f"{INDEX}recovery-codes/"
    (factor,) = Authenticator.objects.filter(user=someone)
    assert unseal(factor.data["secret"]) == key
    assert [message.subject for message in mail.outbox] == ["An authenticator app was added to your account"]


def test_the_picture_is_drawn_by_this_server_and_says_what_an_app_has_to_know(
    client: Client, someone: User
) -> None:
    page = known(client, someone).get(ADD_APP)

    key = client.session["mfa.totp.secret"]
    assert f'href="otpauth://totp/tester%40example.org?secret={key}&amp;issuer=Testround"' in page.text
    assert re.findall(r'<img src="([^,]+),', page.text) == ["data:image/svg+xml;base64"]


def test_a_wrong_code_adds_no_app_and_says_what_to_do(client: Client, someone: User, app: App) -> None:
    known(client, someone).get(ADD_APP)
    key = client.session["mfa.totp.secret"]
    wrong = app.wrong(key)

    page = client.post(ADD_APP, {"code": wrong})

    assert "This code does not fit, or has just run out. Wait until the app shows the next one" in page.text
    assert client.session["mfa.totp.secret"] == key
    assert not Authenticator.objects.exists()


@pytest.mark.parametrize("path", [ADD_APP, ADD_PASSKEY, f"{INDEX}recovery-codes/", f"{INDEX}app/remove/"])
def test_factors_are_changed_by_nobody_who_has_not_said_once_more_who_they_are(
    client: Client, someone: User, path: str
) -> None:
    if path.startswith((f"{INDEX}app/remove", f"{INDEX}rec")):
        with_app(someone)
    before = list(Authenticator.objects.values()), RecoveryCode.objects.count()
    client.force_login(someone)

    for answer in (client.get(path), client.post(path, {"code": "123456"})):
        assert answer.headers["Location"].startswith("/account/reauthenticate/")
    assert (list(Authenticator.objects.values()), RecoveryCode.objects.count()) == before


@pytest.mark.parametrize(
    ("address", "said"),
    [("recovery-codes/", "Your recovery codes"), ("app/add/", "Add an authenticator app"), ("/", "")],
)
def test_who_is_asked_once_more_is_told_what_comes_next(
    client: Client, someone: User, address: str, said: str
) -> None:
    client.force_login(someone)

    page = client.get("/account/reauthenticate/", {"next": f"{INDEX}{address}"}).text

    assert (f"What comes next: <strong>{said}</strong>" in page, "What comes next:" in page) == (
        bool(said),
        bool(said),
    )


def test_whose_address_is_not_confirmed_locks_nobody_out_of_it(client: Client, tester: User) -> None:
    cache.clear()
    address_of(tester, confirmed=False)

    for path in (ADD_APP, ADD_PASSKEY):
        answer = known(client, tester).get(path, follow=True)
        assert answer.redirect_chain[-1][0] == "/account/email/"
        assert "Confirm your mail address first" in answer.text


def test_who_has_a_factor_can_still_have_another_address(client: Client, someone: User) -> None:
    with_app(someone)

    known(client, someone).post("/account/email/", {"action_add": "", "email": "new@example.org"})

    assert EmailAddress.objects.filter(user=someone, email="new@example.org").exists()


# -- being asked for it ------------------------------------------------------------------------------------


def test_after_the_password_the_code_is_asked_for_and_lets_in(
    client: Client, someone: User, app: App
) -> None:
    with_app(someone)

    answer = sign_in(client, someone, next="/me/held/")
    assert answer.headers["Location"].startswith(ASKED)
    assert "_auth_user_id" not in client.session
    answer = client.post(answer.headers["Location"], {"code": app.code(KEY)})

    assert answer.headers["Location"] == "/me/held/"
    assert client.session["_auth_user_id"] == str(someone.pk)


def test_a_code_by_mail_asks_for_the_second_factor_too(
    client: Client, someone: User, django_capture_on_commit_callbacks: Callable[..., Any]
) -> None:
    with_app(someone)
    with django_capture_on_commit_callbacks(execute=True):
        client.post("/account/login/code/", {"email": someone.email})
    code = re.search(r"^    (\S+)$", mail.outbox[0].body, re.MULTILINE)
    assert code is not None

    answer = client.post("/account/login/code/confirm/", {"code": code[1]})

    assert answer.headers["Location"].startswith(ASKED)
    assert "_auth_user_id" not in client.session


def test_a_wrong_code_is_refused_in_a_sentence_and_lets_nobody_in(
    client: Client, someone: User, app: App
) -> None:
    with_app(someone)
    sign_in(client, someone)
    wrong = app.wrong(KEY)

    page = client.post(ASKED, {"code": wrong})

    assert "This code does not fit, or has just run out." in alert_of(page)
    assert "_auth_user_id" not in client.session


def test_a_code_opens_once(client: Client, someone: User, app: App) -> None:
    with_app(someone)
    code = app.code(KEY)
    sign_in(client, someone)
    client.post(ASKED, {"code": code})
    other = Client()
    sign_in(other, someone)
    # As while Redis is away: what the cache knew is gone.
    cache.clear()

    page = other.post(ASKED, {"code": code})

    assert "This code does not fit" in alert_of(page)
    assert "_auth_user_id" not in other.session


@pytest.mark.parametrize("seconds", [-30, 30])
def test_the_code_before_and_the_code_after_open_nothing(
    client: Client, someone: User, app: App, seconds: int
) -> None:
    with_app(someone)
    sign_in(client, someone)

    client.post(ASKED, {"code": app.code(KEY, later=seconds)})

    assert "_auth_user_id" not in client.session


def test_five_wrong_codes_and_even_the_right_one_has_to_wait(client: Client, someone: User, app: App) -> None:
    with_app(someone)
    sign_in(client, someone)
    wrong = app.wrong(KEY)
    for _ in range(5):
        client.post(ASKED, {"code": wrong})

    page = client.post(ASKED, {"code": app.code(KEY)})

    assert "That was tried too often." in alert_of(page)
    assert "_auth_user_id" not in client.session


def test_nobody_comes_to_the_question_past_the_password(client: Client, someone: User, app: App) -> None:
    with_app(someone)

    answer = client.post(ASKED, {"code": app.code(KEY)})

    assert answer.headers["Location"] == "/account/login/"
    assert "_auth_user_id" not in client.session


def test_the_admins_door_is_the_same(client: Client, someone: User) -> None:
    User.objects.filter(pk=someone.pk).update(is_staff=True, is_superuser=True)
    with_app(someone)

    door = client.get("/admin/", follow=True)
    assert door.redirect_chain[-1][0].startswith("/account/login/")
    client.post("/admin/login/", {"username": someone.email, "password": PASSWORD})

    assert "_auth_user_id" not in client.session


# -- recovery codes ----------------------------------------------------------------------------------------


def test_recovery_codes_are_shown_once_and_kept_as_hashes(client: Client, someone: User) -> None:
    with_app(someone)

    page = known(client, someone).post(f"{INDEX}recovery-codes/")

    codes = re.findall(r"<code>(.+?)</code>", page.text)
    assert len(set(codes)) == 10
    assert all(re.fullmatch(rf"([{recovery.LETTERS}]{{4}}-?){{3}}", code) for code in codes)
    stored = json.dumps(list(RecoveryCode.objects.values()), default=str)
    assert [code for code in codes if code in stored or code.replace("-", "") in stored] == []
    again = client.get(f"{INDEX}recovery-codes/").text
    assert [code for code in codes if code in again] == []
    assert page.headers["Cache-Control"] == "max-age=0, no-cache, no-store, must-revalidate, private"


def test_a_recovery_code_lets_in_once_and_its_owner_hears_of_it(
    client: Client, someone: User, django_capture_on_commit_callbacks: Callable[..., Any]
) -> None:
    with_app(someone)
    code = codes_make(user=someone)[3]
    sign_in(client, someone)

    with django_capture_on_commit_callbacks(execute=True):
        client.post(ASKED, {"code": code.lower().replace("-", "")})

    assert client.session["_auth_user_id"] == str(someone.pk)
    assert [message.subject for message in mail.outbox] == ["A recovery code was used"]
    assert "9 are left" in mail.outbox[0].body
    other = Client()
    sign_in(other, someone)
    page = other.post(ASKED, {"code": code})
    assert "This is none of your recovery codes, or it has been used." in alert_of(page)
    assert "_auth_user_id" not in other.session


def test_new_recovery_codes_end_the_old_ones(client: Client, someone: User) -> None:
    with_app(someone)
    (old, *_), _new = codes_make(user=someone), codes_make(user=someone)
    sign_in(client, someone)

    client.post(ASKED, {"code": old})

    assert "_auth_user_id" not in client.session


def test_a_code_of_somebody_else_opens_nothing(client: Client, someone: User, stranger: User) -> None:
    with_app(someone)
    theirs = codes_make(user=stranger)[0]
    sign_in(client, someone)

    client.post(ASKED, {"code": theirs})

    assert "_auth_user_id" not in client.session


def test_codes_go_with_the_last_factor(
    client: Client, someone: User, django_capture_on_commit_callbacks: Callable[..., Any]
) -> None:
    with_app(someone)
    passkey = passkey_of(someone)
    codes_make(user=someone)
    known(client, someone)

    with django_capture_on_commit_callbacks(execute=True):
        client.post(f"{INDEX}app/remove/")
    assert RecoveryCode.objects.filter(person=someone).count() == 10
    client.post(f"{INDEX}passkeys/{passkey.pk}/remove/")

    assert not RecoveryCode.objects.filter(person=someone).exists()
    assert not Authenticator.objects.filter(user=someone).exists()


def test_nobody_removes_or_renames_a_passkey_of_somebody_else(
    client: Client, someone: User, stranger: User
) -> None:
    theirs = passkey_of(stranger)
    known(client, someone)

    answers = [
        ask(f"{INDEX}passkeys/{theirs.pk}/{what}/").status_code
        for what in ("remove", "name")
        for ask in (client.get, client.post)
    ]

    assert answers == [404] * 4
    assert Authenticator.objects.filter(pk=theirs.pk).exists()


def test_a_passkey_gets_another_name(client: Client, someone: User) -> None:
    passkey = passkey_of(someone, "Old phone")

    known(client, someone).post(f"{INDEX}passkeys/{passkey.pk}/name/", {"name": "New phone"})

    passkey.refresh_from_db()
    assert passkey.data["name"] == "New phone"


@pytest.mark.parametrize(
    "credential",
    [
        "",
        "not json",
        "null",
        "1",
        '"text"',
        "[]",
        "{}",
        '{"response": {"userHandle": "MQ"}}',
        '{"response": 1}',
        '{"id": "AA", "rawId": "AA", "type": "public-key", "response": null}',
        '{"id": "AA", "rawId": "AA", "type": "public-key", "response": {"clientDataJSON": "AA", "authenticatorData": "AA", "signature": "AA", "userHandle": "_w"}}',
        '{"id": 1, "rawId": [], "type": {}, "response": {"clientDataJSON": {}, "authenticatorData": 2, "signature": "", "userHandle": 3}}',
    ],
)
def test_what_is_no_passkey_signs_nobody_in_and_breaks_nothing(
    client: Client, someone: User, credential: str
) -> None:
    client.get(f"{INDEX}passkeys/sign-in/", headers={"Accept": "application/json"})

    answer = client.post(f"{INDEX}passkeys/sign-in/", {"credential": credential})

    assert answer.headers["Location"] == "/account/login/"
    assert "_auth_user_id" not in client.session


# -- who needs one -----------------------------------------------------------------------------------------


def test_designers_without_a_factor_are_asked_to_and_testers_are_not(
    client: Client, edition: Edition, someone: User
) -> None:
    designer = edition.pattern.owner
    asked = "so far a password is all that guards them"

    client.force_login(designer)
    assert asked in client.get("/").text
    passkey_of(designer)
    assert asked not in client.get("/").text
    client.force_login(someone)
    assert asked not in client.get("/").text


@pytest.mark.parametrize("part", ["owner", "editor", "staff"])
def test_who_is_to_have_a_factor_comes_to_where_one_is_made_and_nowhere_else(
    client: Client, edition: Edition, someone: User, settings: Any, part: str
) -> None:
    settings.DESIGNERS_NEED_SECOND_FACTOR = True
    person = edition.pattern.owner if part == "owner" else someone
    if part == "staff":
        User.objects.filter(pk=person.pk).update(is_staff=True)
    if part == "editor":
        Membership.objects.create(
            pattern=edition.pattern,
            role="editor",
            email=person.email,
            user=person,
            secret_hash="x",
            invited_by=edition.pattern.owner,
            expires=timezone.now() + dt.timedelta(days=1),
            joined_at=timezone.now(),
        )
    client.force_login(person)

    for path in ("/", "/patterns/", "/places/", "/admin/"):
        assert client.get(path).headers["Location"] == INDEX, path
    assert client.post("/patterns/new/", {"title": "Another"}).status_code == 403
    assert "asks designers for a second factor" in client.get(INDEX).text
    for path in ("/me/preferences/", "/me/held/", "/account/email/", "/account/logout/"):
        assert client.get(path).status_code == 200, path
    passkey_of(person)
    assert client.get("/").status_code == 200


def test_testers_are_asked_for_none_and_by_default_nobody_is(
    client: Client, edition: Edition, someone: User, settings: Any
) -> None:
    client.force_login(edition.pattern.owner)
    assert client.get("/").status_code == 200
    settings.DESIGNERS_NEED_SECOND_FACTOR = True
    client.force_login(someone)
    assert client.get("/").status_code == 200


# -- what is kept of it ------------------------------------------------------------------------------------


def test_the_key_of_an_app_is_sealed_in_the_database(client: Client, someone: User) -> None:
    with_app(someone)

    assert KEY not in json.dumps(list(Authenticator.objects.values()), default=str)
    assert seal(KEY) != seal(KEY)


def test_a_new_secret_key_still_opens_what_the_old_one_sealed_and_seals_it_anew(
    client: Client, someone: User, settings: Any
) -> None:
    factor = with_app(someone)
    settings.SECRET_KEY, settings.SECRET_KEY_FALLBACKS = "another key", [settings.SECRET_KEY]
    assert unseal(factor.data["secret"]) == KEY

    call_command("secrets_reseal", stdout=io.StringIO())

    settings.SECRET_KEY_FALLBACKS = []
    factor.refresh_from_db()
    assert unseal(factor.data["secret"]) == KEY


def test_with_the_wrong_key_no_code_fits_and_the_operator_is_told(
    client: Client, someone: User, app: App, settings: Any, caplog: pytest.LogCaptureFixture
) -> None:
    factor = with_app(someone)
    settings.SECRET_KEY = "another key"
    sign_in(client, someone)

    page = client.post(ASKED, {"code": app.code(KEY)})

    assert "This code does not fit" in alert_of(page)
    assert "neither SECRET_KEY nor one of SECRET_KEY_FALLBACKS" in caplog.text
    with pytest.raises(CannotOpen):
        unseal(factor.data["secret"])
    with pytest.raises(CommandError, match=f"1 could not be opened, of the accounts {someone.pk}:"):
        call_command("secrets_reseal", stdout=io.StringIO())


def test_who_has_lost_everything_is_helped_by_the_operator(
    client: Client, someone: User, django_capture_on_commit_callbacks: Callable[..., Any]
) -> None:
    with_app(someone)
    codes_make(user=someone)

    with django_capture_on_commit_callbacks(execute=True):
        call_command("second_factor_remove", someone.email.upper(), stdout=io.StringIO())

    assert [message.subject for message in mail.outbox] == ["Your second factors were removed"]
    assert not RecoveryCode.objects.exists()
    sign_in(client, someone)
    assert client.session["_auth_user_id"] == str(someone.pk)
    with pytest.raises(CommandError, match=r"tester@example\.org has no second factor\."):
        call_command("second_factor_remove", someone.email)


def test_what_is_held_names_factors_and_nothing_that_they_are_made_of(someone: User) -> None:
    factor = with_app(someone)
    passkey_of(someone)
    codes_make(user=someone)

    (shelf,) = [shelf for shelf in held_of(someone) if shelf.key == "second_factors"]

    assert [(row["kind"], row.get("name"), row.get("left")) for row in shelf.rows] == [
        ("authenticator app", "", None),
        ("passkey", "My phone", None),
        ("recovery codes", None, 10),
    ]
    assert factor.data["secret"] not in str(shelf.rows)


@pytest.mark.parametrize("passkeys", [0, 5])
def test_the_page_of_factors_costs_the_same_for_none_or_five(
    client: Client, someone: User, django_assert_num_queries: Any, passkeys: int
) -> None:
    for n in range(passkeys):
        passkey_of(someone, f"Key {n}")
    client.force_login(someone)

    with django_assert_num_queries(4):  # session, user, factors, codes left
        client.get(INDEX)


def test_mails_about_the_account_are_in_its_owners_language_and_on_their_clock(
    client: Client,
    someone: User,
    german: Callable[[dict[str, str]], None],
    django_capture_on_commit_callbacks: Callable[..., Any],
) -> None:
    german({"The authenticator app was removed from your account": "Die App wurde entfernt"})
    User.objects.filter(pk=someone.pk).update(language="de", time_zone="Pacific/Kiritimati")
    with_app(someone)
    known(client, someone)
    client.cookies.load({"django_language": "en"})

    with django_capture_on_commit_callbacks(execute=True):
        client.post(
            f"{INDEX}app/remove/", headers={"User-Agent": "Mozilla/5.0 (X11; Linux x86_64) Firefox/140.0"}
        )

    (message,) = mail.outbox
    assert message.subject == "Die App wurde entfernt"
    assert "Firefox on Linux, in the network 127.0.0.x" in message.body
    there = timezone.now().astimezone(dt.timezone(dt.timedelta(hours=14)))
    assert f"{there.day}" in message.body.split("When:")[1].splitlines()[0]
