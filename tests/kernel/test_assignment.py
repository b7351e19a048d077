"""Who makes what: the rules one by one, every small case against all there is, and laws that no case may break."""

from __future__ import annotations

import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from testround.kernel import assignment, programme
from testround.kernel.assignment import (
    Assignment,
    AssignmentError,
    Exclusion,
    Pin,
    Place,
    assign,
    cost_of,
    replace,
)
from testround.kernel.assignment_text import WIDTH, assignment_text
from testround.kernel.findings import AssignmentDocument, assignment_json
from testround.kernel.round import Round
from tests.kernel.crowds import Document, candidate, document, enumerated, round_of, small

BLUE, RED = ["wool_blue"], ["wool_red"]


def assigned(file: Document, **options) -> Assignment:
    return assign(round_of(file), **options)


def seats(assignment: Assignment) -> dict[str, tuple[str | None, str | None]]:
    return {place.candidate: (place.size, place.yarn) for place in assignment.document.places}


def sizes(assignment: Assignment) -> dict[str, str | None]:
    return {place.candidate: place.size for place in assignment.document.places}


def refusals(assignment: Assignment) -> dict[str, str]:
    return {refused.candidate: refused.why for refused in assignment.refused}


def reserve(assignment: Assignment) -> list[tuple[str | None, int, str]]:
    return [(one.size, one.rank, one.candidate) for one in assignment.document.reserve]


def problems(file: Document, **options) -> list[str]:
    with pytest.raises(AssignmentError) as refused:
        assign(round_of(file), **options)
    return [str(problem) for problem in refused.value.problems]


# What is always kept


def test_a_size_within_reach_can_be_had_and_one_beyond_cannot():
    found = assigned(document(candidate("near", 91), candidate("far", 111.5)))

    assert sizes(found) == {"near": "S"}
    assert refusals(found) == {"far": "No size is within 5 cm: the nearest, L, is 5.5 cm off."}


def test_a_difference_of_exactly_the_reach_is_within_it():
    # 86.3 − 81.3 is 5.000000000000000 only on paper.
    found = assigned(document(candidate("c", 86.3), sizes={"S": (81.3,)}))

    assert sizes(found) == {"c": "S"}


def test_the_reach_is_the_designers():
    file = document(candidate("c", 111.5))

    assert sizes(assigned(file, reach=6)) == {"c": "L"}
    assert sizes(assigned(file, reach=0)) == {}


def test_a_size_beyond_the_reach_can_be_had_by_who_wished_for_it():
    found = assigned(document(candidate("c", 120, "M")))

    assert sizes(found) == {"c": "M"}
    assert found.document.places[0].why == "Bust 24 cm from M, beyond the reach; first wish; M has room."


def test_only_measures_that_both_have_are_compared():
    both = {"S": (86, 68), "M": (96, 78)}
    file = document(
        candidate("waist", measures={"waist": 77}),
        candidate("none"),
        candidate("wish", None, "S"),
        sizes=both,
    )
    file["pattern"]["measures"].append({"key": "wrist", "label": "Wrist", "values": {"S": 15, "M": 16}})

    found = assigned(file)

    assert sizes(found) == {"waist": "M", "wish": "S"}
    assert found.value.misfit == 1_000_000
    assert refusals(found) == {"none": "Gave no measure that the sizes have, and no wish."}


def test_the_misfit_is_the_root_mean_square_over_the_measures():
    # Bust 3 cm off and waist 4 cm off: √((9 + 16) / 2).
    found = assigned(document(candidate("c", measures={"bust": 89, "waist": 64}), sizes={"S": (86, 68)}))

    assert found.document.objective.misfit_cm == pytest.approx(12.5**0.5, abs=1e-6)


def test_no_size_goes_above_its_most():
    file = document(*(candidate(f"c{i}", 86 + i) for i in range(4)), most={"S": 2})

    assert sizes(assigned(file)) == {"c0": "S", "c1": "S"}


def test_no_yarn_goes_above_its_makers_and_own_yarn_needs_none_of_it():
    file = document(
        candidate("c1", 86, yarns=BLUE),
        candidate("c2", 87, yarns=BLUE),
        candidate("c3", 88),
        yarns={"wool_blue": 1},
    )

    assert seats(assigned(file)) == {"c1": ("S", "wool_blue"), "c3": ("S", None)}


def test_a_candidate_gets_only_a_yarn_they_named():
    file = document(
        candidate("c1", 86, yarns=RED),
        candidate("c2", 86, yarns=[]),
        yarns={"wool_blue": None, "wool_red": None},
    )
    found = assigned(file)

    assert seats(found) == {"c1": ("S", "wool_red")}
    assert refusals(found) == {"c2": "Has no yarn of their own and named none of those supplied."}


def test_who_could_take_another_yarn_leaves_the_scarce_one():
    file = document(
        candidate("either", 86, yarns=["wool_blue", "wool_red"], answered="2027-01-01T00:00:00Z"),
        candidate("blue", 90, yarns=BLUE, answered="2027-01-02T00:00:00Z"),
        yarns={"wool_blue": 1, "wool_red": 1},
    )

    assert seats(assigned(file)) == {"either": ("S", "wool_red"), "blue": ("S", "wool_blue")}


def test_testers_hold_their_places_and_their_yarn():
    tester = {"id": "t1", "name": "T", "size": "S", "yarn": {"label": "wool blue"}}
    file = document(
        candidate("c1", 86, yarns=BLUE),
        candidate("c2", 87, yarns=BLUE),
        least={"S": 2},
        most={"S": 2},
        yarns={"wool_blue": 2},
        testers=(tester,),
    )
    found = assigned(file)

    assert seats(found) == {"c1": ("S", "wool_blue")}
    assert found.document.objective.shortfall == 0
    assert found.document.places[0].why == "Bust exactly as in S; S needed one more."


def test_a_size_that_testers_overfill_is_full_and_nothing_else():
    testers = tuple({"id": f"t{i}", "name": "T", "size": "S"} for i in range(3))

    found = assigned(document(candidate("c", 86), candidate("d", 96), most={"S": 2}, testers=testers))

    assert sizes(found) == {"d": "M"}
    assert refusals(found)["c"] == "S is full, and no other size is within reach or wished for."


def test_a_made_to_measure_round_places_whoever_has_yarn():
    file = document(candidate("c1", 86), candidate("c2", yarns=BLUE), candidate("c3", yarns=BLUE))
    file["pattern"].update(kind="made-to-measure", sizes=[])
    file["pattern"]["measures"] = [{"key": "bust", "label": "Bust"}]
    file["round"] = {
        "title": "First test",
        "yarns": [{"key": "wool_blue", "label": "Wool", "makers": 1}],
    }
    found = assigned(file)

    assert seats(found) == {"c1": (None, None), "c2": (None, "wool_blue")}
    assert found.document.optimal
    assert reserve(found) == [(None, 1, "c3")]


def test_nobody_to_place_is_no_failure():
    found = assigned(document(least={"S": 1}))

    assert found.document.optimal
    assert [(short.size, short.wanted, short.got, short.why) for short in found.document.short] == [
        ("S", 1, 0, "There are no candidates.")
    ]


# The six objectives in strict order


def test_a_size_below_its_least_goes_before_a_better_fit():
    file = document(candidate("c", 90), sizes={"S": (86,), "M": (91,)}, least={"S": 1})

    assert sizes(assigned(file)) == {"c": "S"}


def test_one_more_place_goes_before_a_better_fit():
    file = document(
        candidate("both", 90.5),
        candidate("only", 95.5),
        sizes={"S": (86,), "M": (91,)},
        most={"S": 1, "M": 1},
    )

    assert sizes(assigned(file)) == {"both": "S", "only": "M"}


def test_a_better_fit_goes_before_a_wish():
    assert sizes(assigned(document(candidate("c", 90.9, "M"), sizes={"S": (86,), "M": (96,)}))) == {"c": "S"}


def test_among_equal_fits_the_earlier_wish_counts():
    file = document(candidate("c", 91, "M", "S"), sizes={"S": (86,), "M": (96,)})

    assert sizes(assigned(file)) == {"c": "M"}


def test_a_size_not_wished_for_costs_one_step_more_than_there_are_wishes():
    file = document(candidate("c", 86, "M", "L"), candidate("d", 86))

    found = assigned(file)
    assert sizes(found) == {"c": "S", "d": "S"}
    assert found.value.wish_steps == 3


def test_among_equal_wishes_sizes_in_two_yarns_count():
    file = document(
        candidate("c1", 86, yarns=["wool_blue", "wool_red"]),
        candidate("c2", 86, yarns=["wool_blue", "wool_red"]),
        yarns={"wool_blue": None, "wool_red": None},
    )
    found = assigned(file)

    assert {yarn for _, yarn in seats(found).values()} == {"wool_blue", "wool_red"}
    assert found.value.sizes_with_two_yarns == 1


def test_every_own_yarn_counts_as_a_yarn_of_its_own():
    assert assigned(document(candidate("c1", 86), candidate("c2", 86))).value.sizes_with_two_yarns == 1
    assert assigned(document(candidate("c1", 86))).value.sizes_with_two_yarns == 0


def test_the_yarn_of_a_tester_who_is_there_counts_and_an_unknown_one_does_not():
    blue = {"id": "t1", "name": "T", "size": "S", "yarn": {"label": "Wool blue"}}
    unknown = {"id": "t1", "name": "T", "size": "S"}
    yarns = {"wool_blue": None, "wool_red": None}
    one = candidate("c", 86, yarns=["wool_blue", "wool_red"])

    assert seats(assigned(document(one, yarns=yarns, testers=(blue,)))) == {"c": ("S", "wool_red")}
    assert assigned(document(one, yarns=yarns, testers=(unknown,))).value.sizes_with_two_yarns == 0


def test_the_earlier_answer_comes_last_and_no_answer_after_it():
    def three(*answers: str | None) -> Document:
        people = [candidate(f"c{i}", 86) for i in range(3)]
        for one, answer in zip(people, answers, strict=True):
            if answer:
                one["answered"] = answer
        return document(*people, most={"S": 1})

    assert sizes(assigned(three(None, "2027-01-04T08:00:00Z", "2027-01-03T08:00:00Z"))) == {"c2": "S"}
    # 10:30 in +02:00 is 08:30.
    assert sizes(assigned(three(None, "2027-01-03T10:30:00+02:00", "2027-01-03T09:00:00Z"))) == {"c1": "S"}
    assert sizes(assigned(three(None, None, None))) == {"c0": "S"}


# Every small case against all there is


def test_every_small_case_is_as_good_as_the_best_of_all_assignments():
    decided = np.zeros(6, dtype=int)
    for seed in range(400):
        file = small(np.random.default_rng(seed))
        found = assigned(file)

        assert found.document.optimal, seed
        assert found.value.key == enumerated(file), seed
        decided += np.array(found.value.key) != 0
    # None of the six stood idle.
    assert decided.min() > 50


def test_every_small_case_with_pins_and_exclusions_is_the_best_or_refused_as_impossible():
    refused = 0
    for seed in range(1000, 1250):
        rng = np.random.default_rng(seed)
        file = small(rng)
        who = file["candidates"][0]["id"]
        other = file["candidates"][-1]["id"]
        size = str(rng.choice(file["pattern"]["sizes"])) if rng.random() < 0.7 else None
        yarns = file["candidates"][0]["yarns"]
        yarn = str(rng.choice(yarns)) if yarns and rng.random() < 0.5 else None
        out = str(rng.choice(file["pattern"]["sizes"])) if rng.random() < 0.7 else None
        exclusions = [Exclusion(other, out)] if other != who else []
        excluded = frozenset((one.candidate, one.size) for one in exclusions)

        best = enumerated(file, pins={who: (size, yarn)}, excluded=excluded)
        try:
            found = assigned(file, pins=[Pin(who, size, yarn)], exclusions=exclusions)
        except AssignmentError:
            refused += 1
            assert best is None, seed
        else:
            assert found.value.key == best, seed
    assert 20 < refused < 200


def test_a_word_that_the_free_answer_keeps_anyway_is_answered_by_it_and_any_other_is_solved(monkeypatch):
    solved = []
    solve = assignment._Model.solve
    monkeypatch.setattr(assignment._Model, "solve", lambda self: solved.append(self) or solve(self))
    reused = 0
    for seed in range(1000, 1100):
        file = small(np.random.default_rng(seed))
        who = file["candidates"][0]["id"]
        size = file["pattern"]["sizes"][seed % len(file["pattern"]["sizes"])]
        word = {"pins": [Pin(who, size)], "exclusions": [Exclusion(file["candidates"][-1]["id"], size)]}
        if len(file["candidates"]) < 2:
            continue
        try:
            alone = assigned(file, **word)
        except AssignmentError:
            continue
        free = assigned(file)
        solved.clear()

        found = assigned(file, **word, free=free)

        assert (found.value, found.document.optimal) == (alone.value, True), seed
        if seats(free) == seats(alone):
            assert solved == [], seed
            assert (found.document, found.refused) == (alone.document, alone.refused), seed
            reused += 1
    assert 5 < reused < 95


def test_branch_and_bound_alone_comes_to_the_same(monkeypatch):
    def no_prices(self, cost):
        return self._as_it_stands(cost)

    monkeypatch.setattr(programme.Programme, "_by_prices", no_prices)
    for seed in range(60):
        file = small(np.random.default_rng(seed))

        assert assigned(file).value.key == enumerated(file), seed


# Laws

small_cases = st.integers(2000, 1_000_000).map(lambda seed: small(np.random.default_rng(seed)))


@given(small_cases, st.randoms(use_true_random=False))
@settings(max_examples=40, deadline=None)
def test_the_order_of_candidates_in_the_file_plays_no_part(file: Document, shuffler: random.Random):
    text = assignment_json(assigned(file).document)
    shuffler.shuffle(file["candidates"])

    assert assignment_json(assigned(file).document) == text


@given(small_cases, small_cases)
@settings(max_examples=40, deadline=None)
def test_one_candidate_more_never_makes_it_worse(file: Document, other: Document):
    before = assigned(file).value.key[:5]
    known = set(file["pattern"]["sizes"]), {yarn["key"] for yarn in file["round"]["yarns"]}
    more = other["candidates"][0]
    more["id"] = "more"
    more["wishes"] = [size for size in more["wishes"] if size in known[0]]
    more["yarns"] = [yarn for yarn in more["yarns"] if yarn in known[1]]
    measures = {measure["key"] for measure in file["pattern"]["measures"]}
    more["measures"] = {key: cm for key, cm in more["measures"].items() if key in measures}
    file["candidates"].append(more)

    assert assigned(file).value.key[:5] <= before


@given(small_cases)
@settings(max_examples=40, deadline=None)
def test_everybody_placed_stays_where_they_are_when_pinned_there(file: Document):
    best = assigned(file)
    pins = [Pin(place.candidate, place.size, place.yarn) for place in best.document.places]

    assert seats(assigned(file, pins=pins)) == seats(best)


@given(small_cases)
@settings(max_examples=40, deadline=None)
def test_the_answer_keeps_every_rule_and_adds_up(file: Document):
    best = assigned(file)
    cost = cost_of(round_of(file), best.document.places, best=best)

    assert (cost.broken, cost.differences, cost.as_good) == ((), (), True)
    assert cost.value == best.value
    everybody = {one["id"] for one in file["candidates"]}
    assert {*seats(best), *refusals(best)} == everybody
    assert len(seats(best)) + len(refusals(best)) == len(everybody)
    assert AssignmentDocument.model_validate_json(assignment_json(best.document)) == best.document


@given(small_cases)
@settings(max_examples=40, deadline=None)
def test_the_text_names_everybody_and_keeps_its_width(file: Document):
    round_ = round_of(file)

    for units in ("cm", "in"):
        text = assignment_text(assign(round_), round_, units)
        assert all(f"{one.id} ({one.name})" in text for one in round_.candidates)
        assert max(map(len, text.splitlines())) <= WIDTH


@given(small_cases, st.integers(0, 4))
@settings(max_examples=40, deadline=None)
def test_whoever_follows_on_a_place_was_in_reserve_and_nobody_else_is_moved(file: Document, which: int):
    best = assigned(file)
    if not best.document.places:
        return
    free = best.document.places[which % len(best.document.places)]

    found = replace(round_of(file), best.document.places, free.candidate)

    stay = {who: seat for who, seat in seats(best).items() if who != free.candidate}
    after = seats(found.assignment)
    assert found.moved == ()
    assert {who: after[who] for who in stay} == stay
    assert len(found.proposed) <= 1
    for one in found.proposed:
        assert one.candidate not in seats(best)
        # Of that size; or of another one that only its yarn was wanting for.
        assert (one.size, one.candidate) in {(size, who) for size, _, who in reserve(best)} or (
            one.size != free.size and one.yarn == free.yarn is not None
        )


# The designer's word


def test_a_pin_goes_before_reach_and_wishes():
    file = document(candidate("c", 86, "S"))

    found = assigned(file, pins=[Pin("c", "L")])
    assert sizes(found) == {"c": "L"}
    assert found.document.places[0].why == (
        "Bust 20 cm from L, beyond the reach; not among their wishes; pinned by the designer."
    )


def test_a_pin_without_a_size_is_a_place_of_any():
    file = document(candidate("first", 86), candidate("second", 90), most={"S": 1})

    assert sizes(assigned(file, pins=[Pin("second")])) == {"second": "S"}


def test_a_pin_may_name_the_yarn():
    file = document(
        candidate("c", 86, yarns=["wool_blue", "wool_red"]), yarns={"wool_blue": None, "wool_red": None}
    )

    for yarn in ("wool_blue", "wool_red"):
        assert seats(assigned(file, pins=[Pin("c", "S", yarn)])) == {"c": ("S", yarn)}


def test_exclusions_are_from_a_size_or_from_all():
    file = document(candidate("c", 91, "S", "M"))

    assert sizes(assigned(file, exclusions=[Exclusion("c", "S")])) == {"c": "M"}
    out = assigned(file, exclusions=[Exclusion("c")])
    assert sizes(out) == {}
    assert refusals(out) == {"c": "Excluded by the designer."}


def test_all_contradictions_are_said_at_once_each_with_its_path():
    people = [candidate(name, 86, yarns=BLUE) for name in ("c1", "c2", "c3", "c4")]
    file = document(
        *people,
        candidate("c5", 86, yarns=[]),
        most={"S": 2, "M": 1},
        yarns={"wool_blue": 2, "wool_red": 1},
        testers=({"id": "t1", "name": "T", "size": "S", "yarn": {"label": "wool blue"}},),
    )

    assert problems(
        file,
        reach=-1,
        seconds=0,
        pins=[
            Pin("c1", "S", "wool_blue"),
            Pin("c2", "S", "wool_blue"),
            Pin("c1", "M"),
            Pin("c3", "XXL", "linen"),
            Pin("c4", "M", "wool_red"),
            Pin("c5"),
            Pin("t1", "S"),
            Pin("nobody"),
        ],
        exclusions=[Exclusion("c1", "S"), Exclusion("c3"), Exclusion("t1"), Exclusion("c2", "XXL")],
    ) == [
        "reach: must be a length in cm, 0 or more; got -1",
        "exclusions[2].candidate: t1 already holds a place, and keeps it",
        "exclusions[3].size: there is no size XXL; there are XS, S, M, L",
        "pins[0]: c1 is pinned to S and excluded from it; drop one of the two",
        "pins[1].size: S takes 2 at most, and this pin would make 3; raise its most or drop a pin",
        "pins[1].yarn: wool_blue is enough for 2, and this pin would make 3; raise its makers or drop a pin",
        "pins[2].candidate: c1 is pinned twice; keep one pin",
        "pins[3].size: there is no size XXL; there are XS, S, M, L",
        "pins[3]: c3 is pinned and excluded; drop one of the two",
        "pins[3].yarn: there is no yarn linen; there are wool_blue, wool_red",
        "pins[4].yarn: c4 did not name wool_red; they named wool_blue",
        "pins[5]: c5 has no yarn of their own and named none; ask which, or whether they bring one",
        "pins[6].candidate: t1 already holds a place, and keeps it",
        "pins[7].candidate: there is no candidate nobody; there are c1, c2, c3, c4, c5",
        "seconds: must be above 0; got 0",
    ]


def test_a_yarn_with_fewer_makers_than_testers_who_have_it():
    testers = tuple(
        {"id": f"t{i}", "name": "T", "size": "S", "yarn": {"label": "wool blue"}} for i in range(3)
    )

    assert problems(document(candidate("c", 86), yarns={"wool_blue": 2}, testers=testers)) == [
        "round.yarns[0].makers: 2 is fewer than the 3 testers who already make in wool_blue; "
        "raise it or change their yarn"
    ]


def test_pins_that_no_yarn_is_left_for_are_refused_together():
    people = [candidate(name, 86, yarns=BLUE) for name in ("c1", "c2")]

    assert problems(document(*people, yarns={"wool_blue": 1}), pins=[Pin("c1"), Pin("c2")]) == [
        "pins: c1 and c2 cannot all have a place: the sizes they can have or the yarns they named are "
        "not enough for them; drop a pin, or raise a yarn's makers or a size's most"
    ]


def test_a_pin_without_a_size_on_somebody_out_of_reach():
    assert problems(document(candidate("c", 130)), pins=[Pin("c")]) == [
        "pins: c is pinned, and no size is within reach of them or wished for; pin a size"
    ]


def test_a_round_made_elsewhere_is_looked_at_as_a_file_is():
    round_ = round_of(document(candidate("c", 86, "S"), least={"S": 1}, most={"S": 2}))
    wrong = Round.model_validate(
        {
            **round_.model_dump(),
            "candidates": [{**round_.candidates[0].model_dump(), "wishes": ("XXL",)}],
            "round": {**round_.round.model_dump(), "places": {"least": {"S": 3}, "most": {"S": 2}}},
        }
    )

    with pytest.raises(AssignmentError) as refused:
        assign(wrong)
    assert [problem.path for problem in refused.value.problems] == [
        "round.places.most.S",
        "candidates[0].wishes[0]",
    ]


# What is said


def test_every_place_says_fit_wish_and_need():
    file = document(
        candidate("c1", 87.2, "M", "S"),
        candidate("c2", measures={"bust": 86, "waist": 70.3}),
        candidate("c3", 96),
        sizes={"S": (86, 68), "M": (106, 88)},
        least={"S": 2},
        most={"S": 3, "M": 0},
    )

    assert [place.why for place in assigned(file, exclusions=[Exclusion("c3")]).document.places] == [
        "Bust within 1.2 cm of S; second wish; S needed two.",
        "Bust and waist within 2.3 cm of S; S needed two.",
    ]


def test_a_length_in_a_reason_is_never_less_than_it_is():
    found = assigned(document(candidate("c", 87.21)))

    assert found.document.places[0].why == "Bust within 1.3 cm of S; S has room."


def test_the_reserve_of_a_size_is_ranked_and_says_what_it_waits_for():
    file = document(
        candidate("c1", 86, yarns=BLUE),
        candidate("c2", 87, "S"),
        candidate("c3", 89),
        candidate("c4", 88, yarns=BLUE),
        candidate("c5", 86.5, yarns=RED),
        most={"S": 2},
        yarns={"wool_blue": 1, "wool_red": 0},
    )
    found = assigned(file)

    assert sizes(found) == {"c1": "S", "c2": "S"}
    assert [(one.candidate, one.rank, one.why) for one in found.document.reserve] == [
        (
            "c4",
            1,
            "S is full; next in line if wool_blue comes free with the place; bust within 2 cm of S.",
        ),
        ("c3", 2, "S is full; second in line; bust within 3 cm of S."),
    ]
    assert refusals(found) == {
        "c3": "S is full, and no other size is within reach or wished for.",
        "c4": "No makers are left of wool_blue, the yarn they named; "
        "S is full, and no other size is within reach or wished for.",
        "c5": "No makers are left of wool_red, the yarn they named; "
        "S is full, and no other size is within reach or wished for.",
    }


@pytest.mark.parametrize(
    ("file", "why"),
    [
        (
            document(candidate("c", 110), least={"S": 1}),
            "No candidate's bust is within 5 cm of S.",
        ),
        (
            document(candidate("c", 110, "L"), least={"S": 1}),
            "No candidate's bust is within 5 cm of S, and nobody wished for it.",
        ),
        (
            document(candidate("c", 91), sizes={"S": (86,), "M": (96,)}, least={"S": 1, "M": 1}),
            "One candidate could make M; they are placed in S, which would be left short in its turn.",
        ),
        (
            document(candidate("c", 86, yarns=BLUE), least={"S": 1}, yarns={"wool_blue": 0}),
            "One candidate could make S; no yarn is left that they have named.",
        ),
        (
            document(
                *(candidate(f"c{i}", 91) for i in range(3)),
                sizes={"S": (86,), "M": (96,)},
                least={"S": 2, "M": 2},
            ),
            "Three candidates could make M; two of them are placed in S, which would be left short in its turn.",
        ),
    ],
)
def test_a_size_left_short_says_why(file: Document, why: str):
    (short,) = assigned(file).document.short

    assert short.why == why


def test_a_size_short_for_an_exclusion_says_so():
    (short,) = assigned(
        document(candidate("c", 86), least={"S": 1}), exclusions=[Exclusion("c")]
    ).document.short

    assert short.why == "Everyone who could make S was excluded by the designer."


# By hand


def by_hand() -> Document:
    return document(
        candidate("c1", 86, "S", answered="2027-01-01T00:00:00Z"),
        candidate("c2", 90, "S", "M", answered="2027-01-02T00:00:00Z"),
        candidate("c3", 96, yarns=BLUE, answered="2027-01-03T00:00:00Z"),
        least={"S": 1, "M": 1},
        most={"S": 1, "M": 2},
        yarns={"wool_blue": 1},
    )


def test_a_place_moved_by_hand_says_what_it_costs():
    file = by_hand()
    best = assigned(file)
    assert seats(best) == {"c1": ("S", None), "c2": ("M", None), "c3": ("M", "wool_blue")}

    moved = [Place("c2", "S"), Place("c3", "M", "wool_blue")]
    cost = cost_of(round_of(file), moved)

    assert cost.broken == ()
    assert not cost.as_good
    assert cost.differences == (
        "1 candidate fewer placed",
        "2.0 cm less misfit in all",
        "1 wish step fewer",
        "1 size fewer with testers in two yarns",
    )


def test_every_rule_that_a_hand_breaks_is_said():
    places = [
        Place("c1", "L", "wool_blue"),
        Place("c2", "S"),
        Place("c2", "M"),
        Place("c3", "S"),
        Place("c9", "S"),
        Place("t1", "S"),
        Place("c4", "XXL"),
        Place("c5", "S", "linen"),
        Place("c6", "M", "wool_blue"),
    ]
    file = by_hand()
    file["candidates"] += [candidate("c4"), candidate("c5"), candidate("c6", 96, yarns=BLUE)]
    file["testers"] = [{"id": "t1", "name": "T", "size": "XS"}]

    cost = cost_of(
        round_of(file), places, pins=[Pin("c3", "M"), Pin("c2")], exclusions=[Exclusion("c2", "S")]
    )

    assert cost.broken == (
        "c2 has two places.",
        "There is no candidate c9.",
        "t1 already holds a place, and keeps it.",
        "There is no size XXL for c4.",
        "There is no yarn linen for c5.",
        "c1 cannot have L: bust 20 cm from L, beyond the reach.",
        "c1 did not name wool_blue.",
        "c2 is excluded from S.",
        "c3 cannot have S: bust 10 cm from S, beyond the reach.",
        "c3 has no yarn of their own.",
        "c3 is pinned to M.",
        "S takes 1 at most and has 2.",
        "wool_blue is enough for 1 and is given to 2.",
    )
    assert not cost.as_good


# A place given back


def test_the_next_in_reserve_is_proposed_and_nobody_is_moved():
    file = document(*(candidate(f"c{i}", 86 + i) for i in range(4)), most={"S": 2})
    best = assigned(file)

    found = replace(round_of(file), best.document.places, "c0")

    assert [(one.candidate, one.size) for one in found.proposed] == [("c2", "S")]
    assert found.moved == ()
    assert found.why == "c2 (S in own yarn) is next for the place of size S; nobody else is moved."
    assert sizes(found.assignment) == {"c1": "S", "c2": "S"}
    assert reserve(best)[0] == ("S", 1, "c2")


def test_a_tester_may_give_back_a_place_and_its_yarn():
    tester = {"id": "t1", "name": "T", "size": "S", "yarn": {"label": "wool blue"}}
    file = document(candidate("c1", 88, yarns=BLUE), most={"S": 1}, yarns={"wool_blue": 1}, testers=(tester,))
    assert sizes(assigned(file)) == {}

    found = replace(round_of(file), (), "t1")

    assert [(one.candidate, one.size, one.yarn) for one in found.proposed] == [("c1", "S", "wool_blue")]


def test_who_has_not_started_may_be_moved_if_the_designer_says_so():
    file = document(
        candidate("c0", 86),
        candidate("c1", 90),
        candidate("c2", 96),
        sizes={"S": (86,), "M": (94,)},
        least={"S": 1},
        most={"S": 1, "M": 1},
    )
    places = [Place("c0", "S"), Place("c1", "M")]

    stays = replace(round_of(file), places, "c0")
    assert (stays.proposed, stays.moved) == ((), ())
    assert stays.why == (
        "Nobody without a place can have one of size S: by reach, wishes and yarn there is no one in "
        "reserve; nobody else is moved."
    )
    moves = replace(round_of(file), places, "c0", may_move={"c1"})
    assert [(one.candidate, one.size) for one in moves.proposed] == [("c2", "M")]
    assert [(one.candidate, one.size) for one in moves.moved] == [("c1", "S")]


def test_places_beyond_the_rules_are_left_as_the_designer_made_them():
    file = document(candidate("c0", 86), candidate("c1", 120), candidate("c2", 87), most={"S": 1})

    found = replace(round_of(file), [Place("c0", "S"), Place("c1", "S")], "c0")

    assert sizes(found.assignment) == {"c1": "S"}


def test_nobody_gives_back_what_they_have_not():
    with pytest.raises(AssignmentError, match="c7 has no place to give back"):
        replace(round_of(document(candidate("c0", 86))), (), "c7")


# Proof and time


def test_a_search_that_was_stopped_says_so_and_keeps_every_rule():
    file = document(*(candidate(f"c{i}", 86 + i) for i in range(4)), least={"S": 1}, most={"S": 2})

    found = assigned(file, seconds=1e-9)

    assert not found.document.optimal
    assert found.document.gap > 0
    assert cost_of(round_of(file), found.document.places).broken == ()
    assert "Not proven" in assignment_text(found, round_of(file))
