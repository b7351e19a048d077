"""The doors of an account: passwords, guessing, what is told to strangers, cookies, and where a door leads."""

from __future__ import annotations

import gzip
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from allauth.account.models import EmailAddress
from django.contrib.auth import password_validation
from django.contrib.auth.hashers import MD5PasswordHasher
from django.core import mail
from django.core.cache import cache
from django.core.exceptions import ValidationError
from django.template.loader import render_to_string
from django.test import Client

from testround.people import factors_forms
from testround.people.models import User
from testround.people.passwords import Argon2, NotOneOfMany
from testround.people.recovery import codes_make
from tests.people.test_factors import ADD_APP, ASKED, INDEX, passkey_of, with_app
from tests.test_access import ELSEWHERE

PASSWORD = "a-long-password"
NEW = "seven-grey-sheep"


@pytest.fixture
def someone(tester: User) -> User:
    cache.clear()
    EmailAddress.objects.create(user=tester, email=tester.email, primary=True, verified=True)
    return tester


def refusals(password: str, user: User | None = None) -> list[str]:
    try:
        password_validation.validate_password(password, user)
    except ValidationError as error:
        return [one.code or "" for one in error.error_list]
    return []


# -- passwords (OWASP ASVS 5.0, 6.2) -----------------------------------------------------------------------


@pytest.mark.parametrize(
    "password",
    [
        "seven-grey-sheep",
        "twelve chars",
        "all small letters and spaces",
        "739105826441",
        "äöü ßéñ ţăâî",
        "🐑🐑🐐🐑🐏🦙🐐🐑🐏🦙🐐🦌",
        "x7" + "kq" * 3 + "!" * 4 + "v" * 188,
    ],
)
def test_a_password_is_of_any_characters_and_as_long_as_one_likes(password: str) -> None:
    assert refusals(password) == []


def test_a_password_has_twelve_characters() -> None:
    assert refusals("grey-sheep7") == ["password_too_short"]


def test_a_password_of_a_megabyte_is_no_work() -> None:
    """What is so long is not looked into: with each length and each end tried, this would take for ever."""
    assert refusals("ab" * 500_000 + "c") == []


@pytest.mark.parametrize(
    "password",
    [
        "123456789012",
        "password1234",
        "P4ssw0rd2026!!",
        "dragondragon",
        "Dragon-2026-12",
        "!!!!football!!!!",
        "000liverpool000",
        "abc123abc123",
    ],
)
def test_what_many_people_use_is_refused_dressed_up_or_not(password: str) -> None:
    assert "password_too_common" in refusals(password)


def test_all_of_the_list_are_refused_once_they_are_long_enough() -> None:
    """ASVS 6.2.4 asks for at least 3,000 that are as long as a password has to be here."""
    path = Path(password_validation.__file__).parent / "common-passwords.txt.gz"
    common = gzip.decompress(path.read_bytes()).decode().split()
    long = [f"{word}2026!!"[: max(12, len(word) + 6)] for word in common if re.search(r"[a-z]", word)][:4000]
    long += [f"{word}{word}{word}" for word in common if 12 <= len(word) * 3 <= 64][:4000]
    validator = NotOneOfMany()
    taken = []
    for password in long:
        try:
            validator.validate(password)
        except ValidationError:
            continue
        taken.append(password)

    assert len(long) == 8000
    assert taken == []


@pytest.mark.parametrize(
    "password", ["testround-2026", "knitting pattern", "Maschenprobe1", "crochetcrochet7", "wool-yarn-wool"]
)
def test_words_about_this_place_are_no_password(password: str) -> None:
    assert "password_about_this_place" in refusals(password)


def test_the_sites_own_name_is_one_of_them(settings: Any) -> None:
    settings.SITE_URL = "https://quillaby-fenn.example.org"

    assert refusals("quillaby-fenn-1") == ["password_about_this_place"]
    assert refusals("quillaby goes to the moon") == []


def test_ones_own_name_and_address_are_no_password(someone: User) -> None:
    someone.email, someone.name = "quillaby.fenn@example.org", "Quillaby Fenn"

    assert refusals("quillaby-fenn1", someone) == ["password_too_similar"]


@pytest.mark.parametrize(
    "password", ["  seven grey sheep  ", "Ж" * 30 + "seven-grey-sheep", "s e v e n " * 30]
)
def test_a_password_is_taken_as_it_is_typed(client: Client, someone: User, password: str) -> None:
    """Not cut, not trimmed, not changed (ASVS 6.2.8)."""
    client.force_login(someone)
    client.post(
        "/account/password/change/", {"oldpassword": PASSWORD, "password1": password, "password2": password}
    )

    assert Client().login(email=someone.email, password=password)
    assert not Client().login(email=someone.email, password=password.strip()[:-1])
    if password != password.strip():
        assert not Client().login(email=someone.email, password=password.strip())


def test_password_fields_let_a_manager_in_and_hide_what_is_typed(client: Client, someone: User) -> None:
    pages = {
        "/account/login/": {"current-password"},
        "/account/signup/": {"new-password"},
    }
    found = {path: kinds_of(client.get(path).text) for path in pages}
    client.force_login(someone)
    found["/account/password/change/"] = kinds_of(client.get("/account/password/change/").text)

    assert found == pages | {"/account/password/change/": {"current-password", "new-password"}}
    scripts = "".join(path.read_text() for path in Path("testround/static/js").glob("*.js"))
    assert re.findall(r"paste.{0,80}password|password.{0,80}paste", scripts) == []


def kinds_of(page: str) -> set[str]:
    fields = re.findall(r'<input type="password"[^>]*>', page)
    return {kind for field in fields for kind in re.findall(r'autocomplete="([^"]+)"', field)}


def test_a_new_password_asks_for_the_old_one(client: Client, someone: User) -> None:
    client.force_login(someone)

    page = client.post(
        "/account/password/change/", {"oldpassword": "not-that-one", "password1": NEW, "password2": NEW}
    )

    assert "This is not the password that the account has now." in page.text
    someone.refresh_from_db()
    assert someone.check_password(PASSWORD)


def test_passwords_are_kept_as_owasp_recommends() -> None:
    """Password Storage Cheat Sheet: Argon2id with 19 MiB and 2 passes, or 46 MiB and 1, at least."""
    kept = Argon2().encode(PASSWORD, Argon2().salt())

    assert kept.startswith("argon2$argon2id$v=19$m=47104,t=2,p=1$")
    assert Argon2().verify(PASSWORD, kept)
    assert not Argon2().verify("not-that-one", kept)


# -- guessing ----------------------------------------------------------------------------------------------


def test_five_wrong_passwords_and_even_the_right_one_has_to_wait(client: Client, someone: User) -> None:
    for _ in range(5):
        client.post("/account/login/", {"login": someone.email, "password": "not-that-one"})

    page = client.post("/account/login/", {"login": someone.email, "password": PASSWORD})

    assert "That was tried too often." in page.text
    assert "_auth_user_id" not in client.session


def test_an_account_that_is_not_there_has_to_wait_just_so(client: Client, db: None) -> None:
    cache.clear()
    said = []
    for _ in range(6):
        page = client.post("/account/login/", {"login": "nobody@example.org", "password": "not-that-one"})
        said.append("That was tried too often." in page.text)

    assert said == [False] * 5 + [True]


def test_who_guesses_at_many_accounts_from_one_address_is_stopped(client: Client, someone: User) -> None:
    for n in range(10):
        client.post("/account/login/", {"login": f"person{n}@example.org", "password": "not-that-one"})

    page = client.post("/account/login/", {"login": someone.email, "password": PASSWORD})
    elsewhere = Client(REMOTE_ADDR="198.51.100.7")
    elsewhere.post("/account/login/", {"login": someone.email, "password": PASSWORD})

    assert "That was tried too often." in page.text
    assert "_auth_user_id" in elsewhere.session


def test_an_address_that_is_made_up_does_not_begin_a_new_count(client: Client, someone: User) -> None:
    for n in range(10):
        client.post(
            "/account/login/",
            {"login": f"person{n}@example.org", "password": "not-that-one"},
            headers={"X-Forwarded-For": f"203.0.113.{n}"},
        )

    page = client.post("/account/login/", {"login": someone.email, "password": PASSWORD})

    assert "That was tried too often." in page.text


def test_too_many_requests_are_answered_with_a_page_of_our_own(client: Client, someone: User) -> None:
    for _ in range(20):
        client.post("/account/signup/", {})

    page = client.post("/account/signup/", {})

    assert page.status_code == 429
    assert "<h1>That was a little often</h1>" in page.text


def test_the_question_who_one_is_is_no_way_to_guess(client: Client, someone: User) -> None:
    client.force_login(someone)
    for _ in range(5):
        client.post("/account/reauthenticate/", {"password": "not-that-one"})

    page = client.post("/account/reauthenticate/", {"password": PASSWORD})

    assert "That was tried too often." in page.text
    assert client.get(ADD_APP).headers["Location"].startswith("/account/reauthenticate/")


# -- what is told to strangers -----------------------------------------------------------------------------


@pytest.fixture
def hashed(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[str]]:
    """Every password that is hashed: what takes the time of a sign-in."""
    found: list[str] = []
    encode = MD5PasswordHasher.encode

    def listening(self: MD5PasswordHasher, password: str, salt: str) -> str:
        found.append(password)
        return encode(self, password, salt)

    monkeypatch.setattr(MD5PasswordHasher, "encode", listening)
    return found


@pytest.mark.parametrize(
    ("path", "fields"),
    [
        ("/account/login/", {"login": "{}", "password": "not-that-one"}),
        ("/account/signup/", {"name": "Ann", "email": "{}", "password1": NEW}),
        ("/account/password/reset/", {"email": "{}"}),
        ("/account/login/code/", {"email": "{}"}),
    ],
)
def test_no_door_says_whether_there_is_an_account_not_even_by_its_work(
    someone: User,
    settings: Any,
    hashed: list[str],
    django_capture_on_commit_callbacks: Callable[..., Any],
    path: str,
    fields: dict[str, str],
) -> None:
    settings.ACCOUNT_EMAIL_VERIFICATION = "mandatory"
    seen = []

    for address in (someone.email, "nobody-at-all@example.org"):
        cache.clear()
        hashed.clear()
        visitor = Client()
        with django_capture_on_commit_callbacks(execute=True):
            answer = visitor.post(path, {name: value.format(address) for name, value in fields.items()})
        page = visitor.get(answer.headers["Location"]) if answer.status_code == 302 else answer
        text = re.sub(r'value="[^"]*"|nonce="[^"]*"', "", page.text.replace(address, "ADDRESS"))
        seen.append((answer.status_code, answer.headers.get("Location"), text, len(hashed), len(mail.outbox)))
        mail.outbox.clear()

    assert seen[0] == seen[1]
    assert seen[0][3] == (1 if "password" in "".join(fields) else 0)
    assert seen[0][4] == (0 if "login" in fields else 1)


def test_an_account_that_is_closed_is_told_to_its_owner_alone(client: Client, someone: User) -> None:
    User.objects.filter(pk=someone.pk).update(is_active=False)

    page = client.post("/account/login/", {"login": someone.email, "password": "not-that-one"})
    assert "do not belong together" in page.text

    owner = client.post("/account/login/", {"login": someone.email, "password": PASSWORD}, follow=True)
    assert "This account is closed" in owner.text


def test_another_address_of_ones_own_is_not_told_to_be_somebodys(
    client: Client, someone: User, stranger: User
) -> None:
    client.force_login(someone)
    client.post("/account/reauthenticate/", {"password": PASSWORD})

    answers = [
        client.post("/account/email/", {"action_add": "", "email": address})
        for address in (stranger.email, "nobody-at-all@example.org")
    ]

    assert [answer.headers["Location"] for answer in answers] == ["/account/email/"] * 2


def test_passkeys_say_the_same_of_an_account_that_is_there_and_one_that_is_not(
    client: Client, someone: User
) -> None:
    passkey_of(someone)
    said = []

    for handle in ("MQ", "OTk5OTk5OTk"):
        client.get(f"{INDEX}passkeys/sign-in/", headers={"Accept": "application/json"})
        credential = '{"id": "AA", "rawId": "AA", "type": "public-key", "response": {"userHandle": "%s"}}'
        answer = client.post(f"{INDEX}passkeys/sign-in/", {"credential": credential % handle})
        said.append(
            (answer.headers["Location"], re.findall("This code.*?<", client.get("/account/login/").text))
        )

    assert said[0] == said[1]


# -- where a door leads ------------------------------------------------------------------------------------


@pytest.mark.parametrize("elsewhere", ELSEWHERE)
def test_no_door_leads_elsewhere(client: Client, someone: User, elsewhere: str, monkeypatch: Any) -> None:
    with_app(someone)
    passkey = passkey_of(someone)
    # That a code is taken is asked elsewhere.
    monkeypatch.setattr(factors_forms._Code, "clean_code", lambda form: "")
    monkeypatch.setattr(factors_forms._Code, "save", lambda form: None)
    to = {"next": elsewhere}
    led = {}

    led["sign in"] = client.post("/account/login/", {"login": someone.email, "password": PASSWORD, **to})
    led["second factor"] = client.post(ASKED, {"code": "1", **to})
    led["who again"] = client.post("/account/reauthenticate/", {"password": PASSWORD, **to})
    led["code again"] = client.post(f"{INDEX}reauthenticate/", {"code": "1", **to})
    led["rename"] = client.post(f"{INDEX}passkeys/{passkey.pk}/name/", {"name": "New", **to})
    led["remove"] = client.post(f"{INDEX}passkeys/{passkey.pk}/remove/", to)
    led["admin"] = client.get("/admin/login/", to)
    led["sign out"] = client.post("/account/logout/", to)
    led["admin, signed out"] = client.get("/admin/login/", to)

    for name, answer in led.items():
        where = answer.headers.get("Location", "")
        assert re.match(r"(/[a-z]|/$|$)", where), (name, where)


def test_the_way_to_a_page_goes_past_the_second_factor(client: Client, someone: User) -> None:
    with_app(someone)
    codes = codes_make(user=someone)
    door = client.get("/me/held/").headers["Location"]

    question = client.post(door, {"login": someone.email, "password": PASSWORD}).headers["Location"]
    answer = client.post(question, {"code": codes[0]})

    assert answer.headers["Location"] == "/me/held/"


# -- pages for trouble -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["400", "403", "403_csrf", "404", "429", "500"])
def test_a_page_for_trouble_is_one_of_ours(name: str) -> None:
    text = render_to_string(f"{name}.html", {})

    assert len(re.findall(r"<h1>(.*?)</h1>", text)) == 1
    assert "css/base.css" in text
    assert not re.search(r"<script(?![^>]*src=)|style=|onclick", text)
