"""Published pages as caches keep them: one copy for everybody, which is asked for again at little cost."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.core.cache import cache
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from testround.errata import public_views
from testround.errata.models import Erratum
from testround.errata.services import erratum_publish, finding_accept
from testround.people.models import User
from testround.rounds.models import Round

PAGES = ("list", "edition", "erratum", "embed", "pdf", "document", "feed", "text", "erratum_text")


def address(page: str, round_: Round) -> str:
    pattern = round_.edition.pattern.code
    besides = {"erratum": [1], "erratum_text": [1], "edition": [round_.edition_id]}
    return reverse(f"errata:{page}", args=[pattern, *besides.get(page, [])])


@pytest.fixture
def published(tested: Round, designer: User) -> Erratum:
    draft = finding_accept(round=tested, finding_ids=["printed-count:back_sts"], by=designer)
    return erratum_publish(erratum=draft, by=designer)


@pytest.mark.parametrize("page", PAGES)
def test_any_cache_may_keep_a_published_page_for_a_minute_and_then_asks_again(
    client: Client, tested: Round, published: Erratum, page: str
) -> None:
    response = client.get(address(page, tested))

    assert sorted(response["Cache-Control"].split(", ")) == ["max-age=60", "must-revalidate", "public"]
    assert response["Vary"] == "Accept-Language"
    assert response["ETag"].startswith('"')
    assert dict(response.cookies) == {}


@pytest.mark.parametrize("page", PAGES)
def test_who_has_a_page_already_costs_two_queries_and_for_a_frame_one_more(
    client: Client, tested: Round, published: Erratum, page: str, django_assert_num_queries
) -> None:
    first = client.get(address(page, tested))

    # Which sites may frame a page is said with every answer, also with one that has no page in it.
    with django_assert_num_queries(3 if page == "embed" else 2):
        again = client.get(address(page, tested), headers={"If-None-Match": first["ETag"]})

    assert (again.status_code, again.content, again["ETag"]) == (304, b"", first["ETag"])
    assert sorted(again["Cache-Control"].split(", ")) == ["max-age=60", "must-revalidate", "public"]
    assert again["Vary"] == "Accept-Language"


@pytest.mark.parametrize("page", PAGES)
def test_what_one_reader_asked_for_is_ready_for_the_next_one(
    tested: Round, published: Erratum, page: str, django_assert_num_queries
) -> None:
    first = Client().get(address(page, tested), {"units": "in"})

    with django_assert_num_queries(3 if page == "embed" else 2):
        next_one = Client().get(address(page, tested), {"units": "in"})

    assert next_one.status_code == 200
    assert next_one.content == first.content
    assert headers(next_one) == headers(first)


def headers(response: HttpResponse) -> dict[str, str]:
    """All but the one by which each request is told from every other."""
    return {name: value for name, value in response.headers.items() if name != "X-Request-ID"}


def test_an_answer_that_was_made_while_an_erratum_came_out_is_not_kept(
    client: Client, tested: Round, published: Erratum, designer: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    draft = finding_accept(round=tested, finding_ids=["finished-size:body_length"], by=designer)
    read = public_views.public_errata
    before = client.get(address("list", tested))
    cache.clear()

    def publish_then_read(code: str):
        erratum_publish(erratum=draft, by=designer)
        return read(code)

    with monkeypatch.context() as meanwhile:
        meanwhile.setattr(public_views, "public_errata", publish_then_read)
        torn = client.get(address("list", tested))

    # It says more than its name, which is the one of before; nobody else gets it.
    assert torn["ETag"] == before["ETag"]
    after = client.get(address("list", tested))
    assert "2 corrections in all." in after.content.decode()


@pytest.mark.parametrize(
    "query", [{"size": "XXL"}, {"nonsense": "1"}, {"units": "furlong"}, {"edition": "999"}]
)
def test_what_is_asked_for_that_there_is_not_takes_no_room(
    client: Client, tested: Round, published: Erratum, query: dict[str, str], django_assert_num_queries
) -> None:
    client.get(address("list", tested), query)

    # Made anew: more than its name.
    with django_assert_num_queries(5):
        client.get(address("list", tested), query)


@pytest.mark.parametrize("page", ["list", "edition", "embed", "pdf", "document", "feed", "text"])
def test_a_new_erratum_gives_the_list_another_name(
    client: Client, tested: Round, published: Erratum, designer: User, page: str
) -> None:
    first = client.get(address(page, tested))
    draft = finding_accept(round=tested, finding_ids=["finished-size:body_length"], by=designer)

    while_draft = client.get(address(page, tested), headers={"If-None-Match": first["ETag"]})
    erratum_publish(erratum=draft, by=designer)
    after = client.get(address(page, tested), headers={"If-None-Match": first["ETag"]})

    assert (while_draft.status_code, after.status_code) == (304, 200)


@pytest.mark.parametrize("page", PAGES)
def test_another_choice_and_another_language_are_other_answers(
    client: Client, tested: Round, published: Erratum, page: str
) -> None:
    asked = [
        ({}, "en"),
        ({"units": "in"}, "en"),
        ({"terms": "uk"}, "en"),
        ({}, "de"),
        ({"language": "de"}, "en"),
    ]

    names = [
        client.get(address(page, tested), query, headers={"Accept-Language": language})["ETag"]
        for query, language in asked
    ]

    assert len(set(names)) == len(asked)


@pytest.mark.parametrize("page", PAGES)
def test_whoever_asks_gets_the_same_bytes(
    client: Client,
    signed_in: Callable[[User], Client],
    designer: User,
    tested: Round,
    published: Erratum,
    page: str,
) -> None:
    """Not by who they are, nor by what they chose for the other pages, nor by a cookie of their own making."""
    User.objects.filter(pk=designer.pk).update(units="in", terms="uk", language="de")
    choosy = Client()
    choosy.post(
        reverse("people:preferences"), {"units": "in", "tools": "us", "terms": "uk", "language": "de"}
    )
    signed = signed_in(designer)
    made_up = Client(headers={"Cookie": "sessionid=made-up; csrftoken=x; messages=y"})

    answers = [each.get(address(page, tested)) for each in (Client(), signed, choosy, made_up)]

    if page != "pdf":  # a PDF has its own moment of making in it
        assert len({answer.content for answer in answers}) == 1
    assert len({answer["ETag"] for answer in answers}) == 1
    assert not any(answer.cookies for answer in answers)


def test_who_was_signed_in_still_is(
    signed_in: Callable[[User], Client], designer: User, tested: Round, published: Erratum
) -> None:
    client = signed_in(designer)

    client.get(address("list", tested))

    assert client.get(reverse("patterns:list")).status_code == 200


def test_a_language_of_the_address_is_spoken_whatever_the_browser_asks_for(
    client: Client, tested: Round, published: Erratum
) -> None:
    german = client.get(address("list", tested), {"language": "de"}, headers={"Accept-Language": "en"})
    unknown = client.get(address("list", tested), {"language": "xx"}, headers={"Accept-Language": "en"})

    assert (german["Content-Language"], unknown["Content-Language"]) == ("de", "en-gb")
    assert '<html lang="de">' in german.content.decode()


def test_what_there_is_not_is_asked_for_again_each_time(client: Client, tested: Round) -> None:
    response = client.get(reverse("errata:erratum", args=[tested.edition.pattern.code, 1]))

    assert (response.status_code, response["Cache-Control"]) == (404, "no-cache")
