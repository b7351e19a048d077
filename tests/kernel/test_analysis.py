"""Whole rounds, simulated: faultless ones raise nothing, and every planted fault is found under its own name."""

from __future__ import annotations

import copy
import json
import random
from typing import Any

import jsonschema
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from testround.kernel.analysis import Analysis, analyse
from testround.kernel.findings import Finding, FindingsDocument, Verdict, findings_json
from testround.kernel.report_text import report_text
from tests.conftest import LITTLE_TOP
from tests.kernel.simulated import SIZES, Truth, as_round, finished, pattern, simulated_round


def amended(analysis: Analysis) -> list[str]:
    return [one.id for one in analysis.findings.findings if one.verdict is Verdict.AMEND]


def finding(analysis: Analysis, key: str) -> Finding:
    return analysis.findings.finding(key)


@pytest.fixture(scope="module")
def cardigan() -> dict[str, Any]:
    return pattern()


def analysed(seed: int, testers: int, truth: Truth | None = None, **more: Any) -> Analysis:
    return analyse(as_round(simulated_round(seed, testers, truth or Truth(), **more)))


# Nothing planted


@pytest.mark.parametrize("seed", range(100, 112))
@pytest.mark.parametrize("testers", [6, 14])
def test_a_faultless_round_raises_nothing(seed, testers, cardigan):
    assert amended(analysed(seed, testers, source=cardigan)) == []


def test_a_faultless_round_of_loose_hands_raises_nothing(cardigan):
    loose = Truth(
        stitch_spread=0.04, row_spread=0.05, swatch_noise=0.03, garment_noise=0.025, reading_noise=0.7
    )

    assert [amended(analysed(seed, 14, loose, source=cardigan)) for seed in range(6)] == [[]] * 6


def test_a_faultless_round_of_many_holds_in_most_places(cardigan):
    analysis = analysed(1, 45, source=cardigan)

    said = [one.verdict for one in analysis.findings.findings]
    assert said.count(Verdict.HOLDS) >= len(said) - 2
    assert analysis.converged


# One fault each


@pytest.mark.parametrize("seed", range(4))
def test_a_length_off_in_all_sizes(seed, cardigan):
    truth = Truth(offsets={"sleeve_length": {"*": 3.4}})

    analysis = analysed(seed, 14, truth, source=cardigan)

    assert amended(analysis) == ["finished-size:sleeve_length"]
    found = finding(analysis, "finished-size:sleeve_length")
    assert (found.extent, found.sizes, found.proposed_for) == ("all-sizes", SIZES, "sleeve_rows")
    assert found.interval[0] < 3.4 < found.interval[1]
    # 42 cm are 126 rows; 3.4 cm at 3 rows per cm are 10.2, and rows are even.
    assert set(found.now.values()) == {126}
    assert all(114 <= n <= 118 and n % 2 == 0 for n in found.proposed.values())


@pytest.mark.parametrize("seed", range(4))
def test_a_width_off_in_some_sizes(seed, cardigan):
    truth = Truth(offsets={"neck_width": {"2X": 3.2, "3X": 3.2, "4X": 3.2}})

    analysis = analysed(seed, 18, truth, source=cardigan)

    assert amended(analysis) == ["finished-size:neck_width"]
    found = finding(analysis, "finished-size:neck_width")
    assert (found.extent, found.sizes) == ("some-sizes", ("2X", "3X", "4X"))
    assert set(found.proposed) == {"2X", "3X", "4X"}


@pytest.mark.parametrize("seed", range(4))
def test_a_width_that_grows_along_the_sizes(seed, cardigan):
    growing = dict(zip(SIZES, np.linspace(-0.5, 4.5, 9).tolist(), strict=True))

    analysis = analysed(seed, 18, Truth(offsets={"sleeve_width": growing}), source=cardigan)

    assert amended(analysis) == ["finished-size:sleeve_width"]
    found = finding(analysis, "finished-size:sleeve_width")
    assert found.extent == "with-size"
    assert found.sizes[-1] == "5X"
    assert "XS" not in found.sizes
    changes = [found.now[size] - found.proposed[size] for size in found.sizes]
    assert changes == sorted(changes)
    assert changes[-1] > changes[0]


@pytest.mark.parametrize("seed", range(4))
def test_a_row_gauge_that_nobody_gets_explains_every_length(seed, cardigan):
    analysis = analysed(seed, 14, Truth(rows=28 / 30), source=cardigan)

    assert amended(analysis) == ["stated-gauge:body.row"]
    found = finding(analysis, "stated-gauge:body.row")
    assert found.now == {"rows": 30}
    assert 27 <= found.proposed["rows"] <= 29
    assert found.follows.keys() == {key for key, unit in _units(cardigan) if unit == "row"}


def _units(source: dict[str, Any]) -> list[tuple[str, str]]:
    return [(number["key"], number["unit"]) for number in source["numbers"]]


def test_a_misprinted_count_is_one_finding(cardigan):
    source = copy.deepcopy(cardigan)
    number = next(n for n in source["numbers"] if n["key"] == "sleeve_sts")
    right = number["printed"]["M"]
    number["printed"]["M"] = right + 10

    analysis = analyse(as_round({**simulated_round(3, 0), "pattern": source}))

    assert amended(analysis) == ["printed-count:sleeve_sts"]
    found = finding(analysis, "printed-count:sleeve_sts")
    assert (found.now, found.proposed, found.sizes) == ({"M": right + 10}, {"M": right}, ("M",))


def test_a_misprinted_measurement_is_a_schematic_finding(cardigan):
    source = copy.deepcopy(cardigan)
    dimension = next(d for d in source["dimensions"] if d["key"] == "chest")
    right = dimension["printed"]["L"]
    dimension["printed"]["L"] = right + 6

    analysis = analysed(2, 14, source=source)

    assert amended(analysis) == ["schematic:chest"]
    assert finding(analysis, "schematic:chest").proposed == {"L": right}


def test_a_count_that_everybody_arrives_at(cardigan):
    analysis = analysed(4, 9, Truth(worked={"sleeve_sts": 4}), source=cardigan)

    assert amended(analysis) == ["worked-count:sleeve_sts"]
    found = finding(analysis, "worked-count:sleeve_sts")
    assert (found.estimate, found.unit, found.testers) == (4, "st", 9)
    assert all(found.proposed[size] == found.now[size] + 4 for size in SIZES)
    assert found.computed == found.now


def test_yarn_that_most_makers_run_out_of(cardigan):
    document = simulated_round(5, 12, source=cardigan)
    document["pattern"]["yarn"] = dict.fromkeys(SIZES, 1000.0)
    document["round"]["yarns"] = [
        {"key": "wool", "label": "Wool", "metres_per_ball": 200, "grams_per_ball": 100}
    ]
    stitches = [
        2 * _worked(t, "back_sts") * (_worked(t, "body_rows") + _worked(t, "armhole_rows"))
        for t in document["testers"]
    ]
    for i, (tester, total) in enumerate(zip(document["testers"], stitches, strict=True)):
        tester["yarn_used"] = {"metres": round(0.05 * total * (1 + 0.02 * (i % 5 - 2)), 1)}

    analysis = analyse(as_round(document))

    found = finding(analysis, "yarn")
    assert (found.verdict, found.unit, found.testers) == ("amend", "m", 12)
    assert all(metres % 200 == 0 for metres in found.proposed.values())
    assert all(found.proposed[size] >= 0.05 * total for size, total in zip(SIZES, stitches, strict=False))


def _worked(tester: dict[str, Any], number: str) -> float:
    return next(c["worked"] for c in tester["counts"] if c["number"] == number)


def test_a_place_in_the_text_that_two_testers_stumble_over(cardigan):
    document = simulated_round(6, 6, source=cardigan)
    for i in (0, 3):
        document["testers"][i]["remarks"] = [
            {"place": "Step 4", "kind": "unclear", "text": "At the same time as what?"}
        ]

    found = finding(analyse(as_round(document)), "clarity:Step 4")

    assert (found.verdict, found.testers, found.extent) == ("look-closer", 2, None)


def test_two_testers_of_a_size_who_find_it_too_large(cardigan):
    document = simulated_round(6, 18, source=cardigan)
    for i in (2, 11):  # both make an M
        document["testers"][i]["fit"] = [{"dimension": "chest", "says": "too-large"}]

    found = finding(analyse(as_round(document)), "fit:chest:too-large")

    assert (found.verdict, found.sizes, found.testers) == ("look-closer", ("M",), 2)


# Slips of one tester


@pytest.mark.parametrize(
    ("dimension", "slip", "cause"),
    [
        ("chest", lambda cm: cm / 2, "half"),
        ("sleeve_length", lambda cm: cm / 2.54, "inches"),
        ("body_length", lambda cm: float(f"{cm:.0f}"[::-1]), "swapped-digits"),
        ("band_length", lambda cm: cm + 23.0, "unknown"),
    ],
)
def test_a_slip_is_asked_about_and_moves_nothing(dimension, slip, cause, cardigan):
    document = simulated_round(7, 12, source=cardigan)
    entry = finished(document, 4, dimension)
    entry["values"] = [slip(cm) for cm in entry["values"]]
    clean = analyse(as_round(simulated_round(7, 12, source=cardigan)))

    analysis = analyse(as_round(document))

    assert amended(analysis) == []
    (question,) = analysis.questions
    assert (question.tester, question.subject, question.cause) == ("t0005", dimension, cause)
    before, after = (finding(one, f"finished-size:{dimension}").estimate for one in (clean, analysis))
    assert abs(after - before) < 0.3


def test_one_tester_alone_never_convicts_a_size(cardigan):
    document = simulated_round(8, 17, source=cardigan)  # one in 5X, two in every other size
    entry = finished(document, 8, "neck_width")
    assert document["testers"][8]["size"] == "5X"
    entry["values"] = [cm + 3.4 for cm in entry["values"]]

    assert amended(analyse(as_round(document))) == []


def test_a_swatch_that_cannot_be_meant_is_asked_about(cardigan):
    document = simulated_round(9, 12, source=cardigan)
    document["testers"][3]["swatches"][0]["width"] = 5.0

    analysis = analyse(as_round(document))

    assert [(q.tester, q.subject) for q in analysis.questions] == [("t0004", "body.st")]
    assert amended(analysis) == []


def test_a_count_that_cannot_be_meant_is_asked_about_once(cardigan):
    document = simulated_round(9, 12, source=cardigan)
    count = next(c for c in document["testers"][3]["counts"] if c["number"] == "sleeve_rows")
    assert count["worked"] == 126
    count["worked"] = 261

    analysis = analyse(as_round(document))

    (question,) = analysis.questions
    assert (question.tester, question.subject, question.cause) == ("t0004", "sleeve_rows", "swapped-digits")
    assert question.sentence == "sleeve rows is given as 261, and the text says 126. Were two digits swapped?"
    assert amended(analysis) == []


# Cells, tables and bytes


def test_every_cell_obeys_the_sum_and_has_its_tester_and_size(cardigan):
    analysis = analysed(10, 9, source=cardigan)

    assert len(analysis.findings.cells) == 9 * 15
    for cell in json.loads(findings_json(analysis.findings))["cells"]:
        parts = cell["parts"]
        total = parts["counts"] + parts["gauge"] + parts["remainder"]
        assert total == pytest.approx(cell["measured"] - cell["target"], abs=1e-9)


def test_a_cell_of_a_million_stitches_still_adds_up(cardigan):
    document = simulated_round(10, 3, source=cardigan)
    document["testers"][0]["counts"][0]["worked"] = 999_999

    (cell,) = (
        c
        for c in json.loads(findings_json(analyse(as_round(document)).findings))["cells"]
        if (c["tester"], c["dimension"]) == ("t0001", "chest")
    )

    parts = cell["parts"]
    total = parts["counts"] + parts["gauge"] + parts["remainder"]
    assert total == pytest.approx(cell["measured"] - cell["target"], abs=1e-9)


def test_the_document_follows_its_published_schema(cardigan):
    document = json.loads(findings_json(analysed(11, 9, Truth(rows=0.93), source=cardigan).findings))

    jsonschema.validate(document, FindingsDocument.model_json_schema())


def test_the_same_round_gives_the_same_bytes(cardigan):
    document = simulated_round(12, 9, Truth(offsets={"cuff": {"*": 1.8}}), source=cardigan)

    assert findings_json(analyse(as_round(document)).findings) == findings_json(
        analyse(as_round(document)).findings
    )


def test_the_order_of_testers_does_not_matter(cardigan):
    document = simulated_round(13, 14, Truth(offsets={"cuff": {"*": 1.8}}), source=cardigan)
    shuffled = {**document, "testers": random.Random(1).sample(document["testers"], 14)}

    one, other = analyse(as_round(document)), analyse(as_round(shuffled))

    assert one.findings.findings == other.findings.findings
    assert one.deviations == other.deviations
    by_name = lambda cell: (cell.tester, cell.dimension)  # noqa: E731
    assert sorted(one.findings.cells, key=by_name) == sorted(other.findings.cells, key=by_name)


def test_every_size_and_dimension_has_a_cell_of_its_own(cardigan):
    analysis = analysed(14, 14, sizes=("S", "M", "L"), source=cardigan)

    assert len(analysis.deviations) == 9 * 15
    for cell in analysis.deviations:
        made = cell.size in ("S", "M", "L")
        assert (cell.testers > 0) is made
        assert cell.low < cell.estimate < cell.high
        if not made:
            assert cell.verdict is Verdict.OPEN


def test_own_gauges_say_where_they_come_from(cardigan):
    document = simulated_round(15, 3, source=cardigan)
    document["testers"][1]["swatches"][0]["state"] = "worked"
    document["testers"][2]["swatches"] = []

    own = analyse(as_round(document)).own_gauges

    assert [(o.tester, o.source) for o in own] == [
        ("t0001", "blocked"),
        ("t0002", "worked"),
        ("t0003", "assumed"),
    ]
    assert (own[2].st, own[2].row) == (22, 30)
    assert own[0].u_st < own[1].u_st < own[2].u_st


# Rounds with little in them


@pytest.mark.parametrize("testers", [0, 1, 2, 3])
def test_a_round_of_few_testers_says_little_and_never_fails(testers, cardigan):
    analysis = analysed(16, testers, source=cardigan)

    assert amended(analysis) == []
    if testers < 2:
        assert {cell.verdict for cell in analysis.deviations} <= {Verdict.OPEN, Verdict.LOOK_CLOSER}


@pytest.mark.parametrize("missing", ["swatches", "counts", "finished"])
def test_testers_may_have_any_part_missing(missing, cardigan):
    document = simulated_round(17, 8, Truth(offsets={"sleeve_length": {"*": 3.4}}), source=cardigan)
    for tester in document["testers"][::2]:
        del tester[missing]

    analysis = analyse(as_round(document))

    assert amended(analysis) in ([], ["finished-size:sleeve_length"])


def test_six_testers_are_enough_where_the_evidence_is_plain(cardigan):
    analysis = analysed(18, 6, Truth(offsets={"sleeve_length": {"*": 4.0}}), source=cardigan)

    assert amended(analysis) == ["finished-size:sleeve_length"]


def test_what_is_not_settled_says_how_many_more_testers_would(cardigan):
    found = [
        one
        for seed in range(12)
        for one in analysed(
            seed, 3, Truth(offsets={"sleeve_length": {"*": 2.4}}, reading_noise=0.9), source=cardigan
        ).findings.findings
        if one.id == "finished-size:sleeve_length" and one.verdict is Verdict.LOOK_CLOSER
    ]

    assert found
    assert all(one.needs and set(one.needs) <= set(SIZES) for one in found)


def test_an_empty_pattern_of_testers_in_progress(little_top):
    document = {
        "format": "testround/round",
        "version": 1,
        "pattern": {**little_top, "dimensions": [], "parts": []},
        "round": {"title": "First test"},
        "testers": [{"id": "t01", "name": "Tester one", "size": "S"}],
    }

    analysis = analyse(as_round(document))

    assert (analysis.deviations, analysis.findings.cells, analysis.questions) == ((), (), ())


# Made to measure


def made_to_measure(testers: int, off: float) -> dict[str, Any]:
    rng = np.random.default_rng(19)
    people = []
    for i in range(testers):
        hip, length = float(rng.integers(90, 120)), float(rng.integers(55, 75))
        stitches, rows = float(rng.integers(30, 36)) / 2, float(rng.integers(22, 27)) / 2
        count = 4 * round(hip * stitches / 40)
        people.append(
            {
                "id": f"t{i}",
                "name": f"Tester {i}",
                "size": None,
                "measures": {"hip": hip, "length": length},
                "swatches": [
                    {
                        "gauge": "fabric",
                        "state": "blocked",
                        "width": 10,
                        "stitches": stitches,
                        "height": 10,
                        "rows": rows,
                    }
                ],
                "finished": [
                    {
                        "dimension": "hip_round",
                        "state": "blocked",
                        "values": [round(2 * (count / stitches * 10 + rng.normal(0, 0.8))) / 2],
                    },
                    {
                        "dimension": "skirt_length",
                        "state": "blocked",
                        "values": [round(2 * (length + off + rng.normal(0, 0.5))) / 2],
                    },
                ],
            }
        )
    return {
        "format": "testround/round",
        "version": 1,
        "pattern": {
            "title": "Quillwork Skirt",
            "edition": "1.0",
            "craft": "crochet",
            "kind": "made-to-measure",
            "gauges": [{"key": "fabric", "label": "Trebles", "stitches": 16, "rows": 12, "tool_mm": 4}],
            "sizes": [],
            "measures": [{"key": "hip", "label": "Hip"}, {"key": "length", "label": "Length"}],
            "numbers": [
                {
                    "key": "hip_sts",
                    "label": "Round at the hip",
                    "unit": "st",
                    "formula": "multiple(hip * fabric.st, of=4)",
                },
                {
                    "key": "skirt_rows",
                    "label": "Rounds",
                    "unit": "row",
                    "formula": "multiple(length * fabric.row)",
                },
            ],
            "dimensions": [
                {"key": "hip_round", "label": "Hip", "tolerance": 3, "formula": "hip_sts / fabric.st"},
                {
                    "key": "skirt_length",
                    "label": "Length",
                    "tolerance": 2.5,
                    "formula": "skirt_rows / fabric.row",
                },
            ],
        },
        "round": {"title": "First test"},
        "testers": people,
    }


def test_a_made_to_measure_round_finds_a_length_that_is_off():
    analysis = analyse(as_round(made_to_measure(8, 4.5)))

    assert amended(analysis) == ["finished-size:skirt_length"]
    found = finding(analysis, "finished-size:skirt_length")
    assert (found.sizes, found.now, found.proposed, found.extent) == (None, None, None, "all-sizes")
    assert {cell.size for cell in analysis.deviations} == {None}
    assert all(cell.parts.gauge == 0 and cell.size is None for cell in analysis.findings.cells)


def test_a_faultless_made_to_measure_round_raises_nothing():
    assert amended(analyse(as_round(made_to_measure(8, 0.0)))) == []


def test_a_made_to_measure_tester_without_measures_is_left_out():
    document = made_to_measure(4, 0.0)
    document["testers"][0]["measures"] = {}

    assert {cell.tester for cell in analyse(as_round(document)).findings.cells} == {"t1", "t2", "t3"}


def test_one_tester_is_spoken_of_as_one_and_of_a_worksheet():
    document = made_to_measure(1, 8.0)
    (tester,) = document["testers"]
    tester["counts"] = [{"number": "hip_sts", "worked": 20}]

    analysis = analyse(as_round(document))

    assert finding(analysis, "finished-size:skirt_length").why.endswith(
        "and 1 tester is not enough to be sure."
    )
    (question,) = [one for one in analysis.questions if one.subject == "hip_sts"]
    assert "is given as 20, and the worksheet says " in question.sentence


# Whatever a tester may have sent

LITTLE = st.floats(0.1, 1000).map(lambda x: round(x, 2))
PEOPLE = st.lists(
    st.fixed_dictionaries(
        {},
        optional={
            "size": st.sampled_from(["XS", "S", "M"]),
            "measures": st.dictionaries(st.just("bust"), LITTLE),
            "swatches": st.lists(
                st.fixed_dictionaries(
                    {"gauge": st.just("body"), "state": st.sampled_from(["worked", "blocked"])},
                    optional={
                        "tool_mm": st.floats(1, 20),
                        "width": LITTLE,
                        "stitches": LITTLE,
                        "height": LITTLE,
                        "rows": LITTLE,
                    },
                ),
                max_size=3,
            ),
            "counts": st.lists(
                st.fixed_dictionaries(
                    {
                        "number": st.sampled_from(["back_sts", "body_rows"]),
                        "worked": st.sampled_from([0, 2, 90, 104, 1_000_000]),
                    }
                ),
                max_size=3,
            ),
            "finished": st.lists(
                st.fixed_dictionaries(
                    {
                        "dimension": st.sampled_from(["chest", "body_length"]),
                        "state": st.sampled_from(["worked", "blocked"]),
                        "values": st.lists(LITTLE, min_size=1, max_size=3),
                    }
                ),
                max_size=3,
            ),
            "yarn_used": st.fixed_dictionaries({"metres": LITTLE}),
            "sittings": st.lists(
                st.fixed_dictionaries({"hours": LITTLE, "done": st.floats(0, 1)}), max_size=2
            ),
        },
    ),
    max_size=6,
)


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(PEOPLE, st.booleans())
def test_no_report_however_odd_stops_the_analysis(people, graded):
    source = json.loads(json.dumps(LITTLE_TOP))
    source |= {"yarn": {"S": 900}, "hours": {"S": 30}} if graded else {"kind": "made-to-measure", "sizes": []}
    if not graded:
        del source["measures"][0]["values"]
        for number in source["numbers"]:
            del number["printed"]
    document = {
        "format": "testround/round",
        "version": 1,
        "pattern": source,
        "round": {"title": "First test"},
        "testers": [
            {"name": "Someone", **person, "id": f"t{i}", "size": person.get("size") if graded else None}
            for i, person in enumerate(people)
        ],
    }

    round_ = as_round(document)
    analysis = analyse(round_)

    written = findings_json(analysis.findings)
    assert FindingsDocument.model_validate_json(written).pattern == analysis.findings.pattern
    assert report_text(analysis, round_).startswith("Little top")
    for cell in analysis.findings.cells:
        total = cell.parts.counts + cell.parts.gauge + cell.parts.remainder
        assert total == pytest.approx(cell.measured - cell.target, abs=1e-9)
