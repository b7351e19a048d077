"""Bodies as they come in: JSON that can be stored, and files whole, each up to its size."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any, NoReturn

from django.conf import settings
from django.http.multipartparser import MultiPartParserError
from django.utils.translation import gettext as _
from rest_framework.parsers import BaseParser

from testround.api.problems import MALFORMED, TOO_LARGE, ApiProblem, Fault

MOST_JSON_BYTES = 4 * 1024 * 1024
MOST_DEPTH = 64


class JsonParser(BaseParser):
    """A JSON document in UTF-8 without what no table and no sheet can hold: NUL, lone surrogates, infinite numbers."""

    media_type = "application/json"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> Any:
        data = read_whole(stream, MOST_JSON_BYTES)
        try:
            document = json.loads(
                data.decode("utf-8"),
                parse_constant=_no_number,
                parse_float=_finite,
                object_pairs_hook=_each_name_once,
            )
        except UnicodeDecodeError:
            raise ApiProblem(MALFORMED, _("The body is not UTF-8.")) from None
        except RecursionError:
            raise ApiProblem(MALFORMED, _("The body is nested too deeply.")) from None
        except ValueError as error:
            raise ApiProblem(MALFORMED, _("The body is not JSON: {error}").format(error=error)) from None
        faults = list(_unstorable(document, "", 0))
        if faults:
            raise ApiProblem(MALFORMED, faults[0].detail, faults=faults[:20])
        return document


class BytesParser(BaseParser):
    """A file as the body of the request; ``request.data`` is its bytes. A subclass names type and size."""

    media_type = "application/octet-stream"
    most_bytes = settings.ROUND_FILE_MAX_BYTES

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> bytes:
        return read_whole(stream, self.most_bytes)


def read_whole(stream: Any, most: int) -> bytes:
    """The body, or a problem where it is larger: by what it says of its length, and by what comes."""
    try:
        data: bytes = stream.read(most + 1)
    except (OSError, MultiPartParserError):
        raise ApiProblem(MALFORMED, _("The body ended before it was whole.")) from None
    if len(data) > most:
        raise ApiProblem(
            TOO_LARGE, _("At most {most} MB are taken here.").format(most=math.floor(most / 100_000) / 10)
        )
    return data


def _each_name_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        raise ValueError(_("a name stands twice in one object"))
    return made


def _no_number(name: str) -> NoReturn:
    raise ValueError(_("{name} is no number").format(name=name))


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(_("{text} is too large a number").format(text=text[:40]))
    return value


def _unstorable(value: Any, pointer: str, depth: int) -> Any:
    """Every text that cannot be stored, and a nesting that nothing here has."""
    if depth > MOST_DEPTH:
        yield Fault(_("This is nested too deeply."), pointer)
    elif isinstance(value, str):
        if "\0" in value or not _is_utf8(value):
            yield Fault(_("This text holds a character that cannot be stored."), pointer)
    elif isinstance(value, Mapping):
        for name, inner in value.items():
            place = f"{pointer}/{name}"
            yield from _unstorable(name, pointer, depth + 1)
            yield from _unstorable(inner, place, depth + 1)
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _unstorable(inner, f"{pointer}/{index}", depth + 1)


def _is_utf8(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True
