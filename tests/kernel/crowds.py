"""Small invented crowds of candidates, and the best assignment by trying every one there is.

``enumerated`` is written from the rules alone and shares no code with what it checks: it tries every candidate in
every size and yarn, and compares tuples.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from testround.kernel.round import Round
from testround.kernel.roundfile import read_round

Document = dict[str, Any]
Seat = tuple[str, str, str | None]

SIZES = {"XS": (76, 60), "S": (86, 68), "M": (96, 78), "L": (106, 88)}


def document(
    *candidates: Document,
    sizes: Mapping[str, tuple[float, ...]] | None = None,
    least: Mapping[str, int] | None = None,
    most: Mapping[str, int] | None = None,
    yarns: Mapping[str, int | None] | None = None,
    testers: tuple[Document, ...] = (),
    measures: tuple[str, ...] = ("bust", "waist"),
) -> Document:
    """A round file of these candidates, for a pattern that is nothing but sizes with a bust and perhaps another measure."""
    sizes = sizes or {size: (bust,) for size, (bust, _) in SIZES.items()}
    keys = measures[: len(next(iter(sizes.values())))]
    return {
        "format": "testround/round",
        "version": 1,
        "pattern": {
            "title": "Fenlight Cardigan",
            "edition": "0.9",
            "craft": "knit",
            "kind": "graded",
            "gauges": [{"key": "body", "label": "Stockinette", "stitches": 22, "rows": 30}],
            "sizes": list(sizes),
            "measures": [
                {
                    "key": key,
                    "label": key.title(),
                    "values": {size: values[place] for size, values in sizes.items()},
                }
                for place, key in enumerate(keys)
            ],
        },
        "round": {
            "title": "First test",
            "places": {"least": dict(least or {}), "most": dict(most or {})},
            "yarns": [
                {"key": key, "label": key.replace("_", " "), **({} if makers is None else {"makers": makers})}
                for key, makers in (yarns or {}).items()
            ],
        },
        "candidates": list(candidates),
        "testers": list(testers),
    }


def candidate(name: str, bust: float | None = None, *wishes: str, **more: Any) -> Document:
    """A candidate who brings their own yarn unless ``yarns`` are named."""
    measures = {} if bust is None else {"bust": bust}
    return {
        "id": name,
        "name": name.upper(),
        "measures": more.pop("measures", measures),
        "wishes": list(wishes),
        "own_yarn": "yarns" not in more,
        **more,
    }


def round_of(file: Document) -> Round:
    return read_round(json.dumps(file).encode())


def small(rng: np.random.Generator) -> Document:
    """A small case with many ties: whole centimetres, few answers to tell people apart by."""
    m = int(rng.integers(1, 4))
    names = list(SIZES)[:m]
    two = bool(rng.integers(2))
    sizes = {name: SIZES[name] if two else SIZES[name][:1] for name in names}
    yarns = {key: rng.choice([None, 0, 1, 1, 2]) for key in ("wool", "linen")[: rng.integers(0, 3)]}
    yarns = {key: None if makers is None else int(makers) for key, makers in yarns.items()}
    least = {name: int(rng.integers(0, 3)) for name in names if rng.random() < 0.8}
    most = {name: least.get(name, 0) + int(rng.integers(0, 2)) for name in names if rng.random() < 0.7}
    people = []
    for i in range(int(rng.integers(1, 6))):
        bust, waist = SIZES[names[rng.integers(m)]]
        measures = {"bust": float(bust + rng.integers(-6, 7)), "waist": float(waist + rng.integers(-6, 7))}
        if not two or rng.random() < 0.2:
            del measures["waist"]
        if rng.random() < 0.15:
            measures.pop("bust")
        wishes = rng.permutation(names)[: rng.integers(0, m + 1)].tolist() if rng.random() < 0.7 else []
        entry = candidate(f"c{i}", None, *wishes, measures=measures)
        entry["own_yarn"] = bool(rng.random() < 0.4)
        entry["yarns"] = [key for key in yarns if rng.random() < 0.7]
        if rng.random() < 0.8:
            entry["answered"] = f"2027-01-{rng.integers(1, 4):02d}T09:20:00Z"
        people.append(entry)
    testers = []
    for i in range(int(rng.choice([0, 0, 1, 2]))):
        tester: Document = {"id": f"t{i}", "name": "T", "size": names[rng.integers(m)]}
        label = rng.choice(["own", "none", *yarns])
        held = sum(one.get("yarn", {}).get("label") == label for one in testers)
        if label == "own" or (label in yarns and (yarns[label] is None or held < yarns[label])):
            tester["yarn"] = {"label": "Own choice" if label == "own" else str(label)}
        testers.append(tester)
    return document(*people, sizes=sizes, least=least, most=most, yarns=yarns, testers=tuple(testers))


def enumerated(
    file: Document,
    *,
    reach: float = 5.0,
    pins: Mapping[str, tuple[str | None, str | None]] | None = None,
    excluded: frozenset[tuple[str, str | None]] = frozenset(),
) -> tuple[int, ...] | None:
    """The least of (shortfall, −placed, misfit, wish steps, −sizes with two yarns, lateness); None if there is none.

    Misfit is in millionths of a centimetre.
    """
    pins = pins or {}
    places, sizes = file["round"]["places"], file["pattern"]["sizes"]
    body = {m["key"]: m["values"] for m in file["pattern"]["measures"]}
    held = {s: [t for t in file["testers"] if t["size"] == s] for s in sizes}
    labels = {y["label"]: y["key"] for y in file["round"]["yarns"]}
    given = [labels.get(t["yarn"]["label"]) for t in file["testers"] if "yarn" in t]
    makers = {y["key"]: y.get("makers", math.inf) - given.count(y["key"]) for y in file["round"]["yarns"]}
    kinds = {s: {labels.get(t["yarn"]["label"], t["id"]) for t in held[s] if "yarn" in t} for s in sizes}
    people = sorted(file["candidates"], key=lambda c: ("answered" not in c, c.get("answered", ""), c["id"]))

    def choices(person: Document) -> Iterator[tuple[str, str | None, int, int]]:
        for size in sizes:
            shared = [key for key in person["measures"] if key in body]
            off = [(person["measures"][key] - body[key][size]) ** 2 for key in shared]
            rms = math.sqrt(sum(off) / len(off)) if off else 0.0
            pin = pins.get(person["id"], (None, None))
            may = (bool(off) and rms <= reach) or size in person["wishes"] or pin[0] == size
            if not may or pin[0] not in (None, size):
                continue
            if (person["id"], size) in excluded or (person["id"], None) in excluded:
                continue
            steps = 0
            if person["wishes"]:
                steps = len(person["wishes"]) + 1
                if size in person["wishes"]:
                    steps = person["wishes"].index(size)
            yarns = [None] if person["own_yarn"] else person["yarns"]
            for yarn in [pin[1]] if pin[1] else yarns:
                yield size, yarn, round(rms * 1_000_000), steps

    best: tuple[int, ...] | None = None

    def tried(at: int, chosen: list[tuple[int, str, str | None, int, int]]) -> None:
        nonlocal best
        if at < len(people):
            who = people[at]["id"]
            if who not in pins:
                tried(at + 1, chosen)
            for choice in choices(people[at]):
                tried(at + 1, [*chosen, (at, *choice)])
            return
        count = {s: len(held[s]) + sum(c[1] == s for c in chosen) for s in sizes}
        for s in sizes:
            if any(c[1] == s for c in chosen) and count[s] > places["most"].get(s, math.inf):
                return
        for key, left in makers.items():
            if (used := sum(c[2] == key for c in chosen)) and used > left:
                return
        two = sum(len(kinds[s] | {c[2] or c[0] for c in chosen if c[1] == s}) >= 2 for s in sizes)
        found = (
            sum(max(places["least"].get(s, 0) - count[s], 0) for s in sizes),
            -len(chosen),
            sum(c[3] for c in chosen),
            sum(c[4] for c in chosen),
            -two,
            sum(c[0] for c in chosen),
        )
        if best is None or found < best:
            best = found

    tried(0, [])
    return best
