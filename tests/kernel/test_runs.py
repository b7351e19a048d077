"""Which step from size to size breaks a run."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from testround.kernel.runs import Break, Run, run_of, steepness


def test_a_step_much_smaller_than_all_others_is_named_with_what_was_due() -> None:
    run = run_of([80, 88, 98, 107, 117, 120, 129], floor=1)

    # Steps 8, 10, 9, 10, 3, 9; their median is 9.
    assert run == Run(breaks=(Break(at=4, to=5, rise=3, expected=9),), low=8, high=10, along=False)


def test_one_value_that_is_off_breaks_the_steps_on_both_of_its_sides() -> None:
    run = run_of([68, 72, 78, 84, 90, 69, 106, 112, 118], floor=2)

    assert [(step.at, step.rise) for step in run.breaks] == [(4, -21), (5, 37)]
    assert (run.low, run.high) == (4, 6)


def test_a_run_that_follows_uneven_bodies_is_held_against_their_steps() -> None:
    bodies = [76, 80, 84, 94, 104, 114, 126, 138]
    stitches = [2 * body for body in bodies]
    # 94 to 104 is a step of 20 stitches as due; 104 to 114 goes up by 8 alone, as it may among the small sizes.
    stitches[5:] = [value - 12 for value in stitches[5:]]

    along_the_body = run_of(stitches, along=bodies, floor=2)
    by_itself = run_of(stitches, floor=2)

    assert along_the_body.breaks == (Break(at=4, to=5, rise=8, expected=20),)
    assert along_the_body.along
    # Steps of 8, 8, 20, 20, 8, 24, 24 alone tell nobody which is odd.
    assert by_itself.breaks == ()


def test_a_number_that_goes_its_own_way_is_not_held_against_a_body_that_never_changes() -> None:
    run = run_of([10, 12, 14, 24, 26, 28], along=[50] * 6, floor=1)

    assert (run.breaks, run.along) == ((Break(at=2, to=3, rise=10, expected=2),), False)


def test_a_body_that_is_unknown_in_a_size_leaves_the_run_to_its_own_steps() -> None:
    run = run_of([10, 12, 14, 24, 26, 28], along=[50, 52, math.nan, 56, 58, 60], floor=1)

    assert (len(run.breaks), run.along) == (1, False)


def test_a_change_of_pace_that_lasts_breaks_nothing() -> None:
    """Small steps among the small sizes and large ones after; a count that stops growing at some size."""
    assert run_of([76, 80, 84, 94, 104, 114, 124, 134], floor=1).breaks == ()
    bodies = [76, 86, 96, 106, 116, 126, 136, 146]
    assert run_of([20, 30, 40, 50, 60, 70, 70, 70], along=bodies, floor=1).breaks == ()


@pytest.mark.parametrize("at", [0, 3, 6])
def test_one_odd_step_is_found_at_the_ends_as_well_as_amid(at: int) -> None:
    steps = [10] * 7
    steps[at] = 30

    run = run_of(np.cumsum([100, *steps]), floor=1)

    assert run.breaks == (Break(at=at, to=at + 1, rise=30, expected=10),)


@pytest.mark.parametrize("n", [0, 1, 2, 3, 4])
def test_of_too_few_sizes_nothing_is_said(n: int) -> None:
    run = run_of([10, 20, 90, 100][:n], floor=1)

    assert run.breaks == ()
    assert (run.low is None) == (n < 2)


def test_what_rounding_alone_can_make_is_never_named() -> None:
    # 2.2 stitches for each of 10 cm, rounded to multiples of four.
    rounded = [4 * round(22 * j / 4) for j in range(9)]

    assert run_of(rounded, floor=4).breaks == ()
    assert run_of(rounded, along=[10 * j for j in range(9)], floor=4).breaks == ()


def test_a_value_that_is_not_known_joins_the_steps_beside_it() -> None:
    run = run_of([10, 12, math.nan, 16, 18, 40, 42], along=[0, 1, 2, 3, 4, 5, 6], floor=1)

    # Between the second and the fourth size two bodies' steps lie, and four stitches are in line with them.
    assert run.breaks == (Break(at=4, to=5, rise=22, expected=2),)


def test_where_every_other_step_is_odd_there_is_no_run_to_break() -> None:
    # Steps of 1 and of 20 in turn.
    assert run_of([0, 1, 21, 22, 42, 43, 63, 64, 84, 85], floor=1).breaks == ()


values = st.lists(st.integers(-500, 500).map(float), min_size=5, max_size=12)


@given(values, st.integers(-100, 100), st.integers(1, 9))
def test_where_it_starts_and_what_it_is_counted_in_do_not_matter(
    run: list[float], start: int, times: int
) -> None:
    plain = run_of(run, floor=2)
    other = run_of([start + times * value for value in run], floor=2 * times)

    assert [(step.at, step.rise * times) for step in plain.breaks] == [
        (step.at, step.rise) for step in other.breaks
    ]


@given(values)
def test_turned_round_the_same_steps_break_it(run: list[float]) -> None:
    forwards = run_of(run, floor=1)
    backwards = run_of(run[::-1], floor=1)

    last = len(run) - 1
    assert {(step.at, step.to) for step in forwards.breaks} == {
        (last - step.to, last - step.at) for step in backwards.breaks
    }


@given(values, st.integers(1, 50))
def test_a_run_in_step_with_its_body_is_never_broken(bodies: list[float], times: int) -> None:
    assert run_of(times * np.array(bodies), along=bodies, floor=0.5).breaks == ()


small = st.integers(-9, 9).map(float)


@given(st.lists(st.tuples(small, small), min_size=1, max_size=9), st.fractions(-20, 20))
def test_no_other_steepness_lies_nearer_to_the_steps_in_sum(
    pairs: list[tuple[float, float]], other: Fraction
) -> None:
    """By the definition of a least-absolute-deviations fit through the origin."""
    steps, beside = np.array(pairs).T
    if not np.any(beside):
        return

    def apart(k: float) -> float:
        return float(np.sum(np.abs(steps - k * beside)))

    assert apart(steepness(steps, beside)) <= apart(float(other)) + 1e-9
