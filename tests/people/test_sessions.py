"""Where a person is signed in: what is noted, for how long it holds, and how it ends."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import pytest
from allauth.account.models import EmailAddress
from allauth.usersessions.models import UserSession
from django.contrib.sessions.models import Session
from django.core.cache import cache
from django.test import Client

from testround.people import sessions
from testround.people.devices import device_of, network_of, network_words
from testround.people.held import held_of, person_erase
from testround.people.models import User
from testround.people.sessions import BEGAN, SEEN, sessions_sweep, signed_in_of

PASSWORD = "a-long-password"
PAGE = "/me/signed-in/"
DAY = 24 * 60 * 60
PHONE = "Mozilla/5.0 (Linux; Android 15; Pixel 9) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/140.0 Mobile Safari/537.36"
DESK = "Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0"


@pytest.fixture
def someone(tester: User) -> User:
    cache.clear()
    EmailAddress.objects.create(user=tester, email=tester.email, primary=True, verified=True)
    return tester


def browser(person: User, agent: str = DESK, address: str = "192.0.2.77") -> Client:
    """A browser in which somebody has signed in by the form."""
    client = Client(headers={"User-Agent": agent}, REMOTE_ADDR=address)
    client.post("/account/login/", {"login": person.email, "password": PASSWORD})
    assert is_signed_in(client)
    return client


def sure(client: Client) -> Client:
    """The same browser, whose owner has said once more who they are."""
    client.post("/account/reauthenticate/", {"password": PASSWORD})
    return client


def is_signed_in(client: Client) -> bool:
    return client.get("/me/held/").status_code == 200


def later(client: Client, seconds: float) -> None:
    """As if the session had begun, and had last been seen, so much longer ago."""
    session = client.session
    session[BEGAN] -= seconds
    session[SEEN] -= seconds
    session.save()


# -- what is noted -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("agent", "words"),
    [
        (PHONE, "Chrome on Android"),
        (DESK, "Firefox on Linux"),
        (
            "Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko) Version/18.0 Mobile/15E148 Safari/604.1",
            "Safari on iPhone",
        ),
        (
            "Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/140.0 Safari/537.36 Edg/140.0",
            "Edge on Windows",
        ),
        ("Mozilla/5.0 (Macintosh; Intel Mac OS X 10_15_7)", "Mac"),
        ("", "A browser that does not say which it is"),
        ("<script>alert(1)</script>", "A browser that does not say which it is"),
    ],
)
def test_a_browser_is_named_in_plain_words(agent: str, words: str) -> None:
    assert str(device_of(agent)) == words


@pytest.mark.parametrize(
    ("address", "kept", "shown"),
    [
        ("192.0.2.77", "192.0.2.0", "192.0.2.x"),
        ("::ffff:192.0.2.77", "192.0.2.0", "192.0.2.x"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1::", "2001:db8:1:x"),
        ("2001:db8::6", "2001:db8::", "2001:db8:0:x"),
    ],
)
def test_of_an_address_the_network_is_kept(address: str, kept: str, shown: str) -> None:
    assert (network_of(address), network_words(network_of(address))) == (kept, shown)


def test_neither_address_nor_browser_is_kept_whole(someone: User) -> None:
    browser(someone, PHONE)

    assert list(UserSession.objects.values_list("ip", "user_agent", "data")) == [
        ("192.0.2.0", "", {"browser": "Chrome", "system": "Android"})
    ]
    (shelf,) = [shelf for shelf in held_of(someone) if shelf.key == "sessions"]
    assert [(row["browser"], row["system"], row["network"]) for row in shelf.rows] == [
        ("Chrome", "Android", "192.0.2.x")
    ]


def test_the_page_names_every_browser_and_this_one_first(someone: User, stranger: User) -> None:
    desk = browser(someone, DESK)
    browser(someone, PHONE)
    browser(stranger, "Edg Windows")

    page = desk.get(PAGE)

    assert [(str(one.device), one.is_this_one) for one in page.context["sessions"]] == [
        ("Firefox on Linux", True),
        ("Chrome on Android", False),
    ]
    assert "Here, and in 1 other browser." in page.text


@pytest.mark.parametrize("others", [0, 4])
def test_the_page_costs_the_same_for_one_browser_or_five(
    someone: User, django_assert_num_queries: Any, others: int
) -> None:
    desk = browser(someone)
    for _ in range(others):
        browser(someone, PHONE)

    with django_assert_num_queries(4):  # session, user, what was noted, which of them are alive
        desk.get(PAGE)


def test_an_ordinary_page_asks_nothing_more_of_the_database(
    someone: User, django_assert_num_queries: Any
) -> None:
    desk = browser(someone)

    with django_assert_num_queries(2):  # session, user
        desk.get("/account/password/change/")


def test_use_is_noted_every_ten_minutes_and_not_at_every_page(someone: User) -> None:
    desk = browser(someone)
    UserSession.objects.update(last_seen_at="2026-01-01T00:00Z")
    desk.get(PAGE)
    assert UserSession.objects.get().last_seen_at.year == 2026
    assert UserSession.objects.get().last_seen_at.month == 1

    later(desk, 11 * 60)
    desk.get(PAGE, headers={"User-Agent": PHONE})

    noted = UserSession.objects.get()
    assert noted.last_seen_at.timestamp() > time.time() - 60
    assert noted.data == {"browser": "Chrome", "system": "Android"}


# -- for how long it holds ---------------------------------------------------------------------------------


def test_what_is_not_used_ends_and_what_is_used_goes_on(someone: User, settings: Any) -> None:
    desk = browser(someone)
    assert Session.objects.get().get_decoded()["_session_expiry"] == settings.SESSION_COOKIE_AGE == 14 * DAY

    later(desk, 10 * DAY)
    answer = desk.get(PAGE)

    assert answer.cookies["sessionid"]["max-age"] == 14 * DAY
    assert Session.objects.get().expire_date.timestamp() > time.time() + 13.9 * DAY


def test_after_sixty_days_one_signs_in_anew_however_much_it_was_used(someone: User) -> None:
    desk = browser(someone)
    later(desk, 59 * DAY)
    assert is_signed_in(desk)

    later(desk, 1 * DAY)

    assert desk.get("/me/held/").headers["Location"].startswith("/account/login/")
    assert not Session.objects.exclude(session_key=desk.session.session_key).exists()
    assert not UserSession.objects.exists()


def test_what_has_run_out_is_swept_away(someone: User) -> None:
    desk, phone = browser(someone), browser(someone, PHONE)
    Session.objects.filter(session_key=phone.session.session_key).update(expire_date="2026-01-01T00:00Z")
    UserSession.objects.filter(session_key=phone.session.session_key).update(last_seen_at="2026-01-01T00:00Z")
    cache.clear()

    sessions_sweep()

    (kept,) = UserSession.objects.all()
    assert kept.session_key == Session.objects.get().session_key == desk.session.session_key


def test_the_sweep_comes_once_an_hour(someone: User, django_assert_num_queries: Any) -> None:
    cache.clear()
    sessions_sweep()

    with django_assert_num_queries(0):
        sessions_sweep()


# -- how it ends -------------------------------------------------------------------------------------------


def test_one_is_ended_and_the_others_go_on(someone: User) -> None:
    desk, phone, tablet = browser(someone), browser(someone, PHONE), browser(someone, PHONE)
    (lost,) = UserSession.objects.filter(session_key=phone.session.session_key)

    sure(desk).post(f"{PAGE}{lost.pk}/end/")

    assert [is_signed_in(one) for one in (desk, phone, tablet)] == [True, False, True]


def test_all_others_are_ended_at_once(someone: User, stranger: User) -> None:
    desk, phone, theirs = browser(someone), browser(someone, PHONE), browser(stranger)

    page = sure(desk).post(f"{PAGE}end-others/", follow=True)

    assert [is_signed_in(one) for one in (desk, phone, theirs)] == [True, False, True]
    assert "1 other browser is signed out." in page.text


def test_everywhere_means_here_too(someone: User) -> None:
    desk, phone = browser(someone), browser(someone, PHONE)

    answer = sure(desk).post(f"{PAGE}end-all/")

    assert [is_signed_in(one) for one in (desk, phone)] == [False, False]
    assert answer.headers["Clear-Site-Data"] == '"storage"'
    assert not UserSession.objects.exists()


def test_who_finds_a_browser_open_ends_no_other_and_its_owner_does_with_the_password(someone: User) -> None:
    desk, phone = browser(someone), browser(someone, PHONE)

    question = desk.post(f"{PAGE}end-others/").headers["Location"]
    assert question.startswith("/account/reauthenticate/")
    assert is_signed_in(phone)
    desk.post(question, {"password": PASSWORD})

    assert [is_signed_in(one) for one in (desk, phone)] == [True, False]


def test_saying_once_more_who_one_is_gives_a_new_session(someone: User) -> None:
    desk = browser(someone)
    before = desk.cookies["sessionid"].value

    sure(desk)

    thief = Client()
    thief.cookies["sessionid"] = before
    assert [is_signed_in(one) for one in (desk, thief)] == [True, False]
    assert UserSession.objects.get().session_key == desk.cookies["sessionid"].value


def test_nobody_ends_a_session_of_somebody_else(someone: User, stranger: User) -> None:
    desk, theirs = browser(someone), browser(stranger)
    (row,) = UserSession.objects.filter(user=stranger)

    assert sure(desk).post(f"{PAGE}{row.pk}/end/").status_code == 404
    assert is_signed_in(theirs)


def test_a_new_password_ends_all_others_and_the_present_one_goes_on(someone: User) -> None:
    desk, phone = browser(someone), browser(someone, PHONE)
    other = phone.cookies["sessionid"].value

    desk.post(
        "/account/password/change/",
        {"oldpassword": PASSWORD, "password1": "seven-grey-sheep", "password2": "seven-grey-sheep"},
    )

    assert not Session.objects.filter(session_key=other).exists()
    assert [is_signed_in(one) for one in (desk, phone)] == [True, False]
    assert [one.is_this_one for one in signed_in_of(someone, desk.session.session_key)] == [True]


def test_a_forgotten_password_chosen_anew_ends_all(
    someone: User, mailoutbox: list[Any], django_capture_on_commit_callbacks: Callable[..., Any]
) -> None:
    desk = browser(someone)
    visitor = Client()
    with django_capture_on_commit_callbacks(execute=True):
        visitor.post("/account/password/reset/", {"email": someone.email})
    path = next(word for word in mailoutbox[0].body.split() if "/reset/key/" in word).partition("/account")[2]
    form = visitor.get(f"/account{path}", follow=True)

    visitor.post(
        form.request["PATH_INFO"], {"password1": "seven-grey-sheep", "password2": "seven-grey-sheep"}
    )

    assert not is_signed_in(desk)
    assert not UserSession.objects.exists()


def test_signing_out_forgets_the_browser_and_kills_its_cookie(someone: User) -> None:
    desk = browser(someone)
    cookie = desk.cookies["sessionid"].value

    desk.post("/account/logout/")

    assert not UserSession.objects.exists()
    thief = Client()
    thief.cookies["sessionid"] = cookie
    assert not is_signed_in(thief)


def test_signing_in_gives_a_new_session(someone: User) -> None:
    """Nobody is signed in under a key that somebody else has put into their browser (session fixation)."""
    client = Client(REMOTE_ADDR="192.0.2.77")
    client.post("/me/preferences/", {"units": "in", "tools": "us", "terms": "us"})
    planted = client.cookies["sessionid"].value

    client.post("/account/login/", {"login": someone.email, "password": PASSWORD})

    assert client.cookies["sessionid"].value != planted
    assert not Session.objects.filter(session_key=planted).exists()
    made_up = Client(REMOTE_ADDR="192.0.2.77")
    made_up.cookies["sessionid"] = "a" * 32
    made_up.post("/account/login/", {"login": someone.email, "password": PASSWORD})
    assert made_up.cookies["sessionid"].value != "a" * 32


def test_who_is_erased_is_signed_in_nowhere(someone: User) -> None:
    desk = browser(someone)
    key = desk.cookies["sessionid"].value

    person_erase(user=someone)

    assert not Session.objects.filter(session_key=key).exists()
    assert not UserSession.objects.exists()
    assert not is_signed_in(desk)


def test_a_session_from_before_this_was_noted_begins_now(client: Client, someone: User) -> None:
    client.force_login(someone)
    session = client.session
    del session[BEGAN], session[SEEN]
    session.save()

    assert is_signed_in(client)

    assert client.session[BEGAN] == pytest.approx(time.time(), abs=60)
    assert [one.is_this_one for one in signed_in_of(someone, client.session.session_key)] == [True]
    assert sessions.SEEN_EVERY_SECONDS == 600
