"""Parts of pages that are kept: made once for all who read the same in the same way, and nobody's own."""

from __future__ import annotations

import re
import time
import uuid
import zlib
from typing import Any

import pytest
from django import forms
from django.core.cache import cache
from django.http import HttpRequest
from django.template import Context, RequestContext, Template
from django.test import RequestFactory
from django.utils import timezone, translation

from testround.people.kept import FRESH_KEY, KEPT_FOR_SECONDS, LARGE, TOKEN, Kept, fresh_key, kept, kept_part
from testround.rounds.forms.fields import press_key


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


def shown(place: Kept, text: str, times: int = 3) -> list[str]:
    """A part as it is made, as it is unpacked, and as it is at hand."""
    return [str(kept_part(place, lambda: text)) for _ in range(times)]


def test_a_large_part_is_at_hand_without_being_unpacked_again(monkeypatch: pytest.MonkeyPatch) -> None:
    place, text = Kept("part:large", holds=lambda: True), "large " * LARGE
    shown(place, text, times=2)
    monkeypatch.setattr(zlib, "decompress", lambda _packed: pytest.fail("it was unpacked"))

    assert shown(place, "another") == [text] * 3


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        pytest.param("small", KEPT_FOR_SECONDS, id="a small part"),
        pytest.param("large " * LARGE, 60, id="one that is kept for a minute"),
        pytest.param("large " * LARGE + FRESH_KEY, KEPT_FOR_SECONDS, id="one with what is its reader's own"),
    ],
)
def test_any_other_part_comes_from_the_cache_each_time(
    text: str, seconds: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = Kept("part:other", holds=lambda: True, seconds=seconds)
    shown(place, text, times=2)
    cache.clear()

    assert shown(place, "made anew", times=1) == ["made anew"]


def test_a_large_part_is_at_hand_for_no_longer_than_it_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    place = Kept("part:old", holds=lambda: True)
    shown(place, "old " * LARGE, times=2)
    cache.clear()
    later = time.monotonic() + KEPT_FOR_SECONDS + 1
    monkeypatch.setattr(time, "monotonic", lambda: later)

    assert shown(place, "new", times=1) == ["new"]


def test_what_changed_while_it_was_made_is_shown_and_not_kept() -> None:
    place = Kept("part:changing", holds=lambda: False)

    assert [kept_part(place, lambda said=said: said) for said in ("one", "two")] == ["one", "two"]


@pytest.mark.parametrize("given", ["", ' value="abc"', f' value="abc{TOKEN}"'])
def test_the_token_of_a_form_is_not_kept_for_others(given: str) -> None:
    with pytest.raises(ValueError, match="one person's"):
        kept_part(Kept("part:form", lambda: True), lambda: f'<input name="csrfmiddlewaretoken"{given}>')


FORM = Template(
    "{% load kept %}{% kept place %}<form>{% csrf_token %}{{ form }}</form><p>{{ said }}</p>{% endkept %}"
)


class Pressed(forms.Form):
    key = press_key()


def form_for(rf: RequestFactory, said: str = "") -> str:
    request = rf.get("/")
    request.session = {}
    place = kept(request, "form", needs=lambda: {"form": Pressed(), "said": said})
    return FORM.render(RequestContext(request, {"place": place}))


def in_gaps(page: str) -> tuple[str, uuid.UUID]:
    """The token and the key of the form on a page."""
    found = re.findall(r'value="([^"]*)"', page)
    assert len(found) == 2
    return found[0], uuid.UUID(found[1])


def test_a_form_that_is_kept_has_each_readers_own_token(rf: RequestFactory) -> None:
    made, kept_for_another = form_for(rf), form_for(rf)

    assert "csrfmiddlewaretoken" in made
    assert in_gaps(made)[0] != in_gaps(kept_for_another)[0]
    assert made.partition("csrf")[0] == kept_for_another.partition("csrf")[0]


def test_a_form_that_is_kept_has_a_key_of_its_own_every_time(rf: RequestFactory) -> None:
    keys = {in_gaps(form_for(rf))[1] for _ in range(5)}

    assert len(keys) == 5


def test_outside_of_what_is_kept_a_key_is_a_key() -> None:
    assert isinstance(fresh_key(), uuid.UUID)


def test_nobody_can_type_a_gap(rf: RequestFactory) -> None:
    page = form_for(rf, said="<token of reader> <key of form>")

    assert "&lt;token of reader&gt; &lt;key of form&gt;" in page


def test_a_part_without_a_name_is_made_each_time() -> None:
    template = Template("{% load kept %}{% kept place %}{{ figure }}{% endkept %}")

    assert [template.render(Context({"figure": n})) for n in (1, 2)] == ["1", "2"]


def test_whoever_changes_the_templates_sees_what_they_say_now(settings: Any) -> None:
    settings.DEBUG = True
    place = Kept("part:changed", lambda: True)

    assert [kept_part(place, lambda said=said: said) for said in ("one", "two")] == ["one", "two"]
