"""What all of the API has in common: tokens, problems, paging, keys, tags, limits."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from django.utils import timezone

from testround.api.models import Answered, Token
from testround.api.services import answers_forget, hash_of, token_make, token_of, token_revoke
from testround.patterns.models import Edition, Pattern
from testround.people.models import User
from tests.api.programs import Program, assert_costs_the_same, program_of

PATTERNS = "/patterns"


def problem(response: Any) -> tuple[int, str]:
    """Status and kind of a problem, which has the form of one."""
    assert response.headers["Content-Type"] == "application/problem+json", response.content
    document = response.json()
    assert document["status"] == response.status_code
    assert document["title"]
    assert document["detail"]
    return response.status_code, document["type"].rpartition("#problem-")[2]


def many_patterns(owner: User, n: int) -> list[str]:
    return [Pattern.objects.create(owner=owner, title=f"Pattern {i}").code for i in range(n)]


# -- tokens -------------------------------------------------------------------------------------------------


def test_a_token_is_told_once_and_only_its_hash_is_kept(designer: User, mailoutbox: list[Any]) -> None:
    token, secret = token_make(
        user=designer, name="Shop", scopes=["patterns:read"], expires=timezone.now() + dt.timedelta(days=30)
    )

    assert secret.startswith("testround_")
    assert len(secret) > 50
    assert token.secret_hash == hash_of(secret)
    assert secret not in json.dumps(list(Token.objects.values()), default=str)
    assert token_of(secret) == token


@pytest.mark.parametrize("days", [0, -1, 366])
def test_a_token_that_holds_for_more_than_a_year_or_not_at_all_is_not_made(designer: User, days: int) -> None:
    with pytest.raises(ValueError, match="within a year"):
        token_make(user=designer, name="Shop", scopes=[], expires=timezone.now() + dt.timedelta(days=days))


def test_a_person_is_told_by_mail_that_a_token_was_made(
    designer: User, mailoutbox: list[Any], django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        _token, secret = token_make(
            user=designer,
            name="Shop",
            scopes=["patterns:read"],
            expires=timezone.now() + dt.timedelta(days=30),
        )

    (mail,) = mailoutbox
    assert mail.to == [designer.email]
    assert "Shop" in mail.body
    assert secret not in mail.body


def test_a_token_that_has_run_out_was_revoked_or_was_never_given_is_refused(designer: User) -> None:
    token, secret = token_make(
        user=designer, name="Shop", scopes=["patterns:read"], expires=timezone.now() + dt.timedelta(days=1)
    )
    run_out = program_of(designer, expires=dt.timedelta(seconds=-1))

    assert Program(secret).get(PATTERNS).status_code == 200
    token_revoke(token=token)

    assert [problem(program.get(PATTERNS)) for program in (Program(secret), run_out, Program("nothing"))] == [
        (401, "sign-in")
    ] * 3
    assert 'error="invalid_token"' in Program(secret).get(PATTERNS).headers["WWW-Authenticate"]


def test_a_token_of_somebody_whose_account_is_closed_opens_nothing(designer: User) -> None:
    program = program_of(designer)
    User.objects.filter(pk=designer.pk).update(is_active=False)

    assert problem(program.get(PATTERNS)) == (401, "sign-in")


def test_that_a_token_was_used_is_kept_to_the_hour(designer: User) -> None:
    _token, secret = token_make(
        user=designer, name="Shop", scopes=[], expires=timezone.now() + dt.timedelta(days=30)
    )
    now = timezone.now()

    token_of(secret, now=now)
    token_of(secret, now=now + dt.timedelta(minutes=59))
    assert Token.objects.get().last_used == now

    token_of(secret, now=now + dt.timedelta(minutes=61))
    assert Token.objects.get().last_used == now + dt.timedelta(minutes=61)


def test_a_session_opens_nothing_of_the_api(client: Client, designer: User) -> None:
    client.force_login(designer)

    answer = client.get("/api/v1/patterns")

    assert problem(answer) == (401, "sign-in")
    assert "Cookie" not in answer.headers.get("Vary", "")


def test_a_missing_scope_is_named(designer: User) -> None:
    answer = program_of(designer, ["patterns:write"]).get(PATTERNS)

    assert problem(answer) == (403, "scope-missing")
    assert answer.json()["scope"] == "patterns:read"


# -- problems -----------------------------------------------------------------------------------------------


def test_every_place_that_has_something_to_mend_is_pointed_at(
    program: Program, little_top: dict[str, Any]
) -> None:
    little_top["numbers"][1]["formula"] = "multiple(32 * body.row, of=2"
    little_top["sizes"] = ["XS", "S", 3]

    answer = program.post(PATTERNS, {"sheet": little_top, "terms": "au", "colour": "blue"})
    sheet = program.post(PATTERNS, {"sheet": little_top})

    assert problem(answer) == problem(sheet) == (422, "invalid")
    assert [error["pointer"] for error in answer.json()["errors"]] == ["/colour"]
    assert {"/sheet/sizes/2", "/sheet/numbers/1/formula"} <= {
        error["pointer"] for error in sheet.json()["errors"]
    }
    assert Pattern.objects.count() == 0


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        (b"{", (400, "malformed")),
        (b"\xff\xfe", (400, "malformed")),
        (b'{"sheet": NaN}', (400, "malformed")),
        (b'{"sheet": 1e999}', (400, "malformed")),
        (b'{"terms": "us", "terms": "uk"}', (400, "malformed")),
        (b'{"terms": "\\u0000"}', (400, "malformed")),
        (b'{"terms": "\\ud800"}', (400, "malformed")),
        (b"[" * 100_000, (400, "malformed")),
        (b"[" * 80 + b"]" * 80, (400, "malformed")),
        (b'{"a": "' + b"x" * 4_200_000 + b'"}', (413, "too-large")),
        (b"[]", (422, "invalid")),
        (b"null", (422, "invalid")),
        (b"", (422, "invalid")),
    ],
    ids=lambda value: repr(value)[:24],
)
def test_a_body_that_cannot_be_read_is_refused(
    program: Program, body: bytes, expected: tuple[int, str]
) -> None:
    assert problem(program.post(PATTERNS, body)) == expected


def test_what_the_address_method_or_media_type_is_not_is_said_as_a_problem(program: Program) -> None:
    assert problem(program.get("/nothing-here")) == (404, "not-found")
    assert problem(program.get("/patterns/no-such-one")) == (404, "not-found")
    assert problem(program.send("PUT", PATTERNS)) == (405, "method-not-allowed")
    assert problem(program.send("OPTIONS", PATTERNS)) == (405, "method-not-allowed")
    assert problem(program.get(PATTERNS, Accept="text/html")) == (406, "not-acceptable")
    assert problem(program.post(PATTERNS, b"<a/>", **{"Content-Type": "text/xml"})) == (415, "media-type")


def test_a_fault_of_the_server_is_a_problem_too(program: Program, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: Any) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("testround.api.v1.patterns.patterns_shown", broken)
    program.client.raise_request_exception = False

    assert problem(program.get(PATTERNS)) == (500, "server-error")


def test_the_sentences_are_in_the_language_of_the_person_unless_the_program_asks(designer: User) -> None:
    designer.language = "de"
    designer.save()

    answer = program_of(designer).get("/patterns/no-such-one")
    asked = program_of(designer).get("/patterns/no-such-one", **{"Accept-Language": "en"})

    assert (answer.headers["Content-Language"], asked.headers["Content-Language"]) == ("de", "en-gb")
    assert answer.json()["title"] == asked.json()["title"] == "There is no such thing"


# -- pages --------------------------------------------------------------------------------------------------


def test_a_list_is_read_page_by_page_and_what_is_added_meanwhile_moves_nothing(
    program: Program, designer: User
) -> None:
    codes = many_patterns(designer, 5)
    first = program.get(f"{PATTERNS}?page_size=2")
    many_patterns(designer, 1)
    read, ways = [], []

    page = first
    while True:
        read += [pattern["code"] for pattern in page.json()["results"]]
        ways.append(page.headers.get("Link", "").count("rel="))
        if not page.json()["next"]:
            break
        page = program.get(page.json()["next"].removeprefix("http://127.0.0.1:8000"))

    assert read == codes[::-1]
    assert ways == [1, 2, 1]


@pytest.mark.parametrize(
    "query", ["page_size=0", "page_size=201", "page_size=two", "cursor=rubbish", "cursor=cD1hYmM%3D"]
)
def test_a_page_that_cannot_be_asked_for_is_refused_by_its_parameter(program: Program, query: str) -> None:
    answer = program.get(f"{PATTERNS}?{query}")

    assert problem(answer) == (422, "invalid")
    assert [error["parameter"] for error in answer.json()["errors"]] == [query.partition("=")[0]]


def test_links_bear_the_name_of_the_site_whatever_name_the_request_bore(
    program: Program, designer: User, settings: Any
) -> None:
    settings.SITE_URL = "https://testround.example.org"
    settings.ALLOWED_HOSTS = ["*"]
    many_patterns(designer, 2)

    answer = program.get(f"{PATTERNS}?page_size=1", Host="evil.example")

    assert answer.json()["next"].startswith("https://testround.example.org/api/v1/patterns?")


def test_a_list_costs_the_same_for_few_patterns_and_for_many(
    program: Program, designer: User, edition: Edition
) -> None:
    def grow() -> None:
        for code in many_patterns(designer, 3):
            edition.pk, edition.pattern = None, Pattern.objects.get(code=code)
            edition.save()

    assert_costs_the_same(lambda: program.get(PATTERNS), grow)


# -- once ---------------------------------------------------------------------------------------------------


def test_the_same_post_under_the_same_key_is_done_once_and_answered_alike(
    program: Program, little_top: dict[str, Any]
) -> None:
    first = program.post(PATTERNS, {"sheet": little_top}, key="one")
    again = program.post(PATTERNS, json.dumps({"sheet": little_top}, indent=3).encode(), key="one")

    assert (first.status_code, again.status_code) == (201, 201)
    assert (first.headers.get("Idempotency-Replayed"), again.headers["Idempotency-Replayed"]) == (
        None,
        "true",
    )
    assert first.content == again.content
    assert first.headers["Location"] == again.headers["Location"]
    assert Pattern.objects.count() == 1


def test_another_body_or_address_under_the_same_key_is_refused(
    program: Program, little_top: dict[str, Any]
) -> None:
    program.post(PATTERNS, {"sheet": little_top}, key="one")

    other = program.post(PATTERNS, {"sheet": {**little_top, "title": "Other top"}}, key="one")
    elsewhere = program.post(f"{PATTERNS}?x=1", {"sheet": little_top}, key="one")

    assert problem(other) == problem(elsewhere) == (422, "idempotency-key-reused")
    assert Pattern.objects.count() == 1


def test_two_people_may_use_the_same_key(
    program: Program, other_designer: User, little_top: dict[str, Any]
) -> None:
    program.post(PATTERNS, {"sheet": little_top}, key="one")

    other = program_of(other_designer).post(PATTERNS, {"sheet": little_top}, key="one")

    assert other.status_code == 201
    assert Pattern.objects.count() == 2


def test_what_was_refused_may_be_sent_again_mended_under_its_key(
    program: Program, little_top: dict[str, Any]
) -> None:
    refused = program.post(PATTERNS, {"sheet": {**little_top, "sizes": 3}}, key="one")
    mended = program.post(PATTERNS, {"sheet": little_top}, key="one")

    assert (refused.status_code, mended.status_code) == (422, 201)


def test_the_key_is_kept_with_the_work_or_not_at_all(
    program: Program, little_top: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    def dies(*_: Any) -> None:
        raise SystemError

    with monkeypatch.context() as patched:
        patched.setattr("testround.api.once.rendered", dies)
        with pytest.raises(SystemError):
            program.post(PATTERNS, {"sheet": little_top}, key="one")
    assert (Pattern.objects.count(), Answered.objects.count()) == (0, 0)

    assert program.post(PATTERNS, {"sheet": little_top}, key="one").status_code == 201
    assert (Pattern.objects.count(), Answered.objects.count()) == (1, 1)


@pytest.mark.parametrize("key", ["", " ", "ä", "x" * 256])
def test_a_post_without_a_key_that_can_be_one_is_refused(program: Program, key: str) -> None:
    assert problem(program.send("POST", PATTERNS, {}, **{"Idempotency-Key": key})) == (
        400,
        "idempotency-key-missing",
    )


def test_answers_are_kept_for_a_day(program: Program, little_top: dict[str, Any]) -> None:
    program.post(PATTERNS, {"sheet": little_top}, key="one")
    made = Answered.objects.get().created

    answers_forget(now=made + dt.timedelta(hours=24))
    assert Answered.objects.count() == 1

    answers_forget(now=made + dt.timedelta(hours=24, seconds=1))
    assert Answered.objects.count() == 0


# -- tags ---------------------------------------------------------------------------------------------------


def test_what_is_known_already_is_not_sent_again(program: Program, edition: Edition) -> None:
    path = f"{PATTERNS}/{edition.pattern.code}"
    tag = program.get(path).headers["ETag"]

    known = program.get(path, **{"If-None-Match": f'"other", {tag}'})
    other = program.get(path, **{"If-None-Match": '"other"'})

    assert (known.status_code, known.content, known.headers["ETag"]) == (304, b"", tag)
    assert other.status_code == 200


def test_a_change_holds_only_against_what_was_read(program: Program, edition: Edition) -> None:
    path = f"{PATTERNS}/{edition.pattern.code}"
    read = program.get(path).headers["ETag"]

    first = program.patch(path, {"frame_origins": ["https://www.example.org"]}, match=read)
    second = program.patch(path, {"frame_origins": []}, match=read)
    third = program.patch(path, {"frame_origins": []}, match=f"W/{first.headers['ETag']}")

    assert first.status_code == 200
    assert program.get(path).headers["ETag"] == third.headers["ETag"] == read
    assert problem(second) == (412, "changed")
    assert second.headers["ETag"] == first.headers["ETag"]
    assert third.status_code == 200


def test_a_change_without_what_it_was_made_from_is_refused(program: Program, edition: Edition) -> None:
    path = f"{PATTERNS}/{edition.pattern.code}"

    assert problem(program.send("PATCH", path, {})) == (428, "if-match-missing")
    assert problem(program.send("PATCH", path, {}, **{"If-Match": "no quotes"})) == (400, "malformed")


# -- limits -------------------------------------------------------------------------------------------------


def test_requests_are_counted_by_token_and_refused_beyond_the_limit(designer: User, settings: Any) -> None:
    settings.API_REQUESTS_PER_TOKEN = 2
    cache.clear()
    program, other = program_of(designer), program_of(designer)

    answers = [program.get(PATTERNS) for _ in range(3)]

    assert [answer.status_code for answer in answers] == [200, 200, 429]
    assert problem(answers[2]) == (429, "too-many-requests")
    assert [answer.headers["RateLimit"].partition(";t=")[0] for answer in answers] == [
        '"token";r=1',
        '"token";r=0',
        '"token";r=0',
    ]
    assert answers[0].headers["RateLimit-Policy"] == '"token";q=2;w=60'
    assert 1 <= int(answers[2].headers["Retry-After"]) <= 60
    assert other.get(PATTERNS).status_code == 200


def test_who_sends_no_good_token_is_counted_by_network(db: None, settings: Any) -> None:
    settings.API_REQUESTS_PER_NETWORK = 2
    cache.clear()

    answers = [Program(secret).get(PATTERNS).status_code for secret in ("", "guess", "guess-again", "")]

    assert answers == [401, 401, 429, 429]


def test_what_comes_without_an_address_is_answered_and_counted_as_from_one_network(
    db: None, settings: Any
) -> None:
    settings.API_REQUESTS_PER_NETWORK = 2
    cache.clear()
    # As by a socket of the machine's own.
    client = Client(REMOTE_ADDR="")

    answers = [client.get("/api/v1/calls/nowhere") for _ in range(3)]

    assert [problem(answer) for answer in answers] == [
        (404, "not-found"),
        (404, "not-found"),
        (429, "too-many-requests"),
    ]
