"""Bodies of generated calls: examples that name what is there, a little changed.

A body that was generated from its schema alone is mostly refused at the door, as what it names is not there. Here an
example comes first, and of the generated body parts of it. All is drawn from a `Random` that is given.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from random import Random
from typing import Any

# Objects whose own names are names of a sheet, or of candidates.
_NAMED_BY = {
    "least": "size",
    "most": "size",
    "now": "size",
    "counts": "number",
    "readings": "dimension",
    "says": "dimension",
    "measures": "measure",
    "moves": "candidate",
}
# Documents refer to what stands in themselves.
_DOCUMENTS = ("sheet", "pattern", "testers")
STRANGE: tuple[Any, ...] = (
    *(None, True, False, [], {}, [[]], [None], {"": None}, {"a": {"b": [{}]}}),
    *(0, -1, 1, 7, 2**31, 2**63 - 1, 2**63, -(2**63), 10**30, 10**400, 0.1, -0.5, 1e-300, 1e300, 999_999.999),
    *("", " ", "0", "-1", "a", "x" * 300, "y" * 70_000, "\n", "\t a", "\x7f", "\x00", "\ud800", "\u202e"),
    *(
        "e\u0301\u0301",
        "\U0001f9f6",
        "S",
        "XS",
        "body",
        "back_sts",
        "printed-count:back_sts",
        "1/0",
        "body.st * bust",
    ),
    *("2026-02-30", "2026-04-01", "0001-01-01", "9999-12-31", "9999-12-31T23:59:59-23:00", "1e5", "NaN", "½"),
    *("nobody@example.org", "a@b", "https://other.invalid/", "http://[", "https://[::1]:99999/", "//"),
    "1f0a1a52-6a43-4d5f-8b0e-5d7b65f0a001",
)


def body_of(
    fitting: Any,
    examples: Sequence[Any],
    generated: Any,
    there: Mapping[str, Sequence[Any]],
    rng: Random,
    *,
    free: bool,
) -> Any:
    """A body: of ten, five are an example with up to three changes, three one with parts of what was generated, and
    two are what was generated.

    ``fitting`` is an example that names what is there; in others, unless they are documents and not ``free``, most
    references are put to it.
    """
    way = rng.random()
    fits = False
    if way >= 0.8:
        body = generated
    else:
        fits = fitting is not None and rng.random() < 0.5
        body = copy.deepcopy(fitting if fits else rng.choice(examples))
        if way >= 0.5 and isinstance(body, dict) and isinstance(generated, dict) and generated:
            for name in rng.sample(sorted(generated), rng.randint(1, min(3, len(generated)))):
                body[name] = generated[name]
    if free and rng.random() < (0.4 if fits else 0.9):
        body = naming(body, "", there, rng)
    if way < 0.5:
        for _ in range(rng.choice((0, 1, 1, 1, 2, 3))):
            body = changed(body, there, rng)
    return body


def naming(value: Any, name: str, there: Mapping[str, Sequence[Any]], rng: Random) -> Any:
    """The same value with its references put to what is there, but for one in ten."""
    if name in _DOCUMENTS:
        return value
    if isinstance(value, dict):
        names = there.get(_NAMED_BY.get(name, ""), ())
        return {
            (str(rng.choice(names)) if names and rng.random() < 0.9 else key): naming(inner, key, there, rng)
            for key, inner in value.items()
        }
    if isinstance(value, list):
        return [naming(inner, name, there, rng) for inner in value]
    return rng.choice(there[name]) if there.get(name) and rng.random() < 0.9 else value


def changed(value: Any, there: Mapping[str, Sequence[Any]], rng: Random) -> Any:
    """The value with one thing in it changed: another value, one more, one less, or two that stand for one another."""
    places = list(_places(value))
    if not places or rng.random() < 0.02:
        return _another(value, there, rng)
    holder, key = rng.choice(places)
    match rng.randrange(6):
        case 0:
            del holder[key]
        case 1 if isinstance(holder, list):
            holder.insert(rng.randint(0, len(holder)), copy.deepcopy(holder[key]))
        case 1:
            holder[str(rng.choice(STRANGE))[:100]] = copy.deepcopy(holder[key])
        case 2:
            other, at = rng.choice(places)
            if at in other if isinstance(other, dict) else at < len(other):
                holder[key] = copy.deepcopy(other[at])
        case _:
            holder[key] = _another(holder[key], there, rng)
    return value


def _another(value: Any, there: Mapping[str, Sequence[Any]], rng: Random) -> Any:
    """A value in place of this one: near it, of what is there, or one that nobody would send."""
    way = rng.random()
    if way < 0.4 and isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e300:
        near = (
            value + 1,
            value - 1,
            -value,
            0,
            value * 10,
            value / 3,
            float(value),
            round(value),
            str(value),
        )
        return rng.choice(near)
    if way < 0.4 and isinstance(value, str):
        near = (
            value + " ",
            value[:-1],
            value.upper(),
            value[::-1],
            value * 2,
            value.replace("-", "/"),
            [value],
        )
        return rng.choice(near)
    if way < 0.55:
        return rng.choice(rng.choice([names for names in there.values() if names]))
    return copy.deepcopy(rng.choice(STRANGE))


def _places(value: Any) -> Any:
    """Where something stands in this value: what holds it, and its key there."""
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, one in inner:
        yield value, key
        yield from _places(one)


def damaged(data: bytes, rng: Random) -> bytes:
    """A file whole or cut short, or with some bytes that are others."""
    match rng.randrange(4):
        case 0:
            return data[: rng.randrange(len(data))]
        case 1:
            other = bytearray(data)
            for _ in range(rng.choice((1, 3, 30))):
                other[rng.randrange(len(other))] = rng.randrange(256)
            return bytes(other)
    return data
