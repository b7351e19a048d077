"""Laws of an analysis: what holds of every round, whatever was reported.

Rounds come from two sources: ``tests.generated`` makes any valid file, however odd, and the battery makes rounds as
people make them, with faults planted and slips in them.
"""

from __future__ import annotations

import dataclasses
import json
import os
import random
import subprocess
import sys
from collections.abc import Sequence
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from testround.kernel import pool as pooling
from testround.kernel.analysis import Analysis, analyse
from testround.kernel.discrepancy import discrepancies, worked_out
from testround.kernel.findings import FindingKind, Verdict, findings_json
from testround.kernel.pool import Remainders, pool
from testround.kernel.report_text import report_text
from testround.kernel.round import Round, Tester
from testround.kernel.sheet import Sheet
from testround.kernel.units import INCH_CM, parse_length
from tests.battery.generator import LevelName, Trial, trial
from tests.generated import rounds

ROOT = Path(__file__).parents[2]
LIKE_PEOPLE = [(level, seed) for seed in range(5) for level in ("plain", "hard")]
NEARLY_A_SHIFT = [("plain", 10), ("hard", 42)]
"""Rounds in which one more who agrees makes a harmless shift of all sizes nearly worth naming."""
ANY = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@cache
def drawn_and_analysed(level: LevelName, seed: int) -> tuple[Trial, Analysis]:
    drawn = trial(level, seed)
    return drawn, analyse(drawn.round)


def in_order_of_names(analysis: Analysis) -> dict[str, Any]:
    """The findings file, its cells in an order of their own."""
    document: dict[str, Any] = json.loads(findings_json(analysis.findings))
    document["cells"].sort(key=lambda cell: (cell["tester"], cell["dimension"]))
    return document


def with_testers(round_: Round, testers: Sequence[Tester]) -> Round:
    return round_.model_copy(update={"testers": tuple(testers)})


# The order of testers -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("level", "seed"), LIKE_PEOPLE)
def test_the_order_of_testers_plays_no_part_in_rounds_as_people_make_them(level, seed):
    drawn, analysis = drawn_and_analysed(level, seed)
    testers = drawn.round.testers
    shuffled = random.Random(seed).sample(testers, len(testers))

    other = analyse(with_testers(drawn.round, shuffled))

    assert in_order_of_names(other) == in_order_of_names(analysis)
    assert other.questions == analysis.questions
    assert other.deviations == analysis.deviations


@ANY
@given(rounds(), st.randoms(use_true_random=False))
def test_the_order_of_testers_plays_no_part_in_any_round(round_, shuffler):
    shuffled = list(round_.testers)
    shuffler.shuffle(shuffled)

    other = analyse(with_testers(round_, shuffled))

    assert in_order_of_names(other) == in_order_of_names(analyse(round_))


# Centimetres and inches -----------------------------------------------------------------------------------


def in_quarter_inches(length: float) -> Fraction:
    """The nearest quarter of an inch that is a length at all, in inches."""
    return Fraction(max(round(length / float(INCH_CM) * 4), 1), 4)


def typed(length: float, unit: str) -> float:
    """That length to a quarter of an inch, as it is kept when typed in inches or in centimetres."""
    inches = in_quarter_inches(length)
    if unit == "in":
        whole, quarters = divmod(inches, 1)
        return parse_length(f"{whole} {quarters}" if quarters else f"{whole}", "in").cm
    # An inch is 2.54 cm exactly, so that a quarter of one has three decimals of a centimetre.
    return parse_length(f"{float(inches * INCH_CM):.3f}", "cm").cm


def all_typed(round_: Round, unit: str) -> Round:
    """The round with every length in it typed anew: readings, swatches, bodies and the sheet's own."""
    document = round_.model_dump(mode="json")
    for tester in document["testers"]:
        tester["measures"] = {key: typed(cm, unit) for key, cm in tester["measures"].items()}
        for swatch in tester["swatches"]:
            for span in ("width", "height"):
                swatch[span] = swatch[span] and typed(swatch[span], unit)
        for finished in tester["finished"]:
            finished["values"] = [typed(cm, unit) for cm in finished["values"]]
    for measure in document["pattern"]["measures"]:
        measure["values"] = measure["values"] and {s: typed(cm, unit) for s, cm in measure["values"].items()}
    for dimension in document["pattern"]["dimensions"]:
        dimension["tolerance"] = typed(dimension["tolerance"], unit)
        if dimension["printed"]:
            dimension["printed"] = {s: typed(cm, unit) for s, cm in dimension["printed"].items()}
    return Round.model_validate(document)


@pytest.mark.parametrize("quarters", [1, 3, 7, 25, 63, 79, 158, 1573])
def test_a_length_is_the_same_number_whichever_unit_it_was_typed_in(quarters):
    cm = quarters / 4 * float(INCH_CM)

    assert typed(cm, "in") == typed(cm, "cm") == float(Fraction(quarters, 4) * INCH_CM)


@pytest.mark.parametrize(("level", "seed"), LIKE_PEOPLE[:4])
def test_centimetres_or_inches_give_the_same_findings(level, seed):
    """The same lengths, typed in the one unit or in the other.

    What does not hold, and is not meant: that a tape read to the half centimetre and one read to the quarter of an
    inch say the same. They give two numbers for one length, and each its own uncertainty.
    """
    round_ = trial(level, seed).round

    assert findings_json(analyse(all_typed(round_, "in")).findings) == findings_json(
        analyse(all_typed(round_, "cm")).findings
    )


# A formula with a length in it would be another formula for a longer body.
def scaled(k: float) -> Round:
    """A skirt for people k times as long, in stitches k times as large; what is read to a step is what it is."""
    sizes, hips = ("S", "M", "L"), (90.0, 100.0, 112.0)
    rng = np.random.default_rng(7)
    testers = []
    for i in range(12):
        st_, row = rng.normal(22, 0.4), rng.normal(30, 0.9)
        testers.append(
            {
                "id": f"t{i}",
                "name": "Someone",
                "size": sizes[i % 3],
                "swatches": [
                    {
                        "gauge": "body",
                        "state": "blocked",
                        "width": 10 * k,
                        "stitches": round(st_, 2),
                        "height": 10 * k,
                        "rows": round(row, 2),
                    }
                ],
                "finished": [
                    {
                        "dimension": "hip_width",
                        "state": "blocked",
                        "values": [(hips[i % 3] + rng.normal(0, 1)) * k],
                    },
                    {"dimension": "length", "state": "blocked", "values": [(54 + rng.normal(3, 1)) * k]},
                ],
            }
        )
    return Round.model_validate(
        {
            "format": "testround/round",
            "version": 1,
            "pattern": {
                "title": "Quillwork skirt",
                "edition": "1",
                "craft": "knit",
                "kind": "graded",
                "gauges": [{"key": "body", "label": "Body", "stitches": 22 / k, "rows": 30 / k}],
                "sizes": sizes,
                "measures": [
                    {
                        "key": "hip",
                        "label": "Hip",
                        "values": {s: h * k for s, h in zip(sizes, hips, strict=True)},
                    }
                ],
                "constants": [{"key": "long", "label": "Length", "value": 54 * k, "unit": "cm"}],
                "numbers": [
                    {
                        "key": "hip_sts",
                        "label": "Hip",
                        "unit": "st",
                        "formula": "multiple(hip * body.st, of=4)",
                    },
                    {"key": "rows", "label": "Rows", "unit": "row", "formula": "multiple(long * body.row)"},
                ],
                "dimensions": [
                    {
                        "key": "hip_width",
                        "label": "Hip",
                        "tolerance": 2.5 * k,
                        "formula": "hip_sts / body.st",
                    },
                    {"key": "length", "label": "Length", "tolerance": 2 * k, "formula": "rows / body.row"},
                ],
            },
            "round": {"title": "First test"},
            "testers": testers,
        }
    )


@pytest.mark.parametrize("k", [0.5, 2.0, float(INCH_CM)])
def test_a_piece_k_times_as_large_in_stitches_k_times_as_large_has_parts_k_times_as_large(k):
    """Whatever unit lengths are counted in, the three parts are the same lengths.

    Not meant of a whole analysis: a tape is read to half a centimetre on a doll's skirt as well, so the smaller
    piece is measured less surely, and says so.
    """
    plain, larger = (discrepancies(Sheet(r.pattern), r.testers) for r in (scaled(1.0), scaled(k)))

    for part in ("target", "after_counts", "expected", "measured", "counts", "gauge", "remainder"):
        assert getattr(larger, part) == pytest.approx(k * getattr(plain, part), abs=1e-9 * k), part
    assert larger.sensitivity == pytest.approx(k * plain.sensitivity, abs=1e-6 * k)
    for number, counts in plain.computed.items():
        assert larger.computed[number] == pytest.approx(counts, abs=1e-9)


@pytest.mark.parametrize("k", [0.5, 2.0, float(INCH_CM)])
@pytest.mark.parametrize("fault", [0.0, 3.5])
def test_the_pooled_estimate_knows_no_unit_but_for_how_steady_a_hand_can_be(k, fault, monkeypatch):
    """With that one length counted in the other unit too, every estimate is the same length."""
    rng = np.random.default_rng(3)
    n, d = 24, 4
    sensitivity = np.zeros((n, d, 2))
    sensitivity[:, ::2, 0] = sensitivity[:, 1::2, 1] = -40.0
    cells = Remainders(
        values=np.einsum("nda,na->nd", sensitivity, rng.normal(0, 0.02, (n, 2))) + rng.normal(0, 0.4, (n, d)),
        u_measured=np.full((n, d), 0.29),
        sensitivity=sensitivity,
        u_gauge=np.full((n, 2), 0.015),
        sizes=np.arange(n) % 4,
        n_sizes=4,
        expected=np.full(d, 40.0),
        tolerance=np.full(d, 1.5),
    )
    cells.values[cells.sizes >= 2, 1] += fault
    plain = pool(cells)

    monkeypatch.setattr(pooling, "STEADIEST", k * pooling.STEADIEST)
    other = pool(
        dataclasses.replace(
            cells,
            **{
                name: k * getattr(cells, name)
                for name in ("values", "u_measured", "sensitivity", "expected", "tolerance")
            },
        )
    )

    assert other.shapes == plain.shapes
    assert len(plain.shapes) == (fault > 0)
    for length in ("estimate", "u", "shift", "u_shift", "kappa", "fitted", "foretold"):
        assert getattr(other, length) == pytest.approx(k * getattr(plain, length), rel=1e-6, abs=1e-6), length
    for plain_number in ("df", "tau", "wobble", "weights", "evidence", "uneven", "price"):
        assert getattr(other, plain_number) == pytest.approx(
            getattr(plain, plain_number), rel=1e-6, abs=1e-6
        ), plain_number


# One more tester who agrees -------------------------------------------------------------------------------


def who_agrees(round_: Round, analysis: Analysis, size: str | None) -> Tester:
    """A tester with the gauge that testers have, who works what most work, and measures what that gauge and the
    pattern's own deviation foretell, to the last digit."""
    pattern, sheet = round_.pattern, Sheet(round_.pattern)
    pooled = {(g.gauge, g.axis): g.estimate or g.stated for g in analysis.gauges}
    tester: dict[str, Any] = {
        "id": "one-more",
        "name": "One more",
        "swatches": [
            {
                "gauge": gauge.key,
                "state": "blocked",
                "width": 10.0,
                "stitches": pooled[gauge.key, "st"],
                "height": 10.0,
                "rows": pooled[gauge.key, "row"],
            }
            for gauge in pattern.gauges
        ],
    }
    if size is None:
        tester["measures"] = next(t.measures for t in round_.testers if t.measures)
    else:
        tester["size"] = size
    said = discrepancies(sheet, [Tester.model_validate(tester)])
    worked = {
        key: float(np.where(np.isnan(printed), said.computed[key], printed)[0])
        for key, printed in said.printed.items()
    }
    for finding in analysis.findings.findings:
        if finding.kind is FindingKind.WORKED_COUNT and (finding.sizes is None or size in finding.sizes):
            worked[finding.subject] += finding.estimate or 0.0
    tester["counts"] = [{"number": key, "worked": count} for key, count in worked.items()]
    expected = discrepancies(sheet, [Tester.model_validate(tester)]).expected[0]
    deviation = {cell.dimension: cell.estimate for cell in analysis.deviations if cell.size == size}
    tester["finished"] = [
        {"dimension": d.key, "state": "blocked", "values": [float(e) + (deviation[d.key] or 0.0)]}
        for d, e in zip(pattern.dimensions, expected, strict=True)
        if deviation[d.key] is not None
    ]
    return Tester.model_validate(tester)


@pytest.mark.parametrize(("level", "seed"), LIKE_PEOPLE + NEARLY_A_SHIFT)
def test_one_more_tester_who_agrees_makes_nothing_less_sure(level, seed):
    """What held still holds, a true fault is still to be amended, and the one more is asked nothing.

    Of verdicts on a whole dimension, count or gauge, that is: which sizes a deviation concerns may still move.
    """
    drawn, before = drawn_and_analysed(level, seed)
    sizes = drawn.round.pattern.sizes
    size = random.Random(seed).choice(sizes) if sizes else None
    more = who_agrees(drawn.round, before, size)

    after = analyse(with_testers(drawn.round, [*drawn.round.testers, more]))

    faults = {(fault.kind, fault.subject) for fault in drawn.truth.faults}
    sure = {
        finding.id: finding.verdict
        for finding in before.findings.findings
        if finding.verdict is Verdict.HOLDS
        or (finding.verdict is Verdict.AMEND and (finding.kind, finding.subject) in faults)
    }
    now = {finding.id: finding.verdict for finding in after.findings.findings}
    assert {name: now.get(name) for name in sure} == sure
    assert sure
    assert [question for question in after.questions if question.tester == more.id] == []


# Parts and bytes ------------------------------------------------------------------------------------------


def left_over(analysis: Analysis) -> list[float]:
    """By cell of the findings file as it is written: the three parts less measured − target."""
    cells = json.loads(findings_json(analysis.findings))["cells"]
    return [sum(cell["parts"].values()) - (cell["measured"] - cell["target"]) for cell in cells]


@pytest.mark.parametrize(("level", "seed"), LIKE_PEOPLE)
def test_the_three_parts_of_every_written_cell_add_up_in_rounds_as_people_make_them(level, seed):
    left = left_over(drawn_and_analysed(level, seed)[1])

    assert left
    assert max(map(abs, left)) <= 1e-9


@ANY
@given(rounds())
def test_the_three_parts_of_every_written_cell_add_up_in_any_round(round_):
    assert max(map(abs, left_over(analyse(round_))), default=0.0) <= 1e-9


@ANY
@given(rounds())
def test_the_same_round_gives_the_same_bytes(round_):
    again = Round.model_validate_json(round_.model_dump_json())

    assert findings_json(analyse(again).findings) == findings_json(analyse(round_).findings)


IN_ANOTHER_PROCESS = """
from testround.kernel.analysis import analyse
from testround.kernel.findings import findings_json
from testround.kernel.report_text import report_text
from tests.battery.generator import trial
for level, seed in (("plain", 1), ("hard", 2)):
    round_ = trial(level, seed).round
    analysis = analyse(round_)
    print(findings_json(analysis.findings) + report_text(analysis, round_))
"""


def test_the_same_rounds_give_the_same_bytes_in_processes_that_hash_otherwise():
    said = {
        subprocess.run(
            [sys.executable, "-c", IN_ANOTHER_PROCESS],
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": str(seed)},
            capture_output=True,
            check=True,
        ).stdout
        for seed in (1, 2)
    }

    (only,) = said
    first, analysis = drawn_and_analysed("plain", 1)
    assert findings_json(analysis.findings).encode() in only
    assert report_text(analysis, first.round).encode() in only


def without_bodies(round_: Round) -> Round:
    """The round once the body measurements of its testers are deleted, and what was worked out from them is kept."""
    kept = worked_out(Sheet(round_.pattern), round_.testers)
    return with_testers(
        round_,
        [
            tester.model_copy(update={"measures": {}, "worked_out": numbers})
            for tester, numbers in zip(round_.testers, kept, strict=True)
        ],
    )


@pytest.mark.parametrize(
    ("level", "seed"), [("hard", 0), ("plain", 4), ("plain", 5), ("hard", 9), ("plain", 10), ("plain", 13)]
)
def test_made_to_measure_findings_stay_when_bodies_are_deleted(level: LevelName, seed: int) -> None:
    drawn, before = drawn_and_analysed(level, seed)
    assert not drawn.round.pattern.is_graded

    after = analyse(without_bodies(drawn.round))

    assert findings_json(after.findings) == findings_json(before.findings)


def test_a_body_measurement_stays_only_where_a_finished_one_is_compared_with_it() -> None:
    document = json.loads((ROOT / "fixtures" / "quillwork.json").read_text())
    skirt_length = next(d for d in document["pattern"]["dimensions"] if d["key"] == "skirt_length")
    skirt_length["formula"] = "length + edge_rows / fabric.row - edge_depth"
    round_ = Round.model_validate(document)

    bare = without_bodies(round_)

    body = {"waist", "hip", "waist_to_hip", "length"}
    assert [set(tester.worked_out) & body for tester in bare.testers] == len(bare.testers) * [{"length"}]
    assert findings_json(analyse(bare).findings) == findings_json(analyse(round_).findings)
