"""Published pages on a server with many readers: given for some seconds without asking the database."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from testround.errata.models import Erratum
from testround.errata.services import erratum_publish, finding_accept
from testround.people.models import User
from testround.rounds.models import Round
from tests.errata.test_public_caching import PAGES, address, headers, published  # noqa: F401

pytestmark = pytest.mark.usefixtures("for_five_seconds")


@pytest.fixture
def for_five_seconds(settings: Any) -> None:
    settings.PUBLISHED_UNASKED_SECONDS = 5


@pytest.mark.parametrize("page", [page for page in PAGES if page not in ("embed", "pdf")])
def test_what_was_just_read_is_read_again_without_the_database(
    client: Client,
    tested: Round,
    published: Erratum,  # noqa: F811
    page: str,
    django_assert_num_queries: Callable[..., Any],
) -> None:
    first = client.get(address(page, tested))

    with django_assert_num_queries(0):
        again = client.get(address(page, tested))
        known = client.get(address(page, tested), headers={"If-None-Match": first["ETag"]})

    assert (again.status_code, again.content, headers(again)) == (
        200,
        first.content,
        headers(first),
    )
    assert (known.status_code, known.content, known["ETag"]) == (304, b"", first["ETag"])


def test_each_reader_gets_their_own_language(client: Client, tested: Round, published: Erratum) -> None:  # noqa: F811
    english = client.get(address("list", tested), headers={"Accept-Language": "en"})
    german = client.get(address("list", tested), headers={"Accept-Language": "de"})

    assert (english["Content-Language"], german["Content-Language"]) == ("en-gb", "de")
    assert english.content != german.content


def test_an_erratum_that_is_published_is_there_at_once(
    client: Client,
    tested: Round,
    designer: User,
    published: Erratum,  # noqa: F811
    django_capture_on_commit_callbacks: Callable[..., Any],
) -> None:
    pages = reverse("errata:list", args=[tested.edition.pattern.code])
    assert "Erratum 2" not in client.get(pages).content.decode()
    client.get(pages)

    with django_capture_on_commit_callbacks(execute=True):
        draft = Erratum.objects.create(
            pattern=tested.edition.pattern, edition=tested.edition, place="Back", text="Work one row more."
        )
        erratum_publish(erratum=draft, by=designer)

    assert "Work one row more." in client.get(pages).content.decode()


def test_other_news_is_there_once_the_seconds_are_over(
    client: Client,
    tested: Round,
    published: Erratum,  # noqa: F811
) -> None:
    pages = reverse("errata:list", args=[tested.edition.pattern.code])
    before = client.get(pages).content
    type(tested.edition.pattern).objects.update(title="Another title")
    assert client.get(pages).content == before

    # As when they are over.
    cache.clear()

    assert "Another title" in client.get(pages).content.decode()


def test_what_nobody_could_have_understood_is_asked_for_every_time(
    client: Client,
    tested: Round,
    published: Erratum,  # noqa: F811
    django_assert_num_queries: Callable[..., Any],
) -> None:
    """Else a stranger could fill the cache with as many addresses as they can think of."""
    odd = address("erratum", tested) + "?nonsense=1"
    client.get(odd)

    with django_assert_num_queries(5):
        assert client.get(odd).status_code == 200


def test_what_is_not_there_is_not_kept(client: Client, tested: Round, designer: User) -> None:
    address_of_first = address("erratum", tested)
    assert client.get(address_of_first).status_code == 404

    draft = finding_accept(round=tested, finding_ids=["printed-count:back_sts"], by=designer)
    erratum_publish(erratum=draft, by=designer)

    assert client.get(address_of_first).status_code == 200
