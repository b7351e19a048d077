"""Every discrepancy taken apart: counts, gauge, and what is left."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from testround.kernel.discrepancy import READING_FLOOR, READING_FLOOR_INCHES, discrepancies
from testround.kernel.gauge import reading
from testround.kernel.round import Pattern, Tester
from testround.kernel.sheet import Sheet
from tests.conftest import LITTLE_TOP


def swatch(stitches: float, rows: float, state: str = "blocked") -> dict[str, Any]:
    return {
        "gauge": "body",
        "state": state,
        "tool_mm": 4.0,
        "width": 10,
        "stitches": stitches,
        "height": 10,
        "rows": rows,
    }


def person(**more: Any) -> Tester:
    return Tester.model_validate({"id": "t01", "name": "Tester one", "size": "S", **more})


def finished(dimension: str, *values: float, state: str = "blocked") -> dict[str, Any]:
    return {"dimension": dimension, "state": state, "values": values}


@pytest.fixture
def sheet(little_top) -> Sheet:
    return Sheet(Pattern.model_validate(little_top))


def made_to_measure() -> Sheet:
    pattern = json.loads(json.dumps(LITTLE_TOP))
    pattern.update(kind="made-to-measure", sizes=[])
    for number in pattern["numbers"]:
        del number["printed"]
    del pattern["measures"][0]["values"]
    return Sheet(Pattern.model_validate(pattern))


def test_a_chest_worked_by_hand(sheet):
    # Size S prints 104 stitches; the formula gives (86 + 8) / 2 × 2.2 = 103.4, to the nearest even 104.
    # Worked were 106, at 2.25 stitches per cm, and 93.25 cm were measured.
    found = discrepancies(
        sheet,
        [
            person(
                swatches=[swatch(22.5, 31)],
                counts=[{"number": "back_sts", "worked": 106}],
                finished=[finished("chest", 93.0, 93.5)],
            )
        ],
    )

    assert found.target[0, 0] == pytest.approx(208 / 2.2)
    assert found.counts[0, 0] == pytest.approx(212 / 2.2 - 208 / 2.2)
    assert found.gauge[0, 0] == pytest.approx(212 / 2.25 - 212 / 2.2)
    assert found.remainder[0, 0] == pytest.approx(93.25 - 212 / 2.25)


def test_its_uncertainty_by_hand(sheet):
    # E falls in proportion as the gauge rises: u(E)/E is the gauge's own relative uncertainty.
    found = discrepancies(sheet, [person(swatches=[swatch(22.5, 31)], finished=[finished("chest", 93.0)])])

    assert found.u_expected[0, 0] == pytest.approx(208 / 2.25 * reading(22.5, 10)[1], rel=1e-6)
    assert found.u_measured[0, 0] == pytest.approx(READING_FLOOR)
    assert found.uncertainty[0, 0] == pytest.approx(np.hypot(found.u_expected[0, 0], READING_FLOOR))


def test_a_count_not_reported_is_the_printed_one_and_else_the_computed_one(little_top):
    little_top["numbers"][0]["printed"]["S"] = 100
    del little_top["numbers"][1]["printed"]
    sheet = Sheet(Pattern.model_validate(little_top))

    found = discrepancies(sheet, [person(finished=[finished("chest", 90), finished("body_length", 32)])])

    assert found.worked["back_sts"].tolist() == [100]
    assert found.worked["body_rows"].tolist() == [96]
    assert found.counts[0].tolist() == pytest.approx([200 / 2.2 - 208 / 2.2, 0])


def test_a_piece_measured_unblocked_is_expected_at_the_unblocked_gauge(sheet):
    found = discrepancies(
        sheet,
        [
            person(
                swatches=[swatch(22, 30), swatch(23, 31, state="worked")],
                finished=[finished("chest", 90.0, state="worked"), finished("body_length", 32.0)],
            )
        ],
    )

    assert found.expected[0].tolist() == pytest.approx([208 / 2.3, 96 / 3.0])


def test_the_blocked_measurement_counts_where_both_were_taken(sheet):
    found = discrepancies(
        sheet, [person(finished=[finished("chest", 80.0, state="worked"), finished("chest", 94.0)])]
    )

    assert found.measured[0, 0] == 94.0


def test_inches_are_read_to_a_quarter_and_repeats_show_their_own_spread(sheet):
    inches = person(finished=[finished("chest", 36.25 * 2.54)])
    apart = person(id="t02", finished=[finished("chest", 90.0, 93.0, 96.0)])

    found = discrepancies(sheet, [inches, apart])

    assert found.u_measured[0, 0] == pytest.approx(max(READING_FLOOR_INCHES, 3.0))
    assert found.u_measured[1, 0] == pytest.approx(3.0 / np.sqrt(3))
    alone = discrepancies(sheet, [inches])
    assert alone.u_measured[0, 0] == pytest.approx(READING_FLOOR_INCHES)


def test_a_made_to_measure_tester_has_no_gauge_part():
    found = discrepancies(
        made_to_measure(),
        [
            person(
                size=None, measures={"bust": 90}, swatches=[swatch(20, 28)], finished=[finished("chest", 99)]
            )
        ],
    )

    # (90 + 8) / 2 × 2.0 = 98 stitches, 2 × 98 / 2.0 = 98 cm.
    assert found.target[0, 0] == pytest.approx(98)
    assert found.gauge[0, 0] == 0
    assert found.remainder[0, 0] == pytest.approx(1)


def test_what_is_missing_leaves_gaps_and_raises_nothing(sheet):
    found = discrepancies(
        sheet,
        [
            person(),
            person(id="t02", size=None, finished=[finished("chest", 90)]),
            person(id="t03", finished=[finished("cuff", 20)], counts=[{"number": "cuff_sts", "worked": 40}]),
        ],
    )

    assert not found.known.any()
    assert discrepancies(sheet, []).measured.shape == (0, 2)
    unmeasured = discrepancies(made_to_measure(), [person(size=None, finished=[finished("chest", 90)])])
    assert not unmeasured.known.any()


MEASURED = st.floats(1, 300)
PERSON = st.fixed_dictionaries(
    {},
    optional={
        "size": st.sampled_from(["XS", "S", "M"]),
        "swatches": st.lists(
            st.builds(
                swatch,
                st.floats(5, 60),
                st.floats(5, 80),
                st.sampled_from(["blocked", "worked"]),
            ),
            max_size=3,
        ),
        "counts": st.lists(
            st.fixed_dictionaries(
                {"number": st.sampled_from(["back_sts", "body_rows"]), "worked": st.floats(1, 900)}
            ),
            max_size=2,
        ),
        "finished": st.lists(
            st.builds(
                lambda key, values, state: finished(key, *values, state=state),
                st.sampled_from(["chest", "body_length"]),
                st.lists(MEASURED, min_size=1, max_size=3),
                st.sampled_from(["blocked", "worked"]),
            ),
            max_size=4,
        ),
    },
)


@settings(max_examples=60, deadline=None)
@given(st.lists(PERSON, max_size=4), st.booleans())
def test_the_parts_always_add_up(people, graded):
    sheet = Sheet(Pattern.model_validate(LITTLE_TOP)) if graded else made_to_measure()
    testers = [
        Tester.model_validate(
            {
                "id": f"t{i}",
                "name": "Someone",
                "measures": {"bust": 88.5},
                **one,
                "size": one.get("size") if graded else None,
            }
        )
        for i, one in enumerate(people)
    ]

    found = discrepancies(sheet, testers)

    sum_of_parts = (found.counts + found.gauge + found.remainder)[found.known]
    assert sum_of_parts == pytest.approx((found.measured - found.target)[found.known], abs=1e-9)
    assert np.all(found.uncertainty[found.known] > 0)
