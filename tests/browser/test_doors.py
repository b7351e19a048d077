"""Second factors and passkeys in a browser that has an authenticator of its own, and the list of sessions.

The server of these tests is reached as localhost: a name, to which browsers tie passkeys without HTTPS.
"""

from __future__ import annotations

import re
from typing import Any

import pytest
from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from django.core.cache import cache
from django.test import Client
from playwright.sync_api import expect

from testround.people.models import User
from testround.people.sealed import seal
from tests.browser.chromium import chromium
from tests.browser.conftest import Window, Windows
from tests.browser.every_page import Walk
from tests.people.apps import App, app
from tests.visits import Visit

__all__ = ["app"]

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE = 360
PASSWORD = "a-long-password"


def with_authenticator(window: Window) -> Any:
    """The window with a device that keeps passkeys and has itself unlocked (CDP, WebAuthn domain)."""
    session = window.context.new_cdp_session(window.page)
    session.send("WebAuthn.enable")
    added = session.send(
        "WebAuthn.addVirtualAuthenticator",
        {
            "options": {
                "protocol": "ctap2",
                "transport": "internal",
                "hasResidentKey": True,
                "hasUserVerification": True,
                "isUserVerified": True,
                "automaticPresenceSimulation": True,
            }
        },
    )
    return session, added["authenticatorId"]


@pytest.fixture
def someone(designer: User) -> User:
    EmailAddress.objects.create(user=designer, email=designer.email, primary=True, verified=True)
    return designer


def sign_in(window: Window, person: User) -> None:
    window.open("/account/login/")
    window.page.fill("#id_login", person.email)
    window.page.fill("#id_password", PASSWORD)
    window.page.get_by_role("main").get_by_role("button", name="Sign in").click()


def say_again(window: Window) -> None:
    expect(window.page.get_by_role("heading", level=1)).to_have_text("Is it you?")
    window.page.fill("#id_password", PASSWORD)
    window.page.get_by_role("button", name="It is me").click()


def heading(window: Window) -> Any:
    return expect(window.page.get_by_role("heading", level=1))


def test_a_passkey_is_made_signs_in_and_is_removed(windows: Windows, someone: User) -> None:
    window = windows(PHONE)
    authenticator, key = with_authenticator(window)
    page = window.page
    sign_in(window, someone)

    window.open("/account/second-factor/")
    page.get_by_role("link", name="Add a passkey").click()
    say_again(window)
    heading(window).to_have_text("Add a passkey")
    page.fill("#id_name", "My phone")
    page.get_by_role("button", name="Make the passkey").click()
    heading(window).to_have_text("How do you get in when phone or key are lost?")
    (kept,) = authenticator.send("WebAuthn.getCredentials", {"authenticatorId": key})["credentials"]
    assert (kept["rpId"], kept["isResidentCredential"]) == ("localhost", True)

    window.context.clear_cookies()
    window.open("/account/login/?next=/me/signed-in/")
    page.get_by_role("button", name="Use a passkey").click()
    heading(window).to_have_text("Where are you signed in?")

    window.open("/account/second-factor/")
    page.get_by_role("link", name="Remove My phone").click()
    # A passkey is enough to say once more who one is.
    page.get_by_role("link", name="Use a passkey").click()
    page.get_by_role("button", name="Use a passkey").click()
    heading(window).to_have_text("Remove “My phone”?")
    page.get_by_role("button", name="Remove it").click()
    heading(window).to_have_text("What keeps others out of your account?")
    assert not Authenticator.objects.filter(user=someone).exists()


def test_a_passkey_is_a_second_factor_after_the_password_too(windows: Windows, someone: User) -> None:
    window = windows(PHONE)
    with_authenticator(window)
    sign_in(window, someone)
    window.open("/account/second-factor/passkeys/add/")
    say_again(window)
    window.page.get_by_role("button", name="Make the passkey").click()
    heading(window).to_have_text("How do you get in when phone or key are lost?")
    window.context.clear_cookies()

    sign_in(window, someone)
    heading(window).to_have_text("Your second factor")
    window.page.get_by_role("button", name="Use a passkey").click()

    heading(window).to_have_text("What needs you today?")


def test_who_has_no_passkey_on_this_device_is_told_so(windows: Windows) -> None:
    window = windows(PHONE)
    session, key = with_authenticator(window)
    session.send("WebAuthn.setUserVerified", {"authenticatorId": key, "isUserVerified": False})
    window.open("/account/login/")

    window.page.get_by_role("button", name="Use a passkey").click()

    expect(window.page.locator("[data-passkey-says]")).to_have_text(re.compile("^Nothing came of it"))
    assert window.fits()


def test_at_a_bare_address_no_passkey_is_offered(windows: Windows, live_server: Any, someone: User) -> None:
    window = windows(PHONE, url=live_server.url.replace("localhost", "127.0.0.1"))
    sign_in(window, someone)
    window.open("/account/second-factor/")

    assert window.page.get_by_role("link", name="Add a passkey").count() == 0
    assert "not for the address you came by" in window.says()
    window.context.clear_cookies()
    window.open("/account/login/")
    assert not window.page.get_by_role("button", name="Use a passkey").is_visible()


def test_an_app_is_added_asked_for_and_replaced_by_a_recovery_code(
    windows: Windows, someone: User, app: App
) -> None:
    window = windows(PHONE)
    page = window.page
    sign_in(window, someone)
    window.open("/account/second-factor/app/add/")
    say_again(window)
    picture = page.get_by_role("img", name="QR code with the key that is written beside it")
    assert picture.evaluate("image => image.naturalWidth > 100 && image.complete")
    page.fill("#id_code", app.code(page.inner_text(".secret")))
    page.get_by_role("button", name="Add this app").click()
    page.get_by_role("button", name="Make recovery codes").click()
    codes = page.locator(".codes code").all_inner_texts()
    assert len(set(codes)) == 10
    assert window.fits()
    window.context.clear_cookies()

    sign_in(window, someone)
    heading(window).to_have_text("Your second factor")
    page.fill("#id_code", codes[0].lower().replace("-", " "))
    page.get_by_role("main").get_by_role("button", name="Sign in", exact=True).click()

    heading(window).to_have_text("What needs you today?")
    window.open("/account/second-factor/")
    assert "You have 9 codes left" in window.says()


def test_a_browser_is_signed_out_from_another_one(windows: Windows, someone: User) -> None:
    desk, phone = windows(1280), windows(PHONE, user_agent="Mozilla/5.0 (Android 15; Mobile) Firefox/140.0")
    for window in (desk, phone):
        sign_in(window, someone)
        heading(window).to_have_text("What needs you today?")
    desk.open("/me/signed-in/")

    desk.page.get_by_role("button", name="Sign out Firefox on Android").click()
    say_again(desk)

    expect(desk.page.locator(".messages")).to_have_text(re.compile("That browser is signed out."))
    assert "Here, and nowhere else." in desk.says()
    phone.open("/me/signed-in/")
    heading(phone).to_have_text("Sign in")


@pytest.fixture
def behind(someone: User) -> tuple[Client, list[str]]:
    """Somebody who has said once more who they are, and the pages that are open to nobody else."""
    cache.clear()
    client = Client()
    client.force_login(someone)
    client.post("/account/reauthenticate/", {"password": PASSWORD})
    passkey = Authenticator.objects.create(
        user=someone,
        type="webauthn",
        data={"name": "A key with a long name on the key ring", "credential": {}},
    )
    within = "/account/second-factor"
    paths = [
        f"{within}/",
        "/me/signed-in/",
        f"{within}/app/add/",
        f"{within}/recovery-codes/",
        f"{within}/passkeys/{passkey.pk}/remove/",
        f"{within}/passkeys/{passkey.pk}/name/",
    ]
    return client, paths


def test_the_pages_that_only_their_owner_opens_are_for_everybody_too(
    behind: tuple[Client, list[str]], live_server: Any
) -> None:
    """What every page of the access table is held to, of those that it cannot open."""
    client, paths = behind
    found = {}

    with chromium() as browser:
        walk = Walk(browser, live_server.url)
        for path in paths:
            page = walk.look_at(Visit(path, "designer", client, path))
            found[path] = {
                what: told
                for what in ("violations", "too_wide", "cut_off", "moving", "small", "faults", "elsewhere")
                if (told := getattr(page, what))
            }

    assert {path: told for path, told in found.items() if told} == {}


def test_between_password_and_second_factor_the_page_is_for_everybody_too(
    someone: User, live_server: Any, app: App
) -> None:
    Authenticator.objects.create(user=someone, type="totp", data={"secret": seal("JBSWY3DPEHPK3PXP")})
    cache.clear()
    client = Client()
    client.post("/account/login/", {"login": someone.email, "password": PASSWORD})
    path = "/account/second-factor/authenticate/"

    with chromium() as browser:
        page = Walk(browser, live_server.url).look_at(Visit(path, "designer", client, path))

    assert (page.violations, page.too_wide, page.small, page.faults) == ([], {}, [], [])
