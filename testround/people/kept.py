"""Parts of pages that are kept as they were said, for whoever reads the same things in the same way."""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest
from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language

import testround
from testround.people.context import reader_for

KEPT_FOR_SECONDS = 24 * 60 * 60


@dataclass(frozen=True, slots=True)
class Kept:
    """Under which name a part of a page is kept, and whether what it was made of is still what the name says."""

    name: str
    holds: Callable[[], bool]


def kept(request: HttpRequest, part: str, *rests_on: Any, holds: Callable[[], bool] = lambda: True) -> Kept:
    """The place of a part of a page.

    ``rests_on`` is everything that the part is made of, as plain values that are written out in full: what is not
    among them must not be shown by it. The reader's choices, language and clock are always among them, who they
    are is not, so that nothing may be kept that is only theirs, such as the token of a form. ``holds`` is asked
    once the part is made: where something has changed meanwhile it is shown and not kept.
    """
    how = (reader_for(request), get_language(), timezone.get_current_timezone_name())
    written = repr((part, how, rests_on)).encode()
    return Kept(f"part:{hashlib.sha256(source_digest() + written).hexdigest()}", holds)


def kept_part(kept: Kept, make: Callable[[], str]) -> SafeString:
    """The part that is kept, or what ``make`` says, which then is. Whoever asks has asked first who may read it."""
    packed = cache.get(kept.name)
    if packed is not None:
        return mark_safe(zlib.decompress(packed).decode())  # noqa: S308 - rendered by a template, and kept here
    made = make()
    if "csrfmiddlewaretoken" in made:
        raise ValueError("A form's token is one person's and cannot be kept for others.")
    # Whoever is changing templates sees what they say now.
    if not settings.DEBUG and kept.holds():
        cache.set(kept.name, zlib.compress(made.encode(), 1), KEPT_FOR_SECONDS)
    return mark_safe(made)  # noqa: S308 - rendered by a template


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
