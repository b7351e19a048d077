"""Who makes what, against methods published for the tasks it contains.

Where there are no yarns to share out and one objective decides, the task is the linear assignment problem, solved
by scipy.optimize.linear_sum_assignment (Crouse 2016, IEEE Trans. Aerospace and Electronic Systems 52, 1679–1696).
How many can be placed at all is a maximum flow, by scipy.sparse.csgraph.maximum_flow. The crowd: see survey_crowd.
"""

from __future__ import annotations

import time

import numpy as np
import pytest
from scipy import sparse
from scipy.optimize import linear_sum_assignment
from scipy.sparse.csgraph import maximum_flow

from testround.kernel.assignment import assign, cost_of
from tests.kernel.crowds import Document, candidate, document, round_of
from tests.published.sources import table
from tests.published.survey_crowd import MOST, YARNS, crowd, misfit_matrix, sizes

SECONDS = 10


def test_the_survey_and_the_sizes_are_what_they_should_be():
    bodies = table("ansur2_women_500.csv")

    assert len(bodies) == 500
    # The survey's own means over all 1,986 women: chest 946.9 mm, buttock 1021.2 mm.
    assert np.mean([int(row["chest_circ_mm"]) for row in bodies]) == pytest.approx(946.9, abs=5)
    assert np.mean([int(row["buttock_circ_mm"]) for row in bodies]) == pytest.approx(1021.2, abs=5)
    assert list(sizes()) == ["XS", "S", "M", "M/L", "L", "XL", "2X", "3X", "4X", "5X"]
    assert sizes()["S"][0] == pytest.approx(83.82)


@pytest.mark.parametrize("seats_each", [1, 6, 40])
def test_with_own_yarn_and_any_reach_it_is_a_linear_assignment(seats_each):
    file = crowd(most=seats_each, own_yarn=1.0, wishes=False)
    cost = np.repeat(misfit_matrix(file, reach=1000), seats_each, axis=1)

    found = assign(round_of(file), reach=1000)

    rows, columns = linear_sum_assignment(cost)
    assert found.document.optimal
    assert found.value.placed == len(rows)
    assert found.value.misfit == int(cost[rows, columns].sum())


def test_with_equal_bodies_the_wishes_are_a_linear_assignment():
    rng = np.random.default_rng(4)
    names = list(sizes())
    wishes = [rng.permutation(names)[: rng.integers(1, 6)].tolist() for _ in range(60)]
    people = [candidate(f"c{i:02d}", 100, *liked) for i, liked in enumerate(wishes)]
    file = document(*people, sizes=dict.fromkeys(names, (100.0,)), most=dict.fromkeys(names, 6))
    steps = [
        [liked.index(size) if size in liked else len(liked) + 1 for size in names for _ in range(6)]
        for liked in wishes
    ]

    rows, columns = linear_sum_assignment(steps)

    found = assign(round_of(file))
    assert (found.value.placed, found.value.misfit) == (60, 0)
    assert found.value.wish_steps == int(np.array(steps)[rows, columns].sum())


def most_placed(file: Document, by_size: dict[str, int]) -> int:
    """How many can be placed with so many places by size: from yarns through candidates to sizes."""
    names, people = file["pattern"]["sizes"], file["candidates"]
    may = misfit_matrix(file, reach=5.0) < 1e12
    n, m, y = len(people), len(names), len(YARNS)
    # Source, yarns, candidates from the yarn's side and to the size's, sizes, sink.
    yarn, came, goes, size, sink = 1, 1 + y, 1 + y + n, 1 + y + 2 * n, 1 + y + 2 * n + m
    edges = [(0, yarn + k, 8) for k in range(y)]
    for i, person in enumerate(people):
        edges.append((came + i, goes + i, 1))
        if person["own_yarn"]:
            edges.append((0, came + i, 1))
        else:
            edges += [(yarn + YARNS.index(key), came + i, 1) for key in person["yarns"]]
        edges += [(goes + i, size + j, 1) for j in np.flatnonzero(may[i])]
    edges += [(size + j, sink, by_size[name]) for j, name in enumerate(names)]
    start, end, capacity = np.array(edges, dtype=np.int32).T
    graph = sparse.csr_array((capacity, (start, end)), shape=(sink + 1, sink + 1))
    return int(maximum_flow(graph, 0, sink).flow_value)


@pytest.mark.parametrize("changes", [{}, {"own_yarn": 0.0, "most": 20}, {"most": None}])
def test_five_hundred_measured_bodies_ten_sizes_and_six_yarns_are_proven_best_in_seconds(changes):
    file = crowd(**changes)
    round_ = round_of(file)

    start = time.perf_counter()
    found = assign(round_)
    took = time.perf_counter() - start

    assert (found.document.optimal, found.document.gap) == (True, 0.0)
    assert took < SECONDS
    assert cost_of(round_, found.document.places, best=found).broken == ()
    least, most = file["round"]["places"]["least"], file["round"]["places"]["most"]
    # The fewest places short, and the most placed, by a maximum flow.
    assert found.value.shortfall == sum(least.values()) - most_placed(file, least)
    assert found.value.placed == most_placed(file, {size: most.get(size, 500) for size in least})


def test_the_crowd_leaves_the_largest_sizes_short_and_says_why():
    found = assign(round_of(crowd()))

    # Hardly any woman of the survey is above 2X.
    short = {one.size: one for one in found.document.short}
    assert {"4X", "5X"} <= set(short)
    assert short["5X"].why == "No candidate is within 5 cm of 5X, and nobody wished for it."
    full = [one for one in found.document.places if one.size == "M"]
    assert len(full) == MOST
    assert [one.rank for one in found.document.reserve if one.size == "M"][:3] == [1, 2, 3]
