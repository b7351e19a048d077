"""A short form of the battery: bounds that hold with a margin, and not once detection or calm is lost.

The full form, whose table the documentation quotes, is ``python -m tests.battery``.
"""

from __future__ import annotations

import ast
from pathlib import Path

import numpy as np
import pytest

import testround.kernel
from testround.kernel.analysis import analyse
from testround.kernel.sheet import Sheet
from tests.battery import generator
from tests.battery.generator import LEVELS, trial
from tests.battery.oracle import Oracle
from tests.battery.scoring import Score, run, score, table

PLAIN = range(50_001, 50_041)
HARD = range(60_001, 60_041)


@pytest.fixture(scope="module")
def plain() -> Score:
    return run("plain", PLAIN)


@pytest.fixture(scope="module")
def hard() -> Score:
    return run("hard", HARD)


def test_most_faults_that_an_oracle_could_find_are_found(plain: Score, hard: Score) -> None:
    assert plain.of["found"] >= 25
    assert plain.share("found") >= 0.92
    assert hard.of["found"] >= 20
    assert hard.share("found") >= 0.85


def test_every_fault_of_the_desk_check_is_found(plain: Score, hard: Score) -> None:
    both = plain.of["desk"] + hard.of["desk"]

    assert both >= 5
    assert plain.hit["desk"] + hard.hit["desk"] == both


def test_hardly_anything_faultless_is_to_be_amended(plain: Score, hard: Score) -> None:
    assert plain.of["clean"] > 2000
    assert plain.share("clean") <= 0.002
    assert hard.share("clean") <= 0.005
    assert plain.of["faultless"] + hard.of["faultless"] >= 12
    assert plain.hit["faultless"] + hard.hit["faultless"] <= 3


def test_the_extent_of_a_fault_is_mostly_right(plain: Score, hard: Score) -> None:
    assert plain.of["extent"] + hard.of["extent"] >= 25
    assert plain.share("extent") >= 0.9
    assert hard.share("extent") >= 0.8


def test_proposed_counts_are_right_to_about_a_stitch(plain: Score, hard: Score) -> None:
    assert plain.mean_count_error() <= 0.8
    assert hard.mean_count_error() <= 1.0


def test_slips_are_kept_out_of_verdicts_and_mostly_named(plain: Score, hard: Score) -> None:
    assert plain.of["slips kept out"] > 200
    assert plain.share("slips kept out") >= 0.99
    assert hard.share("slips kept out") >= 0.98
    assert plain.share("slips named") >= 0.96
    assert hard.share("slips named") >= 0.95


def test_pieces_measured_before_washing_are_told_where_washing_makes_a_telling_difference(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Of yarns that change a lot; with most yarns nobody could tell."""
    monkeypatch.setattr(generator, "UNBLOCKED", 0.08)
    monkeypatch.setattr(generator, "WASH_STITCHES", 0.03)
    monkeypatch.setattr(generator, "WASH_ROWS", 0.07)
    planted, named, wrongly = 0, 0, 0
    for seed in range(80_001, 80_121):
        one = trial("plain", seed)
        whole = {slip.tester for slip in one.truth.slips if slip.dimension == generator.WHOLE_PIECE}
        if whole:
            asked = {q.tester for q in analyse(one.round).questions if q.cause == "unblocked"}
            planted += len(whole)
            named += len(whole & asked)
            wrongly += len(asked - set(one.truth.said_blocked))

    assert planted >= 8
    assert named >= 0.5 * planted
    assert wrongly == 0


def test_intervals_cover_the_truth_about_as_often_as_they_say(plain: Score, hard: Score) -> None:
    assert 0.92 <= plain.share("covered") <= 0.99
    assert 0.91 <= hard.share("covered") <= 0.99


def test_a_round_is_the_same_for_the_same_seed_and_another_for_the_next() -> None:
    first, again, next_one = trial("hard", 3), trial("hard", 3), trial("hard", 4)

    assert first.round == again.round
    assert first.round != next_one.round


def test_planted_deviations_are_what_the_oracle_recovers_in_a_large_round() -> None:
    found = []
    for seed in range(70_001, 70_041):
        one = trial("plain", seed)
        oracle = Oracle(one)
        for fault in one.truth.faults:
            if fault.kind == "finished-size":
                estimate, z, _ = oracle.size_estimate(fault)
                if z > 8:
                    found.append(estimate - fault.tolerances)

    assert len(found) >= 8
    assert abs(float(np.mean(found))) < 0.15


def test_what_nobody_is_told_to_amend_counts_as_missed() -> None:
    one = next(
        t
        for t in (trial("plain", seed) for seed in PLAIN)
        if any(Oracle(t).detectable(f) for f in t.truth.faults)
    )
    analysis = analyse(one.round)
    silent = analysis.findings.model_copy(update={"findings": ()})

    judged = score(one, type(analysis)(silent, (), (), (), (), converged=True))

    assert judged.hit["found"] + judged.hit["desk"] == 0
    assert judged.of["found"] + judged.of["desk"] > 0


def test_every_planted_kind_and_extent_turns_up() -> None:
    planted = [fault for seed in range(80) for fault in trial("plain", seed).truth.faults]

    assert {fault.kind for fault in planted} == {
        "printed-count",
        "schematic",
        "worked-count",
        "stated-gauge",
        "finished-size",
    }
    sizes = {fault.extent for fault in planted if fault.kind == "finished-size"}
    assert sizes == {"all-sizes", "with-size", "some-sizes", None}


def test_the_table_names_every_figure_with_its_share_and_what_is_aimed_at(plain: Score) -> None:
    lines = table("plain", plain).splitlines()

    assert lines[0].split() == ["figure", "share", "aim"]
    assert all(">=" in line or "<=" in line or line.endswith(("1", "0.97")) for line in lines[1:10])


@pytest.mark.parametrize("level", sorted(LEVELS))
def test_a_sheet_with_faults_in_it_can_be_worked(level: str) -> None:
    pattern = trial(level, 11).round.pattern

    assert Sheet(pattern).pattern == pattern


def test_the_kernel_never_imports_the_battery() -> None:
    for path in Path(testround.kernel.__file__).parent.glob("*.py"):
        names = [
            node.module or "" if isinstance(node, ast.ImportFrom) else node.names[0].name
            for node in ast.walk(ast.parse(path.read_text()))
            if isinstance(node, ast.Import | ast.ImportFrom)
        ]

        assert not [name for name in names if name.startswith("tests")], path.name
