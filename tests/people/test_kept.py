"""Parts of pages that are kept: made once for all who read the same in the same way, and nobody's own."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.cache import cache
from django.http import HttpRequest
from django.template import Context, Template
from django.test import RequestFactory
from django.utils import timezone, translation

from testround.people.kept import Kept, kept, kept_part


@pytest.fixture(autouse=True)
def nothing_kept() -> None:
    cache.clear()


@pytest.fixture
def request_(rf: RequestFactory) -> HttpRequest:
    request = rf.get("/")
    request.session = {}
    return request


def test_a_part_is_made_once_and_then_not_even_what_it_needs_is_asked_for(request_: HttpRequest) -> None:
    asked = []
    template = Template("{% load kept %}<p>{% kept place %}{{ figure }} cm{% endkept %}</p>")
    place = kept(request_, "part", 1)

    pages = [
        template.render(Context({"place": place, "figure": lambda: asked.append(1) or len(asked)}))
        for _ in range(2)
    ]

    assert pages == ["<p>1 cm</p>"] * 2
    assert asked == [1]


def test_each_part_reader_language_and_clock_has_a_place_of_its_own(rf: RequestFactory) -> None:
    def asked(units: str = "cm") -> HttpRequest:
        request = rf.get("/")
        request.session = {"shown": {"units": units}}
        return request

    places = [kept(asked(), "part", 1), kept(asked(), "part", 2), kept(asked(), "other", 1)]
    places.append(kept(asked("in"), "part", 1))
    with translation.override("de"):
        places.append(kept(asked(), "part", 1))
    with timezone.override("Asia/Tokyo"):
        places.append(kept(asked(), "part", 1))

    assert len({place.name for place in places}) == 6
    assert kept(asked(), "part", 1).name == places[0].name


def test_what_changed_while_it_was_made_is_shown_and_not_kept() -> None:
    place = Kept("part:changing", holds=lambda: False)

    assert [kept_part(place, lambda said=said: said) for said in ("one", "two")] == ["one", "two"]


def test_the_token_of_a_form_is_not_kept_for_others() -> None:
    with pytest.raises(ValueError, match="one person's"):
        kept_part(Kept("part:form", lambda: True), lambda: '<input name="csrfmiddlewaretoken">')


def test_whoever_changes_the_templates_sees_what_they_say_now(settings: Any) -> None:
    settings.DEBUG = True
    place = Kept("part:changed", lambda: True)

    assert [kept_part(place, lambda said=said: said) for said in ("one", "two")] == ["one", "two"]
