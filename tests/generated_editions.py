"""Editions made by Hypothesis as designers make them: what they print is what their formulas give."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np
from hypothesis import strategies as st

from testround.kernel.amended import Amendment
from testround.kernel.consequences import rounded_for_print
from testround.kernel.round import Pattern
from testround.kernel.sheet import Sheet

_SIZES = ("XS", "S", "M", "L", "XL")


@st.composite
def editions(draw: st.DrawFn) -> Pattern:
    """A graded edition whose desk check is clean: counts to a multiple, counts of counts, counts by chance."""
    sizes = _SIZES[: draw(st.integers(1, 5))]
    first, step = draw(st.integers(70, 110)), draw(st.integers(2, 12))
    of, plus = draw(st.sampled_from([(2, 0), (4, 2), (6, 1), (1, 0)]))
    numbers = [
        ("back_sts", "st", f"multiple((bust + ease) / 2 * body.st, of={of}, plus={plus})"),
        ("body_rows", "row", f"multiple(length * body.row, of={draw(st.sampled_from([1, 2, 4]))})"),
        (
            "front_sts",
            "st",
            draw(st.sampled_from(["back_sts", "back_sts - 8", "multiple(back_sts / 2, of=2)"])),
        ),
        ("yoke_rows", "row", draw(st.sampled_from(["body_rows / 2", "multiple(body_rows * 0.4, of=2)"]))),
        ("neck_sts", "st", draw(st.sampled_from(["(back_sts - 20) / 2", "max(20, multiple(back_sts / 3))"]))),
        ("repeats", "rep", "multiple_down(front_sts / repeat_sts)"),
    ]
    document: dict[str, Any] = {
        "title": "Drawn",
        "edition": "1.0",
        "craft": draw(st.sampled_from(["knit", "crochet"])),
        "kind": "graded",
        "gauges": [
            {
                "key": "body",
                "label": "Body",
                "stitches": draw(st.integers(12, 34)),
                "rows": draw(st.integers(14, 44)),
            }
        ],
        "sizes": list(sizes),
        "measures": [
            {
                "key": "bust",
                "label": "Bust",
                "values": {size: first + step * j for j, size in enumerate(sizes)},
            }
        ],
        "constants": [
            {"key": "ease", "label": "Ease", "value": draw(st.integers(2, 16)), "unit": "cm"},
            {"key": "repeat_sts", "label": "Stitches of a repeat", "value": 6, "unit": "st"},
            {"key": "length", "label": "Length", "value": draw(st.integers(20, 60)), "unit": "cm"},
        ],
        "numbers": [
            {
                "key": key,
                "label": key.replace("_", " ").capitalize(),
                "place": "Body",
                "unit": unit,
                "formula": formula,
            }
            for key, unit, formula in numbers
        ],
        "dimensions": [
            {"key": "chest", "label": "Chest", "tolerance": 2, "formula": "(back_sts + front_sts) / body.st"},
            {"key": "side", "label": "Side", "tolerance": 2, "formula": "body_rows / body.row"},
            {
                "key": "whole",
                "label": "Whole",
                "tolerance": 2,
                "formula": "(body_rows + yoke_rows) / body.row",
            },
        ],
        "parts": [{"key": "all", "label": "All", "stitches": "(back_sts + front_sts) * body_rows"}],
        "yarn": {size: 800 + 100 * j for j, size in enumerate(sizes)},
    }
    printed = draw(st.sets(st.sampled_from([entry["key"] for entry in document["numbers"]]), min_size=1))
    measured = draw(st.sets(st.sampled_from(["chest", "side", "whole"])))
    return _printing(document, printed, measured)


def _printing(document: dict[str, Any], counts: set[str], measurements: set[str]) -> Pattern:
    """The edition with these printed as its own formulas have them."""
    for entry in document["numbers"]:
        if entry["key"] in counts:
            given = Sheet(Pattern.model_validate_json(json.dumps(document), strict=True))
            worked = given.numbers(given.stated(), given.printed_numbers())[entry["key"]]
            entry["printed"] = dict(
                zip(document["sizes"], np.maximum(np.floor(worked + 0.5), 0).tolist(), strict=True)
            )
    sheet = Sheet(Pattern.model_validate_json(json.dumps(document), strict=True))
    measured = sheet.dimensions(sheet.stated(), sheet.numbers(sheet.stated(), sheet.printed_numbers()))
    for entry in document["dimensions"]:
        if entry["key"] in measurements:
            values = [rounded_for_print(float(cm)) for cm in measured[entry["key"]]]
            entry["printed"] = dict(zip(document["sizes"], values, strict=True))
    return Pattern.model_validate_json(json.dumps(document), strict=True)


@st.composite
def corrections(draw: st.DrawFn, pattern: Pattern) -> list[Amendment]:
    """What a designer might accept of one erratum: counts that keep their multiple, perhaps for a measurement's sake."""
    sheet = Sheet(pattern)
    stands = sheet.numbers(sheet.stated(), sheet.printed_numbers())
    keys = draw(
        st.lists(st.sampled_from(["back_sts", "body_rows", "front_sts"]), min_size=1, max_size=2, unique=True)
    )
    found = []
    for key in keys:
        of, plus = sheet.multiple_of(key) or (1.0, 0.0)
        wanted = draw(st.lists(st.sampled_from(pattern.sizes), min_size=1, unique=True))
        now = {
            size: _near(stands[key], pattern.sizes.index(size), of, plus, draw(st.integers(-3, 3)))
            for size in wanted
        }
        unit = next(str(number.unit) for number in pattern.numbers if number.key == key)
        keeps = draw(st.sampled_from([(), ("side",)])) if key == "body_rows" else ()
        found.append(Amendment(key, unit, now, keeps))
    return found


def _near(column: Sequence[float], at: int, of: float, plus: float, steps: int) -> float:
    return max(float(np.round((column[at] - plus) / of) + steps) * of + plus, plus)
