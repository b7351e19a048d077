"""Published errata as an Atom feed, held to RFC 4287 by the grammar of its appendix B."""

from __future__ import annotations

from functools import cache

import pytest
import rnc2rng
from django.test import Client
from django.urls import reverse
from lxml import etree

from testround.patterns.models import Edition, Pattern
from testround.rounds.models import Round
from tests.errata.printed import misprint, next_edition, unclear
from tests.published.sources import DATA

ATOM = {"atom": "http://www.w3.org/2005/Atom"}


@cache
def grammar() -> etree.RelaxNG:
    """RFC 4287, appendix B; see the head of the file for what of it stands there."""
    rng = rnc2rng.dumps(rnc2rng.load(str(DATA / "atom.rnc")))
    # The prefix of no namespace, which the compact form may name and XML may not.
    return etree.RelaxNG(etree.fromstring(rng.replace(' xmlns:local=""', "").encode()))


def feed_of(of: Edition, **query: str | int) -> etree._Element:
    response = Client().get(
        reverse("errata:feed", args=[of.pattern.code]), query, headers={"Accept-Language": "en"}
    )
    assert (response.status_code, response["Content-Type"]) == (200, "application/atom+xml; charset=utf-8")
    return etree.fromstring(response.content)


def said(element: etree._Element, path: str) -> list[str]:
    return [str(found) for found in element.xpath(path, namespaces=ATOM)]


@pytest.fixture
def public_edition(a_round: Round) -> Edition:
    return a_round.edition


@pytest.mark.parametrize(
    "query", [{}, {"units": "in", "terms": "uk"}, {"language": "de"}, {"size": "XS"}, {"size": "M"}], ids=str
)
def test_the_feed_keeps_to_the_grammar_of_the_rfc(public_edition: Edition, query: dict[str, str]) -> None:
    first = misprint(public_edition)
    unclear(public_edition)
    misprint(public_edition, 3, corrects=first)

    feed = feed_of(public_edition, **query)

    grammar().assertValid(feed)


def test_a_feed_of_nothing_keeps_to_it_too_and_has_an_author(public_edition: Edition) -> None:
    feed = feed_of(public_edition)

    grammar().assertValid(feed)
    assert said(feed, "atom:entry") == []
    # RFC 4287, section 4.1.1: an author, unless all entries have one.
    assert said(feed, "atom:author/atom:name/text()") == ["The designer of Little top"]


def test_the_grammar_refuses_what_is_no_feed(public_edition: Edition) -> None:
    feed = feed_of(public_edition)
    feed.remove(feed.find("{*}id"))

    assert not grammar().validate(feed)


def test_an_entry_says_what_is_wrong_and_what_is_right_and_leads_to_its_page(
    public_edition: Edition, settings
) -> None:
    settings.SITE_URL = "https://testround.example.org"
    misprint(public_edition, why="It is a misprint.")

    feed = feed_of(public_edition)
    (entry,) = feed.xpath("atom:entry", namespaces=ATOM)

    base = f"https://testround.example.org/errata/{public_edition.pattern.code}/"
    assert feed.get("{http://www.w3.org/XML/1998/namespace}lang") == "en-gb"
    assert said(feed, "atom:link[@rel='self']/@href") == [f"{base}errata.atom"]
    assert said(feed, "atom:link[@rel='alternate']/@href") == [base]
    assert said(feed, "atom:updated/text()") == ["2026-03-02T09:30:00Z"]
    # RFC 4287, section 4.1.1: an entry without content has a link to what it stands for; this has both.
    assert said(entry, "atom:link[@rel='alternate']/@href") == [f"{base}1/"]
    assert said(entry, "atom:title/text()") == ["Erratum 1: Back, step 1"]
    assert said(entry, "atom:published/text()") == ["2026-03-02T09:30:00Z"]
    assert said(entry, "atom:category/@term") == ["1.0"]
    assert said(entry, "atom:summary/text()") == ["Back, cast on: 114 stitches in size M, not 118."]
    (content,) = said(entry, "atom:content[@type='html']/text()")
    assert '<th scope="row">M</th><td><del>118</del></td><td><ins>114</ins></td>' in content
    assert "<strong>Why:</strong> It is a misprint." in content


def test_what_puts_right_is_an_entry_of_its_own_and_what_is_put_right_says_so_from_then_on(
    public_edition: Edition,
) -> None:
    first = misprint(public_edition)
    misprint(public_edition, 2, corrects=first)

    newer, older = feed_of(public_edition).xpath("atom:entry", namespaces=ATOM)

    base = said(older, "atom:link[@rel='alternate']/@href")[0].removesuffix("1/")
    assert "Puts right erratum 1." in said(newer, "atom:content/text()")[0]
    assert said(newer, "atom:link[@rel='related']/@href") == [f"{base}1/"]
    assert "Put right by erratum 2:" in said(older, "atom:content/text()")[0]
    assert said(older, "atom:link[@rel='related']/@href") == [f"{base}2/"]
    assert said(older, "atom:published/text() | atom:updated/text()") == [
        "2026-03-02T09:30:00Z",
        "2026-03-03T09:30:00Z",
    ]


def test_names_stay_what_they_are_wherever_the_server_is_and_however_it_is_read(
    public_edition: Edition, settings
) -> None:
    Pattern.objects.update(code="AbCdEfGhIjk")
    public_edition.pattern.refresh_from_db()
    misprint(public_edition)
    before = feed_of(public_edition)
    settings.SITE_URL = "https://moved.example.net"
    unclear(public_edition)

    after = feed_of(public_edition, language="de")

    first = "urn:uuid:61e69d9f-4b1d-56d9-9786-31a41ddcb9ee"
    assert said(before, "atom:entry/atom:id/text()")[0] == said(after, "atom:entry/atom:id/text()")[1]
    assert said(before, "atom:entry/atom:id/text()") == [first]


def test_a_reader_in_inches_and_uk_terms_follows_a_feed_of_their_own(public_edition: Edition) -> None:
    unclear(public_edition, 1)

    plain, own = feed_of(public_edition), feed_of(public_edition, units="in", terms="uk")

    assert "Work 1 double crochet in each stitch." in said(own, "atom:entry/atom:summary/text()")[0]
    assert "It is 1 in short." in said(own, "atom:entry/atom:content/text()")[0]
    assert said(own, "atom:subtitle/text()") == ["inches, UK terms"]
    assert said(own, "atom:link[@rel='self']/@href")[0].endswith("errata.atom?units=in&terms=uk")
    assert said(own, "atom:id/text()") != said(plain, "atom:id/text()")
    assert said(own, "atom:entry/atom:id/text()") == said(plain, "atom:entry/atom:id/text()")


def test_a_feed_of_one_edition_has_what_stands_in_that_one(public_edition: Edition) -> None:
    misprint(public_edition)
    unclear(public_edition)
    corrected = next_edition(
        public_edition, "1.1", cast_on_m=114, released_at=public_edition.created, corrected=[2]
    )

    assert said(feed_of(public_edition, edition=corrected.pk), "atom:entry/atom:title/text()") == []
    assert len(said(feed_of(public_edition, edition=public_edition.pk), "atom:entry/atom:id/text()")) == 2


def test_what_is_no_character_of_xml_is_left_out_and_markup_is_text(public_edition: Edition) -> None:
    Pattern.objects.update(title="Top \x0b & <tail>")
    unclear(public_edition, 1, text="Turn\x07 <b>over</b> & on\r\nagain", place="Edge \x1b")

    feed = feed_of(public_edition)

    grammar().assertValid(feed)
    assert said(feed, "atom:title/text()") == ["Errata for Top  & <tail>"]
    assert said(feed, "atom:entry/atom:summary/text()") == ["Turn <b>over</b> & on\nagain"]
    assert "&lt;b&gt;over&lt;/b&gt; &amp; on" in said(feed, "atom:entry/atom:content/text()")[0]


def test_the_pages_name_the_feed_to_whoever_looks_for_one(public_edition: Edition, client: Client) -> None:
    misprint(public_edition)
    pages = [
        reverse("errata:list", args=[public_edition.pattern.code]),
        reverse("errata:edition", args=[public_edition.pattern.code, public_edition.pk]),
        reverse("errata:erratum", args=[public_edition.pattern.code, 1]),
    ]

    heads = [client.get(page).content.decode().partition("</head>")[0] for page in pages]

    feed = reverse("errata:feed", args=[public_edition.pattern.code])
    assert all('type="application/atom+xml"' in head and f'href="{feed}' in head for head in heads)
