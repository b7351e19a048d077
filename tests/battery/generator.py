"""Random test rounds with faults planted in them, for judging the judge.

Nothing here knows how the analysis thinks. People are drawn as people are: they change needles until the stitch
gauge is hit and take the row gauge they get; a garment is not quite its swatch; rulers are read to half a
centimetre or a quarter of an inch; now and then half of the whole is written down, or inches, or another
measurement, or two digits the wrong way round; some send no swatch, no counts, or half of the measurements, and
some measure before washing, of whom a few say that it was after. Pattern and faults are invented afresh for every round.

The kernel's sheet works the formulas; what is true and what is read is made up here, and the kernel never
imports this module.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from testround.kernel.round import Pattern, Round
from testround.kernel.sheet import GaugeColumns, Inputs, Sheet

FloatArray = NDArray[np.float64]
LevelName = Literal["plain", "hard"]

INCH = 2.54
SCORED_FROM = 1.5
"""Tolerances from which on a planted fault is to be found."""


@dataclass(frozen=True)
class Level:
    """How hard the rounds are."""

    name: LevelName
    testers: tuple[int, int]
    tolerances: tuple[float, float]
    slips: float
    heavy: bool
    unreported: float


LEVELS: Mapping[LevelName, Level] = {
    "plain": Level("plain", (6, 40), (1.5, 4.0), 0.05, heavy=False, unreported=0.0),
    "hard": Level("hard", (6, 16), (1.2, 2.6), 0.08, heavy=True, unreported=0.4),
}

SIZE_NAMES = ("A", "B", "C", "D", "E", "F", "G", "H", "J", "K", "L", "M")
STEMS = (
    "back", "front", "yoke", "sleeve", "cuff", "collar", "hem", "band", "pocket", "shoulder", "panel", "gusset",
    "hood", "placket", "facing",
)  # fmt: skip
SLIPS = ("half", "inches", "swapped-digits", "other-dimension")
WHOLE_PIECE = ""
"""The dimension of a slip that is one of all that a tester measured."""
WASH_STITCHES, WASH_ROWS = 0.015, 0.03
"""Standard deviations of what washing does to a gauge, between yarns."""
UNBLOCKED = 0.02
"""How many of those with a swatch from before washing measure the piece then, and say that it was washed."""
TELLING = 5.0
"""Standard deviations of what garments and readings of swatches differ by, from which on washing makes so large a
difference that a piece measured before it is scored as a slip: by likelihood against fifty to one, whoever knew every
variance would tell nineteen in twenty."""


@dataclass(frozen=True)
class Planted:
    """A fault of the pattern.

    ``kind`` is that of the finding that should say it. ``tolerances`` is how far the worst-hit measurement is
    off. ``deviation`` is cm by size of a finished size; ``counts`` the right count by size where one is to be
    proposed. ``extent`` and ``sizes`` are None for kinds without sizes.
    """

    kind: str
    subject: str
    extent: str | None
    sizes: tuple[str, ...] | None
    tolerances: float
    deviation: Mapping[str, float] = field(default_factory=dict)
    counts: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Slip:
    """One gross slip: whose, of what (a dimension, or the whole piece), and the causes that would give this value."""

    tester: str
    dimension: str
    causes: frozenset[str]


@dataclass(frozen=True)
class Truth:
    """What nobody in the round can see. Testers by dimensions (n, d), by axes (n, a), sizes by dimensions (s, d).

    ``garment_off`` is how far each garment's log gauge lies from the tester's swatch as it was read, apart from
    chance nothing; ``u_garment`` its standard deviation, ``u_reading`` that of everything else in a reading.
    """

    faults: tuple[Planted, ...]
    slips: tuple[Slip, ...]
    deviation: FloatArray
    u_garment: FloatArray
    u_reading: FloatArray
    slipped: NDArray[np.bool_]
    swatch_off: FloatArray
    """Log of every tester's true gauge over the stated one, NaN without a blocked swatch."""
    u_swatch: FloatArray
    misled: Mapping[str, NDArray[np.bool_]]
    """By number with a worked-count fault: who worked the other count and said so."""
    reporting: Mapping[str, NDArray[np.bool_]]
    said_blocked: tuple[str, ...]
    """Who measured before washing and said after, whether anybody could tell or not."""


@dataclass(frozen=True)
class Trial:
    seed: int
    level: Level
    round: Round
    truth: Truth


def trial(level: LevelName, seed: int) -> Trial:
    """One round with its truth; the same for the same level and seed."""
    return _Maker(LEVELS[level], seed).trial()


class _Maker:
    def __init__(self, level: Level, seed: int) -> None:
        self.level, self.seed = level, seed
        self.rng = np.random.default_rng([seed, list(LEVELS).index(level.name)])

    def trial(self) -> Trial:
        self.draw_pattern()
        self.draw_people()
        self.plant()
        document = self.work()
        return Trial(
            self.seed, self.level, Round.model_validate_json(json.dumps(document)), self.truth(document)
        )

    # Pattern

    def draw_pattern(self) -> None:
        rng = self.rng
        self.graded = bool(rng.random() < 0.8)
        knit = bool(rng.random() < 0.65)
        self.sizes = SIZE_NAMES[: rng.integers(3, 13)] if self.graded else ()
        stitches = float(rng.integers(24, 61)) / 2 if knit else float(rng.integers(16, 45)) / 2
        ratio = rng.uniform(1.2, 1.55) if knit else rng.uniform(0.5, 1.1)
        gauges = [("body", stitches, round(stitches * ratio * 2) / 2)]
        if rng.random() < 0.25:
            gauges.append(("edge", round(stitches * rng.uniform(0.9, 1.3) * 2) / 2, gauges[0][2] + 1))
        s = len(self.sizes)
        bust = rng.uniform(70, 85) + np.concatenate(
            [[0], np.cumsum(rng.choice([5, 8, 10, 10, 12], max(s - 1, 0)))]
        )
        self.body = {
            "bust": np.round(bust),
            "arm": np.round(2 * (0.2 * bust + 9)) / 2,
            "depth": np.round(2 * (0.09 * bust + 10.5)) / 2,
        }
        numbers: list[dict[str, Any]] = []
        dimensions: list[dict[str, Any]] = []
        stems = rng.permutation(STEMS)[: rng.integers(5, 16)]
        last: dict[str, str] = {}
        for j, stem in enumerate(stems):
            gauge, _, _ = gauges[rng.integers(len(gauges))] if rng.random() < 0.3 else gauges[0]
            # At least two widths and two lengths, as any garment has.
            across = j in (0, 2) or (j not in (1, 3) and bool(rng.random() < 0.55))
            axis, word = ("st", "sts") if across else ("row", "rows")
            where = f"{gauge}.{axis}"
            key = f"{stem}_{word}"
            of = int(rng.choice([1, 2, 2, 4]))
            plus = int(rng.choice([0, 0, 1])) if of > 1 else 0
            base = self.draw_base(j)
            numbers.append(
                {
                    "key": key,
                    "label": f"{stem} {word}",
                    "place": f"Step {j + 1}",
                    "unit": axis,
                    "formula": f"multiple({base} * {where}, of={of}, plus={plus})",
                }
            )
            form = rng.random()
            if form < 0.55:
                formula = f"{key} / {where}"
            elif form < 0.7:
                formula = f"2 * {key} / {where}"
            elif form < 0.8:
                formula = f"{key} / {where} + {rng.integers(2, 9)}"
            elif where in last:
                formula = f"({key} + {last[where]}) / {where}"
            else:
                formula = f"{key} / {where}"
            last[where] = key
            dimensions.append(
                {
                    "key": f"{stem}_{'width' if across else 'length'}",
                    "label": f"{stem} {'width' if across else 'length'}",
                    "formula": formula,
                    "tolerance": 1.0,
                }
            )
        source: dict[str, Any] = {
            "title": "Thornmere",
            "edition": "0.3",
            "craft": "knit" if knit else "crochet",
            "kind": "graded" if self.graded else "made-to-measure",
            "gauges": [
                {"key": key, "label": key, "stitches": st, "rows": row, "tool_mm": 4.0}
                for key, st, row in gauges
            ],
            "sizes": list(self.sizes),
            "measures": [
                {"key": "bust", "label": "Full bust"},
                {"key": "arm", "label": "Upper arm"},
                {"key": "depth", "label": "Armhole depth"},
            ],
            "numbers": numbers,
            "dimensions": dimensions,
        }
        if self.graded:
            for measure in source["measures"]:
                measure["values"] = dict(zip(self.sizes, self.body[measure["key"]].tolist(), strict=True))
        self.source = source
        sheet = Sheet(Pattern.model_validate(source))
        inputs = sheet.stated() if self.graded else self.inputs_of(sheet, self.draw_bodies(3))
        worked = sheet.dimensions(inputs, sheet.numbers(inputs))
        for dimension in dimensions:
            length = float(np.mean(worked[dimension["key"]]))
            dimension["tolerance"] = float(np.clip(round(2 * length * rng.uniform(0.03, 0.06)) / 2, 0.5, 4.0))
        if self.graded:
            self.print_all(sheet)
        self.sheet = Sheet(Pattern.model_validate(source))
        self.tolerance = np.array([d["tolerance"] for d in dimensions])
        self.axes = [(g["key"], axis) for g in source["gauges"] for axis in ("st", "row")]

    def draw_base(self, j: int) -> str:
        rng = self.rng
        kind = rng.random()
        if j == 0 or kind < 0.3:
            return f"({rng.choice(['0.5', '0.25', '0.5'])} * bust + {rng.integers(2, 8)})"
        if kind < 0.5:
            return f"(arm + {rng.integers(1, 9)})"
        if kind < 0.65:
            return f"(depth + {rng.integers(0, 6)})"
        return f"{rng.choice([6, 8, 11, 14, 18, 22, 30, 38, 44, 52])}"

    def print_all(self, sheet: Sheet) -> None:
        inputs = sheet.stated()
        numbers = sheet.numbers(inputs)
        dimensions = sheet.dimensions(inputs, numbers)
        for number in self.source["numbers"]:
            if self.rng.random() < 0.93:
                number["printed"] = self.by_size(numbers[number["key"]])
        for dimension in self.source["dimensions"]:
            if self.rng.random() < 0.7:
                dimension["printed"] = self.by_size(np.round(2 * dimensions[dimension["key"]]) / 2)

    def by_size(self, values: FloatArray) -> dict[str, float]:
        return dict(zip(self.sizes, map(float, values), strict=True))

    # People

    def draw_bodies(self, n: int) -> list[dict[str, float]]:
        rng = self.rng
        bust = rng.uniform(78, 125, n)
        return [
            {
                "bust": float(round(2 * b) / 2),
                "arm": float(round(2 * (0.2 * b + 9 + rng.normal(0, 1.5))) / 2),
                "depth": float(round(2 * (0.09 * b + 10.5 + rng.normal(0, 0.8))) / 2),
            }
            for b in bust
        ]

    def inputs_of(self, sheet: Sheet, bodies: list[dict[str, float]]) -> Inputs:
        n = len(bodies)
        gauges = {
            g.key: GaugeColumns(np.full(n, g.stitches / 10), np.full(n, g.rows / 10))
            for g in sheet.pattern.gauges
        }
        return Inputs(gauges, sheet.worked_from(bodies).measures)

    def noise(self, *shape: int) -> tuple[FloatArray, FloatArray]:
        """Standard noise, and the standard deviation each value was drawn with.

        In heavy-tailed rounds that of Student's t with three degrees of freedom, drawn as a normal with a
        variance of its own. Whoever knows those variances knows more than anyone can: the information is
        what the distribution carries, two thirds of theirs (Lange, Little and Taylor 1989).
        """
        z = self.rng.normal(size=shape)
        if not self.level.heavy:
            return z, np.ones(shape)
        scale = 0.75 * np.sqrt(3 / self.rng.chisquare(3, shape))
        return z * scale, scale * np.sqrt(1.5)

    def draw_people(self) -> None:
        rng, level = self.rng, self.level
        low, high = level.testers
        self.n = n = round(np.exp(rng.uniform(np.log(low), np.log(high))))
        self.names = [f"p{i:03d}" for i in rng.permutation(n)]
        s = len(self.sizes)
        liking = rng.dirichlet(np.full(s, 4.0)) if s else np.empty(0)
        self.size = rng.choice(s, n, p=liking) if s else np.zeros(n, dtype=int)
        self.bodies = self.draw_bodies(n)
        a = len(self.axes)
        stated = np.array([g[word] / 10 for g in self.source["gauges"] for word in ("stitches", "rows")])
        rows = np.array([axis == "row" for _, axis in self.axes])
        self.stated, self.rows = stated, rows
        spread = np.where(rows, rng.uniform(0.025, 0.05), rng.uniform(0.008, 0.02))
        self.spread = spread
        self.hand = rng.normal(size=(n, a)) * spread
        self.u_garment = np.full((n, a), rng.uniform(0.008, 0.02))
        self.garment = rng.normal(size=(n, a)) * self.u_garment
        self.inches = rng.random(n) < 0.3
        self.width = np.where(self.inches[:, None], 4 * INCH, rng.choice([10.0, 10.0, 12.0, 15.0], (n, a)))
        self.wash = rng.normal(0, np.where(rows, WASH_ROWS, WASH_STITCHES)) + rng.normal(0, 0.008, (n, a))
        self.no_swatch = rng.random(n) < 0.08
        self.no_counts = rng.random(n) < 0.12
        self.nothing_finished = rng.random(n) < 0.06
        self.unblocked = rng.random(n) < 0.07
        self.worked_swatch = rng.random(n) < 0.35
        # Drawn apart, so that all else is what it would be without.
        apart = np.random.default_rng([self.seed, list(LEVELS).index(self.level.name), 1])
        both_swatches = self.worked_swatch & ~self.no_swatch
        self.says_blocked = both_swatches & ~self.unblocked & (apart.random(n) < UNBLOCKED)

    # Faults

    def plant(self) -> None:
        rng = self.rng
        s, d = max(len(self.sizes), 1), len(self.tolerance)
        self.faults: list[Planted] = []
        self.gauge_off = np.zeros(len(self.axes))
        self.misled: dict[str, FloatArray] = {}
        self.pull = float(rng.uniform(0.75, 1.0))
        # No pattern is right to the millimetre.
        harmless = rng.uniform(0, 0.2)
        self.deviation = (
            rng.normal(0, harmless, d) * self.tolerance + rng.normal(0, harmless / 2, (s, d)) * self.tolerance
        )
        self.right = self.sheet
        taken: set[str] = set()
        many = int(rng.choice([0, 1, 2, 3], p=[0.25, 0.35, 0.25, 0.15]))
        kinds = ["finished-size", "worked-count", "stated-gauge", "printed-count", "schematic"]
        for _ in range(many):
            kind = str(rng.choice(kinds, p=[0.5, 0.15, 0.15, 0.1, 0.1]))
            if not self.graded and kind not in ("finished-size", "worked-count"):
                kind = "finished-size"
            free = [j for j in range(d) if not self.touches(j) & taken]
            if not free:
                break
            j = int(rng.choice(free))
            fault = {
                "finished-size": self.plant_size,
                "worked-count": self.plant_worked,
                "stated-gauge": self.plant_gauge,
                "printed-count": self.plant_misprint,
                "schematic": self.plant_schematic,
            }[kind](j)
            if fault is None:
                continue
            self.faults.append(fault)
            # One fault a measurement, so that each can be told from the others.
            taken |= self.touches(j)
        self.sheet = Sheet(Pattern.model_validate(self.source))

    def touches(self, j: int) -> set[str]:
        """A dimension, and those that share its number."""
        keys = {x["key"] for x in self.source["dimensions"]}
        return {self.source["dimensions"][j]["key"], *(keys & set(self.sheet.follows(self.number_of(j))))}

    def number_of(self, j: int) -> str:
        return str(self.source["numbers"][j]["key"])

    def how_far(self) -> float:
        low, high = self.level.tolerances
        return float(self.rng.uniform(low, high))

    def draw_sizes(self) -> tuple[str, list[int]]:
        """An extent other than growth, and the sizes concerned."""
        rng, s = self.rng, len(self.sizes)
        if rng.random() < 0.4:
            return "all-sizes", list(range(s))
        if s >= 5 and rng.random() < 0.12:
            return "some-sizes", sorted(rng.choice(s, 2, replace=False).tolist())
        length = int(rng.integers(1, max(s // 2, 1) + 1))
        start = int(rng.choice([0, s - length, rng.integers(0, s - length + 1)]))
        return "some-sizes", list(range(start, start + length))

    def plant_size(self, j: int) -> Planted | None:
        rng, far = self.rng, self.how_far()
        key = self.source["dimensions"][j]["key"]
        off = far * self.tolerance[j] * float(rng.choice([-1, 1]))
        if off < 0 and far * self.tolerance[j] > 0.5 * self.typical(j):
            off = -off
        if not self.graded:
            self.deviation[:, j] += off
            return Planted("finished-size", key, None, None, far, {"": off})
        s = len(self.sizes)
        profile = np.zeros(s)
        if rng.random() < 1 / 3:
            extent, chosen = "with-size", list(range(s))
            # It grows as the body does, and the sizes' steps are uneven; either end may be the worse.
            along = (self.body["bust"] - self.body["bust"][0]) / np.ptp(self.body["bust"])
            if rng.random() < 0.4:
                along = 1 - along
            near = rng.uniform(-0.5, 0.35)
            profile = off * (near + (1 - near) * along)
        else:
            extent, chosen = self.draw_sizes()
            profile[chosen] = off
        self.deviation[:, j] += profile
        sizes = tuple(self.sizes[k] for k in chosen)
        return Planted("finished-size", key, extent, sizes, far, self.by_size(profile))

    def typical(self, j: int) -> float:
        inputs = self.right.stated() if self.graded else self.inputs_of(self.right, self.bodies[:1])
        return float(
            np.min(
                self.right.dimensions(inputs, self.right.numbers(inputs))[self.source["dimensions"][j]["key"]]
            )
        )

    def lever(self, j: int) -> float:
        """What one more of the number does to its dimension, cm."""
        inputs = self.right.stated() if self.graded else self.inputs_of(self.right, self.bodies[:1])
        key, number = self.source["dimensions"][j]["key"], self.number_of(j)
        numbers = self.right.numbers(inputs)
        before = self.right.dimensions(inputs, numbers)[key]
        numbers[number] = numbers[number] + 1
        return float(np.mean(self.right.dimensions(inputs, numbers)[key] - before))

    def whole_offset(self, j: int) -> tuple[float, float]:
        """A whole number of stitches or rows about as many tolerances off as is to be, and how many that is."""
        lever = self.lever(j)
        of = (self.right.multiple_of(self.number_of(j)) or (1.0, 0.0))[0]
        off = max(round(self.how_far() * self.tolerance[j] / lever / of), 1) * of
        return off * float(self.rng.choice([-1, 1])), off * lever / self.tolerance[j]

    def plant_worked(self, j: int) -> Planted | None:
        off, far = self.whole_offset(j)
        number = self.number_of(j)
        text = self.text(number)
        if (text + off < 0.6 * text).any() or (text + off > 1.6 * text).any():
            return None
        extent, chosen = self.draw_sizes() if self.graded else (None, [])
        concerned = np.isin(self.size, chosen) if self.graded else np.ones(self.n, dtype=bool)
        self.misled[number] = np.where(concerned & (self.rng.random(self.n) < self.pull), off, 0.0)
        if not self.graded:
            return Planted("worked-count", number, None, None, far)
        sizes = tuple(self.sizes[k] for k in chosen)
        counts = {self.sizes[k]: float(text[k] + off) for k in chosen}
        return Planted("worked-count", number, extent, sizes, far, counts=counts)

    def text(self, number: str) -> FloatArray:
        inputs = self.right.stated() if self.graded else self.inputs_of(self.right, self.bodies)
        return self.right.numbers(inputs)[number]

    def plant_gauge(self, j: int) -> Planted | None:
        # Stitches are hit by changing needles; rows are what they are.
        choices = [k for k in range(len(self.axes)) if self.rows[k] or self.rng.random() < 0.15]
        slopes = self.slopes()
        choices = [k for k in choices if slopes[:, k].any()]
        if not choices:
            return None
        k = int(self.rng.choice(choices))
        if self.gauge_off[k]:
            return None
        far = self.how_far()
        steepest = float(np.max(slopes[:, k] / self.tolerance))
        off = min(far / steepest, 0.2)
        self.gauge_off[k] = off * float(self.rng.choice([-1, 1]))
        key, axis = self.axes[k]
        return Planted("stated-gauge", f"{key}.{axis}", None, None, off * steepest)

    def slopes(self) -> FloatArray:
        """Largest |∂dimension/∂ln gauge| over sizes, (d, a), by moving each gauge a little."""
        inputs = self.right.stated() if self.graded else self.inputs_of(self.right, self.bodies[:1])
        numbers = self.right.numbers(inputs)
        keys = [d["key"] for d in self.source["dimensions"]]
        found = np.zeros((len(keys), len(self.axes)))
        for k, (gauge, axis) in enumerate(self.axes):
            columns = inputs.gauges[gauge]
            more = (
                GaugeColumns(columns.st * 1.001, columns.row)
                if axis == "st"
                else GaugeColumns(columns.st, columns.row * 1.001)
            )
            moved = self.right.dimensions(self.right.with_gauges(inputs, {gauge: more}), numbers)
            before = self.right.dimensions(inputs, numbers)
            found[:, k] = [np.max(np.abs(moved[key] - before[key])) / 0.001 for key in keys]
        return found

    def plant_misprint(self, j: int) -> Planted | None:
        number = self.source["numbers"][j]
        if "printed" not in number:
            return None
        chosen = sorted(
            self.rng.choice(len(self.sizes), int(self.rng.choice([1, 1, 2])), replace=False).tolist()
        )
        off, far = self.whole_offset(j)
        text = self.text(number["key"])
        printed = dict(number["printed"])
        for k in chosen:
            if not 0.7 * text[k] <= text[k] + off <= 1.4 * text[k]:
                return None
            printed[self.sizes[k]] = float(text[k] + off)
        number["printed"] = printed
        sizes = tuple(self.sizes[k] for k in chosen)
        extent = "all-sizes" if len(sizes) == len(self.sizes) else "some-sizes"
        counts = {size: float(text[k]) for k, size in zip(chosen, sizes, strict=True)}
        return Planted("printed-count", number["key"], extent, sizes, far, counts=counts)

    def plant_schematic(self, j: int) -> Planted | None:
        dimension = self.source["dimensions"][j]
        if "printed" not in dimension:
            return None
        chosen = sorted(
            self.rng.choice(len(self.sizes), int(self.rng.choice([1, 1, 2])), replace=False).tolist()
        )
        # Printed measurements are rounded to the half centimetre, or the quarter inch: a fault is beyond that.
        off = max(self.how_far() * self.tolerance[j], 1.5) + 0.3
        off = round(2 * off) / 2 * float(self.rng.choice([-1, 1]))
        printed = dict(dimension["printed"])
        for k in chosen:
            if printed[self.sizes[k]] + off <= 1:
                return None
            printed[self.sizes[k]] += off
        dimension["printed"] = printed
        sizes = tuple(self.sizes[k] for k in chosen)
        extent = "all-sizes" if len(sizes) == len(self.sizes) else "some-sizes"
        return Planted("schematic", dimension["key"], extent, sizes, abs(off) / self.tolerance[j])

    # What they make of it, and what they send

    def work(self) -> dict[str, Any]:
        rng, n = self.rng, self.n
        sheet, keys = self.sheet, [d["key"] for d in self.source["dimensions"]]
        gauge = self.stated * np.exp(self.gauge_off + self.hand)
        self.swatch_off = self.gauge_off + self.hand
        count = np.round(4 * gauge * self.width * np.exp(rng.normal(0, 0.008, gauge.shape))) / 4
        read = count / self.width
        self.u_swatch = np.hypot(np.hypot(0.12 / count, 0.1 / self.width), 0.008)
        made = gauge * np.exp(self.garment)
        if self.graded:
            mine = [self.sizes[k] for k in self.size]
            stated = sheet.stated(mine)
            given = {key: value[self.size] for key, value in sheet.printed_numbers().items()}
            numbers = sheet.numbers(stated, given)
            computed = sheet.numbers(stated)
        else:
            base = self.inputs_of(sheet, self.bodies)
            own = np.where(self.no_swatch[:, None], self.stated, read)
            stated = Inputs(self.columns(own), base.measures)
            computed = numbers = sheet.numbers(stated)
        worked = self.worked(numbers, computed)
        true = sheet.dimensions(Inputs(self.columns(made), stated.measures), worked)
        unwashed = sheet.dimensions(Inputs(self.columns(made * np.exp(self.wash)), stated.measures), worked)
        shift = self.deviation[self.size]
        before = self.unblocked | self.says_blocked
        length = np.column_stack([np.where(before, unwashed[key], true[key]) for key in keys]) + shift
        z, u = self.noise(n, len(keys))
        own_piece = 0.008 * np.abs(length)
        reading = 0.2
        half_step = np.where(self.inches, INCH / 4, 0.5)[:, None] / np.sqrt(12)
        self.u_reading = np.sqrt((own_piece**2 + reading**2) * u**2 + half_step**2)
        length = np.maximum(length + z * np.hypot(own_piece, reading), 0.6)
        self.draw_slips(length, keys)
        testers = [self.tester(i, keys, length[i], worked, numbers, count) for i in range(n)]
        return {
            "format": "testround/round",
            "version": 1,
            "pattern": self.source,
            "round": {"title": "First test"},
            "testers": testers,
        }

    def columns(self, gauge: FloatArray) -> dict[str, GaugeColumns]:
        keys = [g["key"] for g in self.source["gauges"]]
        return {key: GaugeColumns(gauge[:, 2 * k], gauge[:, 2 * k + 1]) for k, key in enumerate(keys)}

    def worked(
        self, text: Mapping[str, FloatArray], computed: Mapping[str, FloatArray]
    ) -> dict[str, FloatArray]:
        """What each tester has on the needles: the text, what it leads to, and mistakes of one's own."""
        rng = self.rng
        worked = {key: value.copy() for key, value in text.items()}
        self.silent: set[tuple[int, str]] = set()
        for fault in self.faults:
            if fault.kind == "printed-count":
                # Some see the misprint and work what it should be.
                right = rng.random(self.n) < 0.25
                worked[fault.subject] = np.where(right, computed[fault.subject], worked[fault.subject])
        for key, off in self.misled.items():
            worked[key] = worked[key] + off
        for i in range(self.n):
            if rng.random() < 0.12:
                key = str(rng.choice([x["key"] for x in self.source["numbers"]]))
                of = (self.sheet.multiple_of(key) or (1.0, 0.0))[0]
                worked[key][i] = max(worked[key][i] + of * rng.choice([-2, -1, 1, 2]), 1)
                if rng.random() < self.level.unreported:
                    self.silent.add((i, key))
        return worked

    def draw_slips(self, length: FloatArray, keys: list[str]) -> None:
        rng = self.rng
        self.slipped = np.zeros(length.shape, dtype=bool)
        self.written: dict[tuple[int, int], float] = {}
        self.slips: list[Slip] = []
        for i, j in zip(*np.nonzero(rng.random(length.shape) < self.level.slips), strict=True):
            true = float(np.round(2 * length[i, j]) / 2)
            others = [float(np.round(2 * length[i, k]) / 2) for k in range(len(keys)) if k != j]
            cause = str(rng.choice(SLIPS, p=[0.3, 0.3, 0.2, 0.2]))
            unit = INCH if self.inches[i] else 1.0
            read = round(length[i, j] / unit * (4 if self.inches[i] else 2)) / (4 if self.inches[i] else 2)
            values = {
                "half": [true / 2],
                "inches": [round(true / INCH * 4) / 4],
                "swapped-digits": [swapped * unit for swapped in _swapped(read)],
                "other-dimension": others,
                # Nobody here does these, but a slip may come out as if they had.
                "double": [true * 2],
                "centimetres": [true * INCH],
                "decimal-point": [true / 10],
                "millimetres": [true * 10],
            }
            options = [v for v in values[cause] if _gross(v, true, self.tolerance[j])]
            if not options:
                continue
            value = float(rng.choice(options))
            near = {
                one
                for one, all_values in values.items()
                if any(abs(v - value) <= max(0.03 * value, 0.75) for v in all_values)
            }
            self.slipped[i, j] = True
            self.written[int(i), int(j)] = value
            self.slips.append(Slip(self.names[i], keys[j], frozenset(near | {cause})))

    def tester(
        self, i: int, keys: list[str], length: FloatArray, worked: Mapping[str, FloatArray],
        text: Mapping[str, FloatArray], count: FloatArray,
    ) -> dict[str, Any]:  # fmt: skip
        rng = self.rng
        found: dict[str, Any] = {"id": self.names[i], "name": f"Person {self.names[i]}"}
        if self.graded:
            found["size"] = self.sizes[self.size[i]]
        else:
            found["measures"] = self.bodies[i]
        found["swatches"] = []
        for k, gauge in enumerate(self.source["gauges"]):
            across, up = 2 * k, 2 * k + 1
            one = {"gauge": gauge["key"], "tool_mm": 4.0, "state": "blocked"}
            if self.worked_swatch[i]:
                before = np.round(4 * count[i] * np.exp(self.wash[i])) / 4
                found["swatches"].append(self.swatch(one | {"state": "worked"}, i, before, across, up))
            if not self.no_swatch[i]:
                found["swatches"].append(self.swatch(one, i, count[i], across, up))
        self.counted = getattr(self, "counted", {})
        if not self.no_counts[i]:
            found["counts"] = []
            for key in worked:
                if rng.random() < 0.9:
                    said = text[key][i] if (i, key) in self.silent else worked[key][i]
                    found["counts"].append({"number": key, "worked": float(said)})
                    self.counted.setdefault(key, np.zeros(self.n, dtype=bool))[i] = True
        if not self.nothing_finished[i]:
            found["finished"] = [
                self.reading(i, j, key, float(length[j])) for j, key in enumerate(keys) if rng.random() < 0.9
            ]
        return found

    def swatch(self, one: dict[str, Any], i: int, count: FloatArray, across: int, up: int) -> dict[str, Any]:
        return one | {
            "width": float(self.width[i, across]),
            "stitches": float(count[across]),
            "height": float(self.width[i, up]),
            "rows": float(count[up]),
        }

    def reading(self, i: int, j: int, key: str, length: float) -> dict[str, Any]:
        step = INCH / 4 if self.inches[i] else 0.5
        many = int(self.rng.choice([1, 1, 2, 3]))
        if (i, j) in self.written:
            values = [self.written[i, j]] * many
        else:
            values = [max(round((length + self.rng.normal(0, 0.1)) / step), 1) * step for _ in range(many)]
        state = "worked" if self.unblocked[i] else "blocked"
        return {"dimension": key, "state": state, "values": values}

    def truth(self, document: Mapping[str, Any]) -> Truth:
        sent = np.zeros(self.slipped.shape, dtype=bool)
        keys = [d["key"] for d in self.source["dimensions"]]
        for i, tester in enumerate(document["testers"]):
            for one in tester.get("finished", ()):
                sent[i, keys.index(one["dimension"])] = True
        slips = tuple(
            slip for slip in self.slips if sent[self.names.index(slip.tester), keys.index(slip.dimension)]
        )
        slips += self.pieces_unblocked(sent)
        counted = getattr(self, "counted", {})
        nobody = np.zeros(self.n, dtype=bool)
        return Truth(
            faults=tuple(self.faults),
            slips=slips,
            deviation=self.deviation,
            u_garment=np.hypot(self.u_garment, self.u_swatch),
            u_reading=self.u_reading,
            slipped=(self.slipped | self.says_blocked[:, None]) & sent,
            swatch_off=np.where(self.no_swatch[:, None], np.nan, self.swatch_off),
            u_swatch=np.hypot(self.u_swatch, self.spread),
            misled={
                key: (off != 0)
                & counted.get(key, nobody)
                & ~np.array([(i, key) in self.silent for i in range(self.n)])
                for key, off in self.misled.items()
            },
            reporting={key: counted.get(key, nobody) for key in self.misled},
            said_blocked=tuple(self.names[i] for i in np.flatnonzero(self.says_blocked)),
        )

    def pieces_unblocked(self, sent: NDArray[np.bool_]) -> tuple[Slip, ...]:
        """Whole pieces measured before washing that are said to be washed, where washing makes a telling difference.

        A difference that drowns in what garments and swatches differ by anyway is nobody's to find.
        """
        along = self.slopes() > 0
        lengths = along[:, self.rows].any(axis=1)
        found = []
        for i in np.flatnonzero(self.says_blocked):
            widths = (sent[i] & along[:, ~self.rows].any(axis=1)).sum()
            concerned = along[sent[i]].any(axis=0)
            z = self.wash[i] / np.hypot(self.u_garment[i], self.u_swatch[i])
            large = np.sqrt((z[concerned] ** 2).sum()) >= TELLING
            if large and widths >= 2 and (sent[i] & lengths).sum() >= 2:
                found.append(Slip(self.names[i], WHOLE_PIECE, frozenset(["unblocked"])))
        return tuple(found)


def _swapped(value: float) -> list[float]:
    """The value with two neighbouring digits the wrong way round."""
    text = f"{value:g}"
    found = []
    for k in range(len(text) - 1):
        # Nobody writes a nought in front.
        if text[k : k + 2].isdigit() and text[k] != text[k + 1] and (k or text[1] != "0"):
            found.append(float(text[:k] + text[k + 1] + text[k] + text[k + 2 :]))
    return [v for v in found if v > 0]


def _gross(value: float, true: float, tolerance: float) -> bool:
    """Whether nobody could take it for an ordinary reading."""
    return abs(value - true) > max(3 * tolerance, 0.15 * true)
