"""Simulated test rounds: people with hands of their own make an invented pattern, and faults are planted.

Every person has a true gauge; a swatch is a noisy reading of it, and the garment differs a little from the
swatch. Widths follow stitches and lengths follow rows. The kernel never sees the truth.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from testround.kernel.round import Round
from testround.kernel.sheet import GaugeColumns, Sheet

SIZES = ("XS", "S", "M", "L", "XL", "2X", "3X", "4X", "5X")
BUST = (76, 86, 96, 106, 117, 127, 137, 147, 157)
ARM = (25, 27, 29, 32, 35, 38, 42, 45, 48)
DEPTH = (17, 18, 19, 20, 21, 22, 23, 24, 25)
STITCHES, ROWS = 22.0, 30.0

# key, unit, formula
NUMBERS: tuple[tuple[str, str, str], ...] = (
    ("back_sts", "st", "multiple((bust + 8) / 2 * body.st, of=2)"),
    ("front_sts", "st", "multiple((bust + 8) / 4 * body.st, of=2)"),
    ("hem_rows", "row", "multiple(6 * body.row, of=2)"),
    ("body_rows", "row", "multiple(34 * body.row, of=2)"),
    ("armhole_rows", "row", "multiple(depth * body.row, of=2)"),
    ("neck_sts", "st", "multiple(18 * body.st, of=2)"),
    ("shoulder_sts", "st", "multiple(11.5 * body.st)"),
    ("sleeve_sts", "st", "multiple((arm + 6) * body.st, of=2)"),
    ("cuff_sts", "st", "multiple(22 * body.st, of=4, plus=2)"),
    ("sleeve_rows", "row", "multiple(42 * body.row, of=2)"),
    ("cap_rows", "row", "multiple(0.6 * depth * body.row, of=2)"),
    ("band_rows", "row", "multiple(52 * body.row, of=4)"),
    ("band_sts", "st", "multiple(4 * body.st)"),
    ("pocket_sts", "st", "multiple(14 * body.st, of=2)"),
    ("pocket_rows", "row", "multiple(15 * body.row, of=2)"),
)
# key, tolerance, formula
DIMENSIONS: tuple[tuple[str, float, str], ...] = (
    ("chest", 3.0, "2 * back_sts / body.st"),
    ("front_width", 1.5, "front_sts / body.st"),
    ("hem_depth", 1.0, "hem_rows / body.row"),
    ("body_length", 2.0, "body_rows / body.row"),
    ("armhole", 1.5, "armhole_rows / body.row"),
    ("neck_width", 1.5, "neck_sts / body.st"),
    ("shoulder", 1.0, "shoulder_sts / body.st"),
    ("sleeve_width", 1.5, "sleeve_sts / body.st"),
    ("cuff", 1.0, "cuff_sts / body.st"),
    ("sleeve_length", 2.0, "sleeve_rows / body.row"),
    ("cap_depth", 1.0, "cap_rows / body.row"),
    ("band_length", 2.0, "band_rows / body.row"),
    ("band_width", 1.0, "band_sts / body.st"),
    ("pocket_width", 1.0, "pocket_sts / body.st"),
    ("pocket_depth", 1.0, "pocket_rows / body.row"),
)


def pattern() -> dict[str, Any]:
    """A cardigan in nine sizes, fifteen numbers and fifteen dimensions, everything printed right."""
    by_size = lambda values: dict(zip(SIZES, map(float, values), strict=True))  # noqa: E731
    found: dict[str, Any] = {
        "title": "Fenlight Cardigan",
        "edition": "0.9",
        "craft": "knit",
        "kind": "graded",
        "gauges": [
            {"key": "body", "label": "Stockinette", "stitches": STITCHES, "rows": ROWS, "tool_mm": 4.0}
        ],
        "sizes": list(SIZES),
        "measures": [
            {"key": "bust", "label": "Full bust", "values": by_size(BUST)},
            {"key": "arm", "label": "Upper arm", "values": by_size(ARM)},
            {"key": "depth", "label": "Armhole depth", "values": by_size(DEPTH)},
        ],
        "numbers": [
            {
                "key": key,
                "label": key.replace("_", " "),
                "place": f"Step {j}",
                "unit": unit,
                "formula": formula,
            }
            for j, (key, unit, formula) in enumerate(NUMBERS, 1)
        ],
        "dimensions": [
            {"key": key, "label": key.replace("_", " "), "tolerance": tolerance, "formula": formula}
            for key, tolerance, formula in DIMENSIONS
        ],
        "parts": [{"key": "body", "label": "Body", "stitches": "2 * back_sts * (body_rows + armhole_rows)"}],
    }
    sheet = _sheet(found)
    numbers = sheet.numbers(sheet.stated())
    dimensions = sheet.dimensions(sheet.stated(), numbers)
    for number in found["numbers"]:
        number["printed"] = by_size(numbers[number["key"]])
    for dimension in found["dimensions"]:
        dimension["printed"] = by_size(np.round(2 * dimensions[dimension["key"]]) / 2)
    return found


def _sheet(source: Mapping[str, Any]) -> Sheet:
    from testround.kernel.round import Pattern

    return Sheet(Pattern.model_validate(source))


@dataclass(frozen=True)
class Truth:
    """What is really so: the faults planted, and how much people vary.

    ``offsets``: dimension to size to cm ("*" for every size). ``rows`` and ``stitches``: what everybody's gauge
    is, as a factor of the stated one. ``worked``: number to stitches more than printed.
    """

    offsets: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    rows: float = 1.0
    stitches: float = 1.0
    worked: Mapping[str, float] = field(default_factory=dict)
    stitch_spread: float = 0.015
    row_spread: float = 0.03
    swatch_noise: float = 0.012
    garment_noise: float = 0.012
    reading_noise: float = 0.4


CLEAN = Truth()


def simulated_round(
    seed: int,
    testers: int,
    truth: Truth = CLEAN,
    *,
    source: Mapping[str, Any] | None = None,
    sizes: Sequence[str] = SIZES,
) -> dict[str, Any]:
    """A round file of that many testers, spread evenly over the sizes."""
    rng = np.random.default_rng(seed)
    source = source or pattern()
    sheet = _sheet(source)
    mine = [sizes[i % len(sizes)] for i in range(testers)]
    stated = sheet.stated(mine)
    index = [SIZES.index(size) for size in mine]
    numbers = sheet.numbers(stated, {key: v[index] for key, v in sheet.printed_numbers().items()})
    for key, more in truth.worked.items():
        numbers[key] = numbers[key] + more
    n = testers
    st = STITCHES / 10 * truth.stitches * np.exp(rng.normal(0, truth.stitch_spread, n))
    row = ROWS / 10 * truth.rows * np.exp(rng.normal(0, truth.row_spread, n))
    swatch_st = np.round(40 * st * np.exp(rng.normal(0, truth.swatch_noise, n))) / 4
    swatch_row = np.round(40 * row * np.exp(rng.normal(0, truth.swatch_noise, n))) / 4
    garment = GaugeColumns(
        st * np.exp(rng.normal(0, truth.garment_noise, n)),
        row * np.exp(rng.normal(0, truth.garment_noise, n)),
    )
    true = sheet.dimensions(sheet.with_gauges(stated, {"body": garment}), numbers)
    readings = {}
    for key, _, _ in DIMENSIONS:
        off = truth.offsets.get(key, {})
        shift = np.array([off.get(size, off.get("*", 0.0)) for size in mine])
        values = (true[key] + shift)[:, None] + rng.normal(0, truth.reading_noise, (n, 2))
        readings[key] = np.maximum(np.round(2 * values) / 2, 0.5)
    return {
        "format": "testround/round",
        "version": 1,
        "pattern": dict(source),
        "round": {"title": "First test"},
        "testers": [
            {
                "id": f"t{i + 1:04d}",
                "name": f"Tester {i + 1}",
                "size": mine[i],
                "swatches": [
                    {
                        "gauge": "body",
                        "state": "blocked",
                        "tool_mm": 4.0,
                        "width": 10.0,
                        "stitches": float(swatch_st[i]),
                        "height": 10.0,
                        "rows": float(swatch_row[i]),
                    }
                ],
                "counts": [{"number": key, "worked": float(numbers[key][i])} for key, _, _ in NUMBERS],
                "finished": [
                    {"dimension": key, "state": "blocked", "values": readings[key][i].tolist()}
                    for key, _, _ in DIMENSIONS
                ],
            }
            for i in range(n)
        ],
    }


def as_round(document: Mapping[str, Any]) -> Round:
    return Round.model_validate_json(json.dumps(document))


def finished(document: Mapping[str, Any], tester: int, dimension: str) -> dict[str, Any]:
    """One tester's entry for one dimension, to be changed in place."""
    return next(f for f in document["testers"][tester]["finished"] if f["dimension"] == dimension)
