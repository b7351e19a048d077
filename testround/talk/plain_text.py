"""Plain text from anyone, as HTML: everything is escaped, and addresses of the web can be followed."""

from __future__ import annotations

import re
from urllib.parse import urlsplit

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

# Neither quotes nor angle brackets, which end an address in text, nor signs that turn the direction of reading
# or are not seen, behind which an address could pose as another.
_UNSEEN = "\u00ad\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff"
_ADDRESS = re.compile(rf"\bhttps?://[^\s<>\"'`{_UNSEEN}]+", re.IGNORECASE)
_ENDS_A_SENTENCE = ".,;:!?…"
_PAIRS = {")": "(", "]": "[", "}": "{"}


def linked(text: str) -> SafeString:
    """Paragraphs and line breaks as they were written, http and https addresses as links, and no HTML else."""
    paragraphs = re.split(r"\n\s*\n", text.replace("\r\n", "\n").replace("\r", "\n").strip())
    return mark_safe("".join(f"<p>{_lines(paragraph)}</p>" for paragraph in paragraphs if paragraph.strip()))  # noqa: S308 -- every piece is escaped below


def _lines(paragraph: str) -> str:
    return "<br>".join(_line(line.strip()) for line in paragraph.strip().split("\n"))


def _line(line: str) -> str:
    pieces: list[str] = []
    end = 0
    for match in _ADDRESS.finditer(line):
        address = _without_the_sentence(match.group())
        if not _leads_somewhere(address):
            continue
        pieces.append(escape(line[end : match.start()]))
        shown = escape(address)
        pieces.append(f'<a href="{shown}" rel="nofollow noopener">{shown}</a>')
        end = match.start() + len(address)
    pieces.append(escape(line[end:]))
    return "".join(pieces)


def _without_the_sentence(address: str) -> str:
    """An address without the stop that ends its sentence, and without a bracket that was opened before it."""
    while address:
        last = address[-1]
        opening = _PAIRS.get(last)
        closes_nothing = opening is not None and address.count(last) > address.count(opening)
        if last not in _ENDS_A_SENTENCE and not closes_nothing:
            break
        address = address[:-1]
    return address


def _leads_somewhere(address: str) -> bool:
    """A host and no name before it: ``https://known.example@other.example`` leads to the other."""
    try:
        parts = urlsplit(address)
        return bool(parts.hostname) and "@" not in parts.netloc and (parts.port is None or parts.port > 0)
    except ValueError:
        return False
