"""Round files with something wrong in them, in their values and in their bytes."""

from __future__ import annotations

import copy
import json
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from testround.kernel.roundfile import RoundFileError, read_round, write_round
from tests.fuzz.bytes_mangled import NASTY_TEXTS, mangled
from tests.fuzz.running import Target, Unexpected

ROOT = Path(__file__).parents[2]
Way = tuple[str | int, ...]


def _short(document: dict[str, Any]) -> dict[str, Any]:
    """With few testers, so that many can be tried; every kind of entry stays in it."""
    return {
        **document,
        "testers": document["testers"][:2],
        "candidates": document.get("candidates", [])[:2],
    }


BASES = [
    _short(json.loads((ROOT / "fixtures" / f"{name}.json").read_text(encoding="utf-8")))
    for name in ("fenlight", "quillwork")
]
# JSON as text, since Python would not write some of it.
RAW = (
    "1e400",
    "-1e400",
    "NaN",
    "Infinity",
    "-0",
    "1" + "0" * 400,
    "1" * 5000,
    "0." + "0" * 400 + "1",
    "9007199254740993",
    '"\\ud800"',
    '"\\u0000"',
    "[" * 200 + "]" * 200,
    "[" * 100_000,
    '{"a":' * 3000 + "1" + "}" * 3000,
    "null",
    "true",
    "[]",
    "{}",
    "[[]]",
)
_MARK = "a value that was put here by the test"


def _ways(node: Any, way: Way = ()) -> Iterator[Way]:
    entries = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for step, value in entries:
        yield (*way, step)
        yield from _ways(value, (*way, step))


WAYS = [list(_ways(base)) for base in BASES]


def _parent(document: Any, way: Way) -> Any:
    for step in way[:-1]:
        document = document[step]
    return document


def round_file(rng: random.Random) -> bytes:
    which = rng.randrange(len(BASES))
    document = copy.deepcopy(BASES[which])
    raws: list[str] = []
    for _ in range(rng.choice((1, 1, 2, 5))):
        way = rng.choice(WAYS[which])
        try:
            _spoil(rng, document, way, which, raws)
        except (KeyError, IndexError, TypeError):
            continue  # What it leads to was spoiled before.
    text = json.dumps(document)
    for raw in raws:
        text = text.replace(f'"{_MARK}"', raw, 1)
    data = text.encode()
    return mangled(rng, data) if rng.random() < 0.3 else data


def _spoil(rng: random.Random, document: Any, way: Way, which: int, raws: list[str]) -> None:
    parent, step = _parent(document, way), way[-1]
    match rng.randrange(8):
        case 0:
            del parent[step]
        case 1:
            parent[step] = rng.choice(NASTY_TEXTS)
        case 2:
            parent[step] = rng.choice((None, True, 0, -1, 0.1, 1e15, -1e308, 2**53, [], {}, [1], {"a": 1}))
        case 3:
            parent[step] = _MARK
            raws.append(rng.choice(RAW))
        case 4:
            other = rng.choice(WAYS[which])
            parent[step] = copy.deepcopy(_parent(BASES[which], other)[other[-1]])
        case 5 if isinstance(parent, list):
            parent.extend(copy.deepcopy(parent[step]) for _ in range(rng.choice((1, 2, 50))))
        case 6 if isinstance(parent, dict):
            parent[rng.choice((*NASTY_TEXTS, str(step).upper(), "colour"))] = parent.pop(step)
        case _:
            value = parent[step]
            if isinstance(value, int | float) and not isinstance(value, bool):
                parent[step] = value * rng.choice((-1, 0, 1000, 1e-9, 1e9))
            elif isinstance(value, str) and value:
                parent[step] = value[: rng.randrange(len(value))] + rng.choice(NASTY_TEXTS)


def read_or_refused(data: bytes) -> str:
    try:
        read = read_round(data)
    except RoundFileError as error:
        if not error.problems:
            raise Unexpected("refused without a problem") from None
        for problem in error.problems:
            # What is said is shown on a page and written into a database.
            str(problem).encode()
            if not problem.sentence:
                raise Unexpected("refused without a sentence") from None
        return "refused"
    if read_round(write_round(read)) != read:
        raise Unexpected("comes back as another round")
    return "read"


TARGET = Target("rounds", round_file, read_or_refused)
