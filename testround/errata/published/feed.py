"""Published errata as an Atom feed (RFC 4287), in which each erratum is an entry of its own for good.

What identifies a feed and its entries (section 4.2.6) is made of the pattern's random name, and of nothing that may
change: not of the address of this server, its language, or how many errata there are.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence
from io import StringIO
from typing import cast

from django.template.loader import render_to_string
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.utils.xmlutils import SimplerXMLGenerator

from testround.errata.choices import Choice
from testround.errata.published import Addresses, readable
from testround.errata.selectors import PublicErrata, ShownErratum

CONTENT_TYPE = "application/atom+xml; charset=utf-8"
ATOM = "http://www.w3.org/2005/Atom"
# The names of everything published here grow from this one (RFC 9562, section 5.5). It never changes.
NAMES = uuid.UUID("7f6a2d0c-0f3e-5b0d-9a51-6d3f6f1c8e27")


def name_of(*parts: object) -> str:
    """A name that is the same for the same parts on any server at any time."""
    return uuid.uuid5(NAMES, "/".join(str(part) for part in parts)).urn


def errata_feed(
    public: PublicErrata, shown: Sequence[ShownErratum], choice: Choice, addresses: Addresses
) -> bytes:
    """The feed of what matters to a choice of copy, newest first, as UTF-8."""
    out = StringIO()
    xml = SimplerXMLGenerator(out, "utf-8")
    xml.startDocument()
    xml.startElement("feed", {"xmlns": ATOM, "xml:lang": get_language() or "en"})
    title = _("Errata for {pattern}").format(pattern=public.pattern.title)
    _element(xml, "id", name_of(public.pattern.code, choice.query))
    _element(xml, "title", title)
    if says := choice.says:
        _element(xml, "subtitle", says)
    _element(xml, "updated", _moment(_updated(public, shown)))
    _link(xml, "self", addresses.of("feed") + choice.suffix, "application/atom+xml")
    _link(xml, "alternate", addresses.list + choice.suffix, "text/html")
    xml.startElement("author", {})
    _element(xml, "name", _("The designer of {pattern}").format(pattern=public.pattern.title))
    xml.endElement("author")
    _element(xml, "generator", "Testround")
    for each in reversed(shown):
        _entry(xml, public, each, choice, addresses)
    xml.endElement("feed")
    xml.endDocument()
    return out.getvalue().encode()


def _entry(
    xml: SimplerXMLGenerator, public: PublicErrata, shown: ShownErratum, choice: Choice, addresses: Addresses
) -> None:
    erratum, ways = shown.erratum, choice.ways.suffix
    xml.startElement("entry", {})
    _element(xml, "id", name_of(public.pattern.code, erratum.number))
    _element(xml, "title", _("Erratum {number}: {place}").format(number=erratum.number, place=shown.place))
    _element(xml, "published", _moment(_published(shown)))
    _element(xml, "updated", _moment(_changed(public, shown)))
    _link(xml, "alternate", addresses.erratum(erratum) + ways, "text/html")
    for number in (*([shown.corrects] if shown.corrects else []), *shown.corrected_by):
        _link(xml, "related", addresses.of("erratum", number) + ways, "text/html")
    _element(xml, "category", "", {"term": erratum.edition.label, "label": _edition(erratum.edition.label)})
    _element(xml, "summary", shown.text)
    content = render_to_string("errata/feed_entry.html", {"shown": shown})
    _element(xml, "content", content.strip(), {"type": "html"})
    xml.endElement("entry")


def _edition(label: str) -> str:
    return _("Edition {edition}").format(edition=label)


def _element(
    xml: SimplerXMLGenerator, name: str, text: str, attributes: dict[str, str] | None = None
) -> None:
    cleaned = {key: readable(value) for key, value in (attributes or {}).items()}
    xml.addQuickElement(name, readable(text), cleaned)


def _link(xml: SimplerXMLGenerator, relation: str, address: str, kind: str) -> None:
    _element(xml, "link", "", {"rel": relation, "type": kind, "href": address})


def _published(shown: ShownErratum) -> dt.datetime:
    # Drafts have no moment, and are never shown here.
    return cast(dt.datetime, shown.erratum.published_at)


def _changed(public: PublicErrata, shown: ShownErratum) -> dt.datetime:
    """An erratum never changes, but one that is put right says so from then on."""
    moments = [each.published_at for each in public.correctors(shown.erratum)]
    return max([_published(shown), *(moment for moment in moments if moment is not None)])


def _updated(public: PublicErrata, shown: Sequence[ShownErratum]) -> dt.datetime:
    """When the feed last said something new; where it has said nothing yet, when its first edition was made."""
    return max((_changed(public, each) for each in shown), default=public.editions[0].created)


def _moment(at: dt.datetime) -> str:
    """RFC 3339, as section 3.3 wants it: "2026-11-28T11:00:00Z"."""
    return at.astimezone(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
