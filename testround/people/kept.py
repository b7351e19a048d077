"""Parts of pages that are kept as they were said, for whoever reads the same things in the same way.

A part is shared by all who read it, so that nothing stands in it that is one reader's alone. What everybody has of
their own in the forms of a part, the token and the key of a form, stands in what is kept as a gap, and is put in
anew every time that the part is shown.
"""

from __future__ import annotations

import hashlib
import re
import time
import uuid
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace
from functools import cache as cached
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest
from django.middleware.csrf import get_token
from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language

import testround
from testround.people.context import reader_for
from testround.recent import Recent

KEPT_FOR_SECONDS = 24 * 60 * 60

# Parts of so many letters this process has at hand as they are shown too: for a round of two hundred testers there are
# pages of a million, and unpacking one takes longer than all else on it.
LARGE = 200_000
MOST_LARGE = 6

# Gaps. Nobody can type one: in what people write an angle bracket is escaped.
TOKEN = mark_safe("<token of reader>")
FRESH_KEY = mark_safe("<key of form>")
_GAPS = re.compile(f"{TOKEN}|{FRESH_KEY}")
_OTHER_TOKEN = re.compile(f'csrfmiddlewaretoken(?!" value="{TOKEN}")')

_making: ContextVar[bool] = ContextVar("making_a_part_that_is_kept", default=False)


def _no_token() -> str:
    raise ValueError("This part has a form, and nobody said whose token goes into it.")


def _nothing() -> Mapping[str, Any]:
    return {}


@dataclass(frozen=True, slots=True)
class Kept:
    """Under which name a part of a page is kept, and whether what it was made of is still what the name says.

    ``needs`` gives what the part is made from, and is asked only where the part is not there yet; ``token`` gives
    the reader's own for its forms.
    """

    name: str
    holds: Callable[[], bool]
    token: Callable[[], str] = _no_token
    needs: Callable[[], Mapping[str, Any]] = _nothing
    seconds: int = KEPT_FOR_SECONDS

    def piece(self, piece: str) -> Kept:
        """One of several pieces of a page that rest on the same, such as its title."""
        return replace(self, name=f"{self.name}:{piece}")


def kept(
    request: HttpRequest,
    part: str,
    *rests_on: Any,
    holds: Callable[[], bool] = lambda: True,
    needs: Callable[[], Mapping[str, Any]] = _nothing,
    seconds: int = KEPT_FOR_SECONDS,
) -> Kept:
    """The place of a part of a page.

    ``rests_on`` is everything that the part is made of, as plain values that are written out in full: what is not
    among them must not be shown by it. The reader's choices, language and clock are always among them, who they
    are is not, so that nothing may be kept that is only theirs. ``holds`` is asked once the part is made: where
    something has changed meanwhile it is shown and not kept. ``needs`` is asked once for all pieces of a page.
    """
    how = (reader_for(request), get_language(), timezone.get_current_timezone_name())
    written = repr((part, how, rests_on)).encode()
    name = f"part:{hashlib.sha256(source_digest() + written).hexdigest()}"
    return Kept(name, holds, lambda: get_token(request), cached(needs), seconds)


@dataclass(frozen=True, slots=True)
class _AtHand:
    """A large part without gaps, and until when on the clock that never jumps it may be shown."""

    text: SafeString
    until: float


_at_hand: Recent[_AtHand] = Recent(MOST_LARGE)


def kept_part(kept: Kept, make: Callable[[], str]) -> SafeString:
    """The part that is kept, or what ``make`` says, which then is. Whoever asks has asked first who may read it."""
    at_hand = _at_hand.get(kept.name)
    if at_hand is not None and time.monotonic() < at_hand.until:
        return at_hand.text
    packed = cache.get(kept.name)
    if packed is not None:
        return _unpacked(packed, kept)
    with _gaps_left():
        made = make()
    if _OTHER_TOKEN.search(made):
        raise ValueError("A form's token is one person's and cannot be kept for others.")
    # Whoever is changing templates sees what they say now.
    if not settings.DEBUG and kept.holds():
        cache.set(kept.name, zlib.compress(made.encode(), 1), kept.seconds)
    return _filled(made, kept)


def fresh_key() -> uuid.UUID | SafeString:
    """A key for a form, by which a second press of its button is known; a gap for one where the form is kept."""
    return FRESH_KEY if _making.get() else uuid.uuid4()


@contextmanager
def _gaps_left() -> Iterator[None]:
    outer = _making.set(True)
    try:
        yield
    finally:
        _making.reset(outer)


def _unpacked(packed: bytes, kept: Kept) -> SafeString:
    text = zlib.decompress(packed).decode()
    filled = _filled(text, kept)
    # What is kept for a shorter time than usual speaks of the time, and is let go by the cache.
    if len(text) >= LARGE and kept.seconds == KEPT_FOR_SECONDS and not _GAPS.search(text):
        _at_hand.keep(kept.name, _AtHand(filled, time.monotonic() + kept.seconds))
    return filled


def _filled(text: str, kept: Kept) -> SafeString:
    """What is kept with this reader's own in its gaps: their token, and for each form a key that nothing had before."""
    filled = _GAPS.sub(lambda gap: kept.token() if gap[0] == TOKEN else str(uuid.uuid4()), text)
    return mark_safe(filled)  # noqa: S308 - rendered by a template


@lru_cache(maxsize=1)
def source_digest() -> bytes:
    """A digest of the program, its templates and its catalogues: another one may say the same things otherwise."""
    package = Path(testround.__path__[0])
    digest = hashlib.sha256()
    for folder, names in (
        (package, "**/*.py"),
        (package / "locale", "**/*.mo"),
        (settings.BASE_DIR / "templates", "**/*.html"),
    ):
        for path in sorted(folder.glob(names)):
            digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.digest()
