from __future__ import annotations

import pytest

from testround.talk.likeness import likeness
from testround.talk.plain_text import linked


def a(address: str) -> str:
    return f'<a href="{address}" rel="nofollow noopener">{address}</a>'


@pytest.mark.parametrize(
    ("text", "html"),
    [
        ("Slip the first stitch.", "<p>Slip the first stitch.</p>"),
        ("One.\nTwo.\n\nThree.", "<p>One.<br>Two.</p><p>Three.</p>"),
        ("One.\r\nTwo.\r\n \r\nThree.", "<p>One.<br>Two.</p><p>Three.</p>"),
        ("", ""),
        ("  \n\n ", ""),
    ],
)
def test_lines_and_paragraphs_stay_as_they_were_written(text: str, html: str) -> None:
    assert linked(text) == html


@pytest.mark.parametrize(
    ("text", "html"),
    [
        ("See https://knit.example/slip", f"<p>See {a('https://knit.example/slip')}</p>"),
        ("http://knit.example", f"<p>{a('http://knit.example')}</p>"),
        ("It is at https://knit.example/slip.", f"<p>It is at {a('https://knit.example/slip')}.</p>"),
        ("(https://knit.example/slip)", f"<p>({a('https://knit.example/slip')})</p>"),
        ("https://knit.example/a_(b), too", f"<p>{a('https://knit.example/a_(b)')}, too</p>"),
        ("https://knit.example/?a=1&b=2!", f"<p>{a('https://knit.example/?a=1&amp;b=2')}!</p>"),
        (
            "https://a.example https://b.example:8080/x",
            f"<p>{a('https://a.example')} {a('https://b.example:8080/x')}</p>",
        ),
        ("HTTPS://KNIT.EXAMPLE", f"<p>{a('HTTPS://KNIT.EXAMPLE')}</p>"),
    ],
)
def test_an_address_of_the_web_becomes_a_link_without_the_stop_of_its_sentence(text: str, html: str) -> None:
    assert linked(text) == html


@pytest.mark.parametrize(
    "text",
    [
        "javascript:alert(1)",
        "data:text/html,hello",
        "ftp://knit.example/",
        "knit.example",
        "mailto:willow@example.org",
        "https://",
        "https:// knit.example",
        "https://[half",
        "https://knit.example:99999/",
        # What stands before the sign is a name, not the host: this leads to the other.
        "https://knit.example@other.example/",
    ],
)
def test_nothing_else_becomes_a_link(text: str) -> None:
    assert linked(text) == f"<p>{text}</p>"


@pytest.mark.parametrize(
    ("text", "html"),
    [
        ("<b>bold</b>", "<p>&lt;b&gt;bold&lt;/b&gt;</p>"),
        ("<script>alert(1)</script>", "<p>&lt;script&gt;alert(1)&lt;/script&gt;</p>"),
        ("k2 & p2", "<p>k2 &amp; p2</p>"),
        ("&lt;", "<p>&amp;lt;</p>"),
        (
            'https://knit.example/"onmouseover="alert(1)',
            f"<p>{a('https://knit.example/')}&quot;onmouseover=&quot;alert(1)</p>",
        ),
        ("https://knit.example/<b>", f"<p>{a('https://knit.example/')}&lt;b&gt;</p>"),
        ("https://knit.example/'x", f"<p>{a('https://knit.example/')}&#x27;x</p>"),
    ],
)
def test_nobody_writes_html(text: str, html: str) -> None:
    assert linked(text) == html


def test_an_address_ends_before_a_sign_that_turns_the_direction_of_reading() -> None:
    assert linked("https://knit.example/\u202egnp.exe") == f"<p>{a('https://knit.example/')}\u202egnp.exe</p>"


@pytest.mark.parametrize(
    ("one", "other", "shared"),
    [
        ("Slip the first stitch?", "Is the first stitch slipped?", 2 / 4),
        ("Which row?", "WHICH ROWS", 1.0),
        ("Which row?", "How many balls of yarn?", 0.0),
        ("", "", 0.0),
    ],
)
def test_questions_are_alike_by_the_words_they_share(one: str, other: str, shared: float) -> None:
    # The first counts "slip", "first" and "stitch" against "first", "stitch" and "slipp".
    assert likeness(one, other) == pytest.approx(shared)
