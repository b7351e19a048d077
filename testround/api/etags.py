"""Which representation somebody read: strong entity tags of what is sent (RFC 9110, 8.8.3 and 13.1)."""

from __future__ import annotations

import hashlib
import re
from typing import Any

from django.utils.translation import gettext as _

from testround.api.problems import CHANGED, MALFORMED, MATCH_MISSING, ApiProblem
from testround.api.rendering import rendered

_TAGS = re.compile(r'\s*(?:W/)?("[\x21\x23-\x7e\x80-\xff]*")\s*(?:,|$)')


def etag_of(data: Any) -> str:
    """The tag of a representation: a hash of the bytes it is sent as."""
    return etag_of_bytes(rendered(data))


def etag_of_bytes(sent: bytes) -> str:
    return f'"{hashlib.sha256(sent).hexdigest()[:32]}"'


def named_in(header: str) -> list[str] | None:
    """The tags that If-Match or If-None-Match lists; None for ``*``. Raises where it is neither.

    A proxy that compresses marks tags as weak and hands them back so: the mark is not looked at, as what is
    compared is always of one coding.
    """
    if header.strip() == "*":
        return None
    tags, at = [], 0
    while at < len(header):
        found = _TAGS.match(header, at)
        if found is None:
            raise ApiProblem(MALFORMED, _("An ETag stands in double quotes, as it was sent."))
        tags.append(found[1])
        at = found.end()
    return tags


def if_match_needed(header: str | None) -> str:
    """What If-Match says. Raises where it is missing."""
    if not header:
        raise ApiProblem(
            MATCH_MISSING,
            _("Send the ETag of what you read as If-Match, so that nobody's change is overwritten."),
        )
    return header


def must_match(header: str, data: Any) -> None:
    """Refuse a change that was made from another representation than the present one."""
    tags = named_in(header)
    if tags is not None and etag_of(data) not in tags:
        raise ApiProblem(
            CHANGED,
            _("This was changed after you read it. Read it again, and send your change with its new ETag."),
            headers={"ETag": etag_of(data)},
        )


def is_known(header: str, tag: str) -> bool:
    """Whether If-None-Match names the representation, so that it need not be sent again."""
    try:
        tags = named_in(header)
    except ApiProblem:
        return False
    return tags is None or tag in tags
