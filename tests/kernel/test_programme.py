"""Whole-number programmes: what is proven is proven, and what is not is not said to be."""

from __future__ import annotations

import numpy as np
import pytest
import scipy

from testround.kernel.programme import NoAnswer, Programme, Rows, Step


def pairs(*, network: bool, seconds: float | None = None) -> Programme:
    """Two people and two seats: columns a1, a2, b1, b2; everybody has one seat at most, every seat one person."""
    rows = Rows()
    for columns in ([0, 1], [2, 3], [0, 2], [1, 3]):
        rows.add(columns, 1)
    return Programme(
        rows,
        np.ones(4, dtype=np.int64),
        network=network,
        seconds=seconds,
        answer=np.zeros(4, dtype=np.int64),
    )


MOST = np.array([-1, -1, -1, -1])
COST = np.array([1, 2, 3, 5])


@pytest.mark.parametrize("network", [True, False])
def test_objectives_are_taken_in_turn_and_none_is_given_up(network):
    found = pairs(network=network)

    # Both are seated before anything is saved: a2 and b1 cost 5, a1 and b2 cost 6.
    assert found.minimise(MOST) == Step(-2, -2)
    assert found.minimise(COST) == Step(5, 5)
    assert found.answer is not None
    assert found.answer.tolist() == [0, 1, 1, 0]
    # Only that answer is left, whatever comes after.
    assert found.minimise(-COST) == Step(-5, -5)


def test_costs_of_thousands_of_millions_are_proven_to_the_last_unit():
    cost = np.array([1_000_000_001, 2_000_000_000, 3_000_000_000, 4_000_000_000])
    found = pairs(network=True)
    found.minimise(MOST)

    assert found.minimise(cost) == Step(5_000_000_000, 5_000_000_000)


def test_an_objective_that_nothing_can_better_needs_no_solver(monkeypatch):
    monkeypatch.setattr(scipy.optimize, "linprog", None)
    monkeypatch.setattr(scipy.optimize, "milp", None)

    assert pairs(network=True).minimise(COST) == Step(0, 0)


def test_prices_that_prove_less_are_not_believed(monkeypatch):
    solve = scipy.optimize.linprog

    def too_dear(*args, **options):
        solved = solve(*args, **options)
        solved.ineqlin.marginals = solved.ineqlin.marginals * 2 - 1
        return solved

    monkeypatch.setattr(scipy.optimize, "linprog", too_dear)
    found = pairs(network=True)

    # The bound they give is too low, and branch and bound settles it.
    assert found.minimise(MOST) == Step(-2, -2)
    assert not found.network
    assert found.minimise(COST) == Step(5, 5)


def test_an_answer_of_the_solver_that_breaks_a_rule_is_not_taken(monkeypatch):
    solve = scipy.optimize.milp

    def overfull(*args, **options):
        solved = solve(*args, **options)
        solved.x = np.ones(4)
        return solved

    monkeypatch.setattr(scipy.optimize, "milp", overfull)
    found = pairs(network=False)

    step = found.minimise(MOST)
    assert (step, step.proven, step.gap) == (Step(0, -2), False, 2.0)
    assert found.answer is not None
    assert found.answer.tolist() == [0, 0, 0, 0]


@pytest.mark.parametrize("network", [True, False])
def test_constraints_that_contradict_have_no_answer(network):
    rows = Rows()
    rows.add([0, 1], 2, exact=True)
    rows.add([0], 0)
    found = Programme(rows, np.ones(2, dtype=np.int64), network=network)

    with pytest.raises(NoAnswer):
        found.minimise(np.array([1, 1]))


def test_no_time_at_all_and_nothing_to_stand_on_is_said():
    rows = Rows()
    rows.add([0, 1], 1, exact=True)
    found = Programme(rows, np.ones(2, dtype=np.int64), network=True, seconds=1e-9)

    with pytest.raises(TimeoutError, match="in the time allowed"):
        found.minimise(np.array([1, 2]))


@pytest.mark.parametrize(
    ("step", "proven", "gap"),
    [
        (Step(5, 5), True, 0.0),
        (Step(5, 4), False, 0.2),
        (Step(0, -1), False, 1.0),
        (Step(-8, -10), False, 0.25),
    ],
)
def test_the_gap_is_a_share_of_the_value(step, proven, gap):
    assert (step.proven, step.gap) == (proven, gap)
