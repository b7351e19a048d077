"""What every answer says to browsers: what a page may do, be shown in, and be kept as."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client, override_settings
from django.urls import reverse

from testround.people.middleware import POLICY
from tests import test_access
from tests.test_access import APPS, ROLES, Scene, of_app

scene = test_access.scene
from tests.test_settings import settings_with, started  # noqa: E402, F401 -- fixtures

# Addresses of pictures and mails, which stand alone and may do nothing at all.
SANDBOXED = ("reports:photo", "reports:call_picture", "mail_html")
# Read by programs that ask each time whether there is anything new.
ASKS_EACH_TIME = {"talk:feed": "private, no-cache", "reports:worker": "no-cache"}


def directives(response: HttpResponse) -> dict[str, str]:
    return {
        part.strip().partition(" ")[0]: part.strip().partition(" ")[2]
        for part in response.headers["Content-Security-Policy"].split(";")
    }


def faults_of(name: str, response: HttpResponse) -> list[str]:
    """What is missing in the headers of an answer."""
    headers, policy = response.headers, directives(response)
    found = []
    if policy.get("default-src") != "'none'":
        found.append("lets things in that it does not name")
    if name not in SANDBOXED:
        found += [
            f"{directive} is {policy.get(directive)}"
            for directive in ("object-src", "base-uri")
            if policy.get(directive) != "'none'"
        ]
        if policy.get("form-action") != "'self'":
            found.append("forms may be sent elsewhere")
        if policy.get("frame-ancestors") != "'none'" and name != "errata:embed":
            found.append("may be framed")
        if policy.get("script-src", "'self'") != "'self'" or policy.get("style-src", "'self'") != "'self'":
            found.append("runs scripts or styles that stand in the page")
    elif "sandbox" not in policy:
        found.append("is not in a sandbox")
    if headers.get("X-Content-Type-Options") != "nosniff":
        found.append("may be taken for another type")
    if headers.get("Cross-Origin-Opener-Policy") != "same-origin":
        found.append("shares its window")
    # Addresses that are secrets are told nobody, not even ourselves; a form's origin is checked all the same.
    if headers.get("Referrer-Policy") not in ("same-origin", "no-referrer", "origin", "strict-origin"):
        found.append("tells others its address")
    if "geolocation=()" not in headers.get("Permissions-Policy", ""):
        found.append("may ask where somebody is")
    if headers.get("Cross-Origin-Resource-Policy") not in ("same-origin", "cross-origin"):
        found.append("may be taken into other sites")
    kind, _, charset = headers.get("Content-Type", "").partition("; charset=")
    if response.content and (kind.startswith("text/") or kind.endswith("xml")) and charset.lower() != "utf-8":
        found.append(f"does not say how {kind} is encoded")
    return found


def keeps(name: str, response: HttpResponse) -> str:
    """What is wrong with how long an answer may be kept; empty where nothing is."""
    kept = response.headers["Cache-Control"]
    if name in ASKS_EACH_TIME:
        return "" if kept == ASKS_EACH_TIME[name] else kept
    is_for_all = "public" in kept or name == "reports:call_picture"
    return "" if is_for_all or "no-store" in kept else kept


@pytest.mark.parametrize("app", APPS)
def test_every_page_says_what_it_may_do_and_no_private_one_is_kept(scene: Scene, app: str) -> None:
    wrong = []

    for name, row in of_app(app).items():
        for role, answer in zip(ROLES, row.get, strict=True):
            if answer == 200:
                response = scene.clients[role].get(scene.addresses()[name])
                if response.streaming:
                    response = HttpResponse(headers=dict(response.headers))
                wrong += [(name, role, fault) for fault in faults_of(name, response)]
                if fault := keeps(name, response):
                    wrong.append((name, role, f"kept as {fault}"))
                break

    assert wrong == []


@pytest.mark.parametrize("address", ["/no/such/page/", "/static/css/variables.css", "/patterns/", "/admin/"])
def test_errors_files_and_ways_elsewhere_say_it_too(client: Client, db: None, address: str) -> None:
    response = client.get(address)

    if response.streaming:
        response.close()
    assert response.status_code in (200, 302, 404)
    assert response.headers["Content-Security-Policy"] == POLICY
    assert response.headers["X-Content-Type-Options"] == "nosniff"


@pytest.mark.django_db
@pytest.mark.parametrize("address", ["/", "/patterns/", "/static/css/variables.css", "/api/v1/patterns"])
def test_a_request_is_never_sent_back_to_who_sent_it(client: Client, address: str) -> None:
    response = client.trace(address, headers={"X-Secret": "wool"})

    assert (response.status_code, response.content) == (405, b"")


@override_settings(SECURE_SSL_REDIRECT=True)
def test_the_way_to_https_says_it_too(client: Client) -> None:
    response = client.get("/patterns/")

    assert (response.status_code, response.headers["Location"]) == (301, "https://testserver/patterns/")
    assert response.headers["Content-Security-Policy"] == POLICY


def test_only_public_documents_are_open_to_scripts_of_other_sites(scene: Scene) -> None:
    client = scene.clients["designer"]
    opened = {
        name: client.get(address, headers={"Origin": "https://elsewhere.example"}).headers.get(
            "Access-Control-Allow-Origin"
        )
        for name, address in scene.addresses().items()
        if name.startswith(("errata:", "patterns:", "reports:", "rounds:", "people:"))
    }

    assert {name: said for name, said in opened.items() if said} == {
        "errata:document": "*",
        "errata:feed": "*",
        "errata:text": "*",
        "errata:erratum_text": "*",
    }


def test_cookies_of_a_served_installation_are_this_hosts_alone(settings_with: Callable[..., Any]) -> None:  # noqa: F811
    names = (
        "SESSION_COOKIE_NAME",
        "CSRF_COOKIE_NAME",
        "COOKIE_PREFIX",
        "SESSION_COOKIE_SECURE",
        "CSRF_COOKIE_SECURE",
    )
    served = {
        "DATABASE_URL": "postgres://a:b@127.0.0.1:1/nowhere",
        "REDIS_URL": "redis://127.0.0.1:1/0",
        "SECRET_KEY": "0123456789-abcdefghijklmnopqrstuvwxyz-ABCDEFGHIJKLMNOPQRSTUVWXYZ",
        "ALLOWED_HOSTS": "testround.example.org",
        "SITE_URL": "https://testround.example.org",
    }

    by_https = settings_with(*names, **served)
    without = settings_with(*names, **served, TESTROUND_HTTPS="false")

    assert by_https == {
        "SESSION_COOKIE_NAME": "__Host-sessionid",
        "CSRF_COOKIE_NAME": "__Host-csrftoken",
        "COOKIE_PREFIX": "__Host-",
        "SESSION_COOKIE_SECURE": True,
        "CSRF_COOKIE_SECURE": True,
    }
    assert (without["SESSION_COOKIE_NAME"], without["COOKIE_PREFIX"]) == ("sessionid", "")


SERVED_COOKIES = """
import json, django
from django.conf import settings
from testround import settings as ours
ours.SESSION_COOKIE_SECURE = ours.CSRF_COOKIE_SECURE = True
ours.COOKIE_PREFIX = "__Host-"
ours.SESSION_COOKIE_NAME, ours.CSRF_COOKIE_NAME = "__Host-sessionid", "__Host-csrftoken"
django.setup()
from testround.people.messages import HostCookie
print(json.dumps(HostCookie.cookie_name))
"""


def test_words_to_the_next_page_wait_in_such_a_cookie_too() -> None:
    told = subprocess.run(
        [sys.executable, "-c", SERVED_COOKIES],
        env={"DJANGO_SETTINGS_MODULE": "testround.settings", "PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        check=True,
    )

    assert json.loads(told.stdout) == "__Host-messages"


@pytest.mark.django_db
def test_the_cookie_that_says_who_somebody_is_cannot_be_read_by_scripts_or_sent_from_other_sites(
    client: Client,
) -> None:
    client.post(reverse("people:preferences"), {"units": "in", "tools": "us", "terms": "uk"})
    client.get("/account/login/")
    session, token = client.cookies["sessionid"], client.cookies["csrftoken"]

    assert (session["httponly"], session["samesite"], session["path"]) == (True, "Lax", "/")
    assert (token["samesite"], token["path"]) == ("Lax", "/")
    assert (session["domain"], token["domain"]) == ("", "")
