"""The sites that may show something of ours in a frame: what is typed, as origins that a browser compares.

An origin is scheme, host and port (RFC 6454); as an ancestor of a frame it is named by a host-source of Content
Security Policy Level 3, which this spells without wildcards, so that a list can say no more than it seems to.
"""

from __future__ import annotations

import re
from urllib.parse import urlsplit

from django.utils.translation import gettext as _

MOST_ORIGINS = 20
LONGEST_ORIGIN = 253 + len("https://:65535")
# RFC 1123, section 2.1, of at least two labels: nothing in it can end a directive of the policy.
_LABEL = r"[a-z0-9](?:[a-z0-9-]{0,61}[a-z0-9])?"
_HOST = re.compile(rf"{_LABEL}(?:\.{_LABEL})+")


class OriginRefused(ValueError):
    """What was typed names no site; the text is a sentence that says what to write instead."""


def origin_of(typed: str) -> str:
    """The origin that somebody typed, in the one spelling that browsers use: "https://example.org".

    Raises
    ------
    OriginRefused
        With a sentence that names what was typed.
    """
    text = typed.strip()
    if len(text) > LONGEST_ORIGIN:
        raise OriginRefused(
            _said(_("“{typed}…” is longer than any site; write it as in {example}."), text[:40])
        )
    try:
        parts = urlsplit(text)
        host, port = parts.hostname or "", parts.port
    except ValueError:
        raise OriginRefused(
            _said(_("“{typed}” is no address of a site; write it as in {example}."), text)
        ) from None
    if parts.scheme != "https":
        raise OriginRefused(
            _said(_("“{typed}” does not begin with https://; write the site as in {example}."), text)
        )
    if "@" in parts.netloc:
        raise OriginRefused(
            _said(_("“{typed}” has a name before an @; write the site alone, as in {example}."), text)
        )
    if parts.path not in ("", "/") or "?" in text or "#" in text:
        raise OriginRefused(
            _said(
                _("“{typed}” names a page; write the site alone, without what follows it, as in {example}."),
                text,
            )
        )
    if "*" in host:
        raise OriginRefused(
            _said(_("“{typed}” has a *; write each site out on a line of its own, as in {example}."), text)
        )
    host = _in_ascii(host)
    if not _HOST.fullmatch(host):
        raise OriginRefused(_said(_("“{typed}” is no address of a site; write it as in {example}."), text))
    return f"https://{host}" + (f":{port}" if port not in (None, 443) else "")


def _in_ascii(host: str) -> str:
    """A host as it is looked up; a name with other letters by its punycode. Empty where there is none."""
    try:
        return host.encode("idna").decode("ascii").lower()
    except UnicodeError:
        return ""


def _said(sentence: str, typed: str) -> str:
    return sentence.format(typed=typed, example="https://www.example.org")
