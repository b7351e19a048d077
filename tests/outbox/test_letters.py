"""One letter, two forms: the same words in the same order, as text and as HTML that fetches nothing."""

from __future__ import annotations

import re
from collections.abc import Callable
from html.parser import HTMLParser

import pytest
from django.utils import translation

from testround.outbox.letters import (
    Action,
    Facts,
    Letter,
    Link,
    Words,
    as_html,
    as_text,
    from_data,
    letter,
    letter_from_text,
    to_data,
)

PLACE = letter(
    "A place for you",
    "Hello Willow,",
    "Fen asks you to test Fenlight & more <soon>.",
    Facts((("Size", "S"), ("Yarn", "Wool, supplied"))),
    Action("Read the terms", "https://rounds.example.org/rounds/join/abc/?a=1&b=2"),
    "It works once. More at https://rounds.example.org/help.",
    Link("More time? I need until…", "https://rounds.example.org/rounds/until/t/"),
    why="Fen gave this address.",
)


class Read(HTMLParser):
    """What a person reads of an HTML page, the addresses of its links, and the tags it is made of."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.links: list[str] = []
        self.tags: set[str] = set()
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        if tag == "a":
            self.links.append(dict(attrs)["href"] or "")

    def handle_data(self, data: str) -> None:
        if data.strip():
            self.words.append(" ".join(data.split()))


def test_the_text_form_has_each_address_on_a_line_of_its_own_after_what_it_is_for() -> None:
    assert as_text(PLACE, stop="https://rounds.example.org/mail/stop/t/") == (
        "Hello Willow,\n\n"
        "Fen asks you to test Fenlight & more <soon>.\n\n"
        "Size: S\nYarn: Wool, supplied\n\n"
        "Read the terms:\nhttps://rounds.example.org/rounds/join/abc/?a=1&b=2\n\n"
        "It works once. More at https://rounds.example.org/help.\n\n"
        "More time? I need until…:\nhttps://rounds.example.org/rounds/until/t/\n\n"
        "-- \n"
        "Fen gave this address.\n"
        "No more mails of this kind: https://rounds.example.org/mail/stop/t/\n"
        "Testround\n"
    )


def test_the_html_form_says_the_same_in_the_same_order() -> None:
    read = Read(as_html(PLACE, stop="https://rounds.example.org/mail/stop/t/"))

    assert read.words == [
        "A place for you",
        "Testround",
        "Hello Willow,",
        "Fen asks you to test Fenlight & more <soon>.",
        "Size:",
        "S",
        "Yarn:",
        "Wool, supplied",
        "Read the terms",
        "It works once. More at",
        "https://rounds.example.org/help",
        ".",
        "More time? I need until…",
        "Fen gave this address.",
        "No more mails of this kind",
    ]
    assert read.links == [
        "https://rounds.example.org/rounds/join/abc/?a=1&b=2",
        "https://rounds.example.org/help",
        "https://rounds.example.org/rounds/until/t/",
        "https://rounds.example.org/mail/stop/t/",
    ]


def test_the_html_form_has_no_pictures_no_scripts_and_nothing_to_fetch() -> None:
    html = as_html(PLACE)

    assert Read(html).tags & {"img", "script", "style", "link", "iframe", "form", "table"} == set()
    assert re.findall(r"(?:src|background|url\()", html) == []


@pytest.mark.parametrize("nasty", ['<img src=x onerror="alert(1)">', "</p><script>alert(1)</script>"])
def test_what_people_wrote_is_never_markup(nasty: str) -> None:
    html = as_html(
        letter(nasty, nasty, Facts(((nasty, nasty),)), Action(nasty, "https://a.example/"), why=nasty)
    )

    assert {"img", "script"} & Read(html).tags == set()


def test_only_addresses_of_the_web_become_links() -> None:
    html = as_html(
        letter("Hello", "javascript:alert(1) ftp://a.example http://b.example/x, mailto:c@d.example")
    )

    assert Read(html).links == ["http://b.example/x"]


def test_a_letter_is_kept_as_plain_data_and_comes_back_whole() -> None:
    assert from_data(to_data(PLACE)) == PLACE


def test_a_letter_asks_for_one_action() -> None:
    with pytest.raises(ValueError, match="one action"):
        letter("Two", Action("Do this", "https://a.example/"), Action("And that", "https://b.example/"))


def test_a_letter_written_as_text_keeps_its_words_and_its_one_address_is_the_action() -> None:
    text = "Hello,\nsecond line.\n\nHere:\n\nhttps://a.example/x/\n\nGoodbye.\n-- \nBecause of this.\nTestround\n"

    made = letter_from_text("Hi", text)

    assert made == Letter(
        "Hi",
        (
            Words("Hello,\nsecond line."),
            Words("Here:"),
            Action("", "https://a.example/x/"),
            Words("Goodbye."),
        ),
        "Because of this.",
    )
    assert as_text(made) == (
        "Hello,\nsecond line.\n\nHere:\n\nhttps://a.example/x/\n\nGoodbye.\n\n-- \nBecause of this.\nTestround\n"
    )
    assert "Open the page" in Read(as_html(made)).words


def test_of_several_addresses_the_one_with_words_is_the_action() -> None:
    made = letter_from_text(
        "Hi", "One:\nhttps://a.example/\nTwo:\nhttps://b.example/", {"https://b.example/": "Confirm"}
    )

    assert made.parts == (
        Words("One:"),
        Link("", "https://a.example/"),
        Words("Two:"),
        Action("Confirm", "https://b.example/"),
    )


def test_what_is_put_around_the_words_is_in_the_language_they_were_written_in(
    german: Callable[[dict[str, str]], None],
) -> None:
    german({"Open the page": "Seite öffnen", "No more mails of this kind": "Keine solchen Mails mehr"})
    with translation.override("de"):
        written = letter("Hallo", "Guten Tag.", Action("", "https://rounds.example.org/a/"))

    with translation.override("en-gb"):
        html = as_html(from_data(to_data(written)), stop="https://rounds.example.org/stop/")

    assert '<html lang="de">' in html
    assert ">Seite öffnen</a>" in html
    assert ">Keine solchen Mails mehr</a>" in html


def test_a_letter_from_before_its_language_was_kept_is_in_the_programs_own() -> None:
    kept = to_data(PLACE)
    del kept["language"]

    assert from_data(kept).language == "en-gb"
