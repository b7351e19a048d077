"""What a page says that no catalogue knows of.

With :func:`bracketed` every message that goes through gettext comes out as ⟦message⟧; what is left outside of the
brackets, and is not somebody's own words out of the database, was written past the catalogue.

``TESTROUND_VAR=FOLDER uv run python -m tests.spoken [PATH …]`` prints it for every page of the demo in that folder that
can be reached from the first one, or for these pages.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from html.parser import HTMLParser
from typing import Any

LEFT, RIGHT = "⟦", "⟧"
SAID_IN = ("alt", "aria-label", "title", "placeholder", "data-sending", "data-says")
UNSAID = ("script", "style", "code")
# Symbols of units, names of formats and standards, and the program's own name: the same in every language.
SYMBOLS = frozenset(
    [
        "cm",
        "mm",
        "in",
        "ft",
        "kg",
        "st",
        "sts",
        "row",
        "rows",
        "rep",
        "PDF",
        "JSON",
        "CSV",
        "XLSX",
        "ZIP",
        "HTML",
        "SVG",
        "Letter",
        "UTC",
        "US",
        "UK",
        "Testround",
        "English",
        "Deutsch",
        "amp",
    ]
)
WORD = re.compile(r"[^\W\d_]{2,}")


@contextmanager
def bracketed() -> Iterator[None]:
    """Every message comes out in brackets, also where a page is kept ready in words without any."""
    from django.core.cache import cache
    from django.utils.translation import trans_real

    from testround.recent import forget_recent

    class Bracketed(trans_real.DjangoTranslation):
        def gettext(self, message: str) -> str:
            context, cut, plain = message.rpartition("\x04")
            return self.pgettext(context, plain) if cut else f"{LEFT}{message}{RIGHT}"

        def ngettext(self, one: str, many: str, n: float) -> str:
            return f"{LEFT}{(one if n == 1 else many).rpartition(chr(4))[2]}{RIGHT}"

        def pgettext(self, context: str, message: str) -> str:
            return message if context.startswith("between a number") else f"{LEFT}{message}{RIGHT}"

    before = trans_real._translations, trans_real._default
    trans_real._translations = {"en-gb": Bracketed("en-gb")}
    trans_real._default = None
    trans_real.deactivate()
    cache.clear()
    forget_recent()
    try:
        yield
    finally:
        cache.clear()
        forget_recent()
        trans_real._translations, trans_real._default = before
        trans_real.deactivate()


class Said(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.links: list[str] = []
        self._unsaid = 0
        self._zone = False
        self._depth = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        # Cities are called as the database of time zones calls them.
        zone = tag == "option" and "/" in (given.get("value") or "")
        self._unsaid += tag in UNSAID or zone
        self._zone = zone
        self.texts += [given[name] or "" for name in SAID_IN if name in given]
        if tag == "a" and (address := given.get("href")):
            self.links.append(address)

    def handle_endtag(self, tag: str) -> None:
        self._unsaid -= tag in UNSAID or (tag == "option" and self._zone)
        self._zone = False

    def handle_data(self, data: str) -> None:
        # A message that holds a link opens before it and closes after it.
        text = LEFT * self._depth + data
        self._depth = max(0, self._depth + data.count(LEFT) - data.count(RIGHT))
        if not self._unsaid and data.strip():
            self.texts.append(text)


def outside(text: str) -> list[str]:
    """The pieces of a text that stand in no brackets."""
    depth, pieces, at = 0, [""], 0
    for at in range(len(text)):
        sign = text[at]
        if sign == LEFT:
            depth += 1
            pieces.append("")
        elif sign == RIGHT and depth == 0:
            # A message whose beginning is shown elsewhere, or not at all: as the reason of a verdict.
            pieces = [""]
        elif sign == RIGHT:
            depth -= 1
        elif depth == 0:
            pieces[-1] += sign
    return [piece for piece in pieces if piece.strip()]


def own_words() -> list[str]:
    """What people wrote, as the database has it, the longest first."""
    from django.apps import apps
    from django.db import models

    found: set[str] = set()

    def take(value: Any) -> None:
        if isinstance(value, str):
            found.update(line.strip() for line in value.splitlines())
            found.add(value.strip())
            # A place in the text is shown by its part and its step.
            found.update(part.strip() for part in value.split(","))
        elif isinstance(value, dict):
            for key, inner in value.items():
                take(key)
                take(inner)
        elif isinstance(value, list | tuple):
            for inner in value:
                take(inner)

    for model in apps.get_models():
        if not model.__module__.startswith("testround."):
            continue
        fields = [
            field.name
            for field in model._meta.concrete_fields
            if isinstance(field, models.CharField | models.TextField | models.JSONField) and not field.choices
        ]
        for row in model._default_manager.values_list(*fields) if fields else ():
            for value in row:
                take(value)
    return sorted((text for text in found if len(text) > 1), key=len, reverse=True)


def unspoken(html: str, own: Iterable[str]) -> list[str]:
    """Pieces of a bracketed page that no catalogue knows of, without the words of people in ``own``."""
    page = Said()
    page.feed(html)
    left = []
    for text in page.texts:
        for piece in outside(text):
            bare = piece
            for words in own:
                if words in bare:
                    # A unit of the sheet such as "st" is no part of another word.
                    bare = re.sub(rf"(?<!\w){re.escape(words)}(?!\w)", " ", bare)
            if set(WORD.findall(bare)) - SYMBOLS:
                left.append(" ".join(piece.split()))
    return left
