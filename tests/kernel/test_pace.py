"""What pieces took, how fast makers are, and when a piece in progress will be finished."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pytest

from testround.kernel.pace import (
    EDITION_SPREAD,
    Everyone,
    Finish,
    Forecast,
    Piece,
    blended,
    everyone,
    forecast,
    hours_taken,
    metres_used,
    pieces_of,
    rate_of,
    rhythm_of,
)
from testround.kernel.round import Pattern, Tester
from testround.kernel.sheet import Sheet

BALL = {"label": "Wool", "metres_per_ball": 200, "grams_per_ball": 100}
TODAY = dt.date(2027, 3, 1)


def maker(i: int, size: str = "S", *, measured: bool = True, **more: Any) -> Tester:
    finished = [{"dimension": "chest", "state": "blocked", "values": [94.5]}] if measured else []
    return Tester.model_validate(
        {"id": f"t{i}", "name": f"Tester {i}", "size": size, "finished": finished, **more}
    )


def sat(part: str | None, hours: float, done: float | None = None) -> dict[str, Any]:
    return {"part": part, "hours": hours, "done": done}


def with_sleeves(little_top: dict[str, Any]) -> Sheet:
    """104 × 96 stitches in the back of an S, and half as many in the sleeves."""
    little_top["parts"].append({"key": "sleeves", "label": "Sleeves", "stitches": "back_sts * body_rows / 2"})
    return Sheet(Pattern.model_validate(little_top))


def foretold(sheet: Sheet, people: list[Tester], diary: list[tuple[dt.date, float]] = []) -> Forecast | None:  # noqa: B006
    """The forecast for the last of them."""
    pieces = pieces_of(sheet, people)
    return forecast(sheet, pieces[-1], everyone(pieces), diary, TODAY)


# What a piece took


def test_metres_are_taken_as_said_and_grams_turned_into_metres_by_the_ball():
    assert metres_used(maker(1, yarn_used={"metres": 950})) == 950
    assert metres_used(maker(1, yarn=BALL, yarn_used={"grams": 430})) == 860
    assert metres_used(maker(1, yarn={"label": "Wool"}, yarn_used={"grams": 430})) is None
    assert metres_used(maker(1)) is None


def test_hours_count_once_every_part_is_done():
    sittings = [sat("back", 2.5, 0.4), sat("back", 3, 1)]

    assert hours_taken(maker(1, sittings=sittings), ["back"]) == 5.5
    assert hours_taken(maker(1, sittings=sittings[:1]), ["back"]) is None
    assert hours_taken(maker(1, sittings=sittings), ["back", "sleeve"]) is None
    assert hours_taken(maker(1, sittings=[sat(None, 4)]), ["back"]) == 4
    assert hours_taken(maker(1, sittings=[sat(None, 4, 1)]), ["back"]) == 4
    assert hours_taken(maker(1), ["back"]) is None


def test_yarn_used_counts_for_what_is_done(little_top):
    sheet = with_sleeves(little_top)
    half = maker(1, measured=False, yarn_used={"metres": 500}, sittings=[sat("back", 10, 0.75)])

    (piece,) = pieces_of(sheet, [half])

    # Three quarters of the back, which is two thirds of the whole: half of it is done.
    assert piece.share_done(piece.stitches) == pytest.approx((0.5, 0.1 / np.sqrt(3) * 2 / 3))
    log, variance = piece.metres_per(piece.stitches)
    assert np.exp(log) == pytest.approx(1000 / (1.5 * 104 * 96))
    assert variance == pytest.approx((0.1 / np.sqrt(3) * 2 / 3 / 0.5) ** 2)


@pytest.mark.parametrize("sittings", [[], [sat("back", 2, 0.2)], [sat("back", 2)]])
def test_yarn_of_a_piece_hardly_begun_says_nothing(little_top, sittings):
    sheet = with_sleeves(little_top)
    (piece,) = pieces_of(sheet, [maker(1, measured=False, yarn_used={"metres": 500}, sittings=sittings)])

    assert piece.metres_per(piece.stitches) is None


def test_fabric_is_as_large_as_its_stitches_at_the_makers_own_gauge(little_top):
    swatch = {"gauge": "body", "state": "blocked", "width": 10, "stitches": 20, "height": 10, "rows": 28}
    sheet = Sheet(Pattern.model_validate(little_top))

    (piece,) = pieces_of(sheet, [maker(1, swatches=[swatch])])

    assert piece.area == {"back": pytest.approx(104 * 96 / (20 * 28) / 100)}


# Rates


def test_a_rough_reading_weighs_less():
    certain = rate_of([0.0, 0.1, 0.2, 0.9], [0, 0, 0, 0], 0.25)
    rough = rate_of([0.0, 0.1, 0.2, 0.9], [0, 0, 0, 1.0], 0.25)

    assert rough.mean < certain.mean
    assert rough.mean == pytest.approx(0.1, abs=0.05)


def test_one_maker_has_the_usual_spread():
    rate = rate_of([0.3], [0.0], 0.25)

    assert (rate.mean, rate.sd, rate.makers) == (0.3, 0.25, 1)


def test_parts_and_makers_are_told_apart(little_top):
    # Sleeves take half as long again a stitch; makers are slow, middling and quick; one has only the back.
    sheet = with_sleeves(little_top)
    back, sleeves = 104 * 96, 52 * 96
    people = [
        maker(i, sittings=[sat("back", k * back / 1000, 1), sat("sleeves", 1.5 * k * sleeves / 1000, 1)])
        for i, k in enumerate([0.8, 1.0, 1.25])
    ]
    people.append(maker(3, measured=False, sittings=[sat("back", 1.1 * back / 1000, 1)]))

    found = everyone(pieces_of(sheet, people))

    assert np.exp(found.parts["sleeves"] - found.parts["back"]) == pytest.approx(1.5, rel=1e-3)
    assert np.exp(found.own["t2"][0] - found.own["t0"][0]) == pytest.approx(1.25 / 0.8, rel=1e-3)
    assert np.exp(found.own["t3"][0] - found.own["t1"][0]) == pytest.approx(1.1, rel=1e-3)
    assert found.logged == {"back": 4, "sleeves": 3}


def test_readings_blend_by_their_precision():
    # Means 1 and 4 with variances 1 and 2: two thirds and one third, variance 2/3 (by hand).
    assert blended((1, 1), (4, 2)) == pytest.approx((2, 2 / 3))


# Rhythm


def test_weeks_without_a_sitting_count():
    diary = [(TODAY - dt.timedelta(days=27), 6.0), (TODAY - dt.timedelta(days=25), 6.0)]

    log, _ = rhythm_of(diary, TODAY)

    # Twelve hours in four weeks.
    assert np.exp(log) == pytest.approx(3)


def test_one_evening_is_not_taken_for_a_day_out_of_seven():
    assert np.exp(rhythm_of([(TODAY, 3.0)], TODAY)[0]) == pytest.approx(3)
    assert rhythm_of([], TODAY) is None
    assert rhythm_of([(TODAY + dt.timedelta(days=1), 3.0)], TODAY) is None


def test_a_finished_makers_rhythm_ends_with_the_last_sitting(little_top):
    sheet = Sheet(Pattern.model_validate(little_top))
    pieces = pieces_of(sheet, [maker(1, sittings=[sat("back", 10, 1)])])
    diary = [(dt.date(2027, 1, 4), 5.0), (dt.date(2027, 1, 17), 5.0)]

    found = everyone(pieces, {"t1": diary}, TODAY)

    assert np.exp(found.rhythms["t1"][0]) == pytest.approx(5)


# Forecast


def test_before_any_sitting_the_editions_hours_stand_in_with_a_wide_range(little_top):
    little_top["hours"] = {"XS": 30, "S": 33, "M": 36}
    sheet = Sheet(Pattern.model_validate(little_top))

    found = foretold(sheet, [maker(1, measured=False)])

    assert (found.rests_on, found.so_far, found.share, found.finish) == ("edition", 0, 0, None)
    assert found.left.middle == pytest.approx(33)
    # Nine in ten of a log-normal with that spread, and the scatter of the one part.
    assert np.log(found.left.high / 33) == pytest.approx(1.2816 * np.hypot(EDITION_SPREAD, 0.15), rel=1e-3)


def test_everyones_pace_stands_in_once_three_have_shown_it(little_top):
    little_top["hours"] = {"XS": 30, "S": 33, "M": 36}
    sheet = Sheet(Pattern.model_validate(little_top))
    done = [maker(i, sittings=[sat("back", 60, 1)]) for i in range(3)]

    found = foretold(sheet, [*done, maker(9, "M", measured=False)])

    assert (found.rests_on, found.others) == ("testers", 3)
    # A maker of an M has 114 stitches where one of an S has 104.
    assert found.left.middle == pytest.approx(60 * 114 / 104, rel=1e-6)


def test_own_pace_draws_the_forecast_towards_it_and_narrows_it(little_top):
    sheet = with_sleeves(little_top)
    done = [maker(i, sittings=[sat("back", 20, 1), sat("sleeves", 10, 1)]) for i in range(4)]
    fresh = foretold(sheet, [*done, maker(9, measured=False)])

    slow = foretold(sheet, [*done, maker(9, measured=False, sittings=[sat("back", 40, 1)])])

    assert fresh.left.middle == pytest.approx(30)
    # Ten more hours at everyone's pace, twenty at their own.
    assert 14 < slow.left.middle < 20
    assert slow.own_pace == pytest.approx(2)
    assert slow.share == pytest.approx(2 / 3)
    assert slow.left.high / slow.left.low < fresh.left.high / fresh.left.low


def test_a_piece_is_not_blended_with_itself(little_top):
    little_top["hours"] = {"S": 30}
    sheet = Sheet(Pattern.model_validate(little_top))
    people = [maker(i, sittings=[sat("back", 30, 1)]) for i in range(2)]

    found = foretold(sheet, [*people, maker(9, measured=False, sittings=[sat("back", 30, 0.5)])])

    # Two others are not enough, and the third reading is their own.
    assert found.rests_on == "edition"


def test_without_anybody_elses_hours_the_guess_stands_in_and_then_own_pace(little_top):
    sheet = with_sleeves(little_top)

    guessed = foretold(sheet, [maker(1, measured=False, guess={"hours": 45})])
    nothing = foretold(sheet, [maker(1, measured=False)])
    own = foretold(sheet, [maker(1, measured=False, sittings=[sat("back", 20, 1)])])

    assert (guessed.rests_on, guessed.left.middle) == ("guess", pytest.approx(45))
    assert nothing is None
    assert (own.rests_on, own.left.middle) == ("own", pytest.approx(10))


def test_a_pattern_without_parts_is_one_piece_of_work(little_top):
    little_top["parts"], little_top["hours"] = [], {"S": 40}
    sheet = Sheet(Pattern.model_validate(little_top))

    found = foretold(sheet, [maker(1, measured=False, sittings=[sat(None, 20, 0.5)])])

    assert found.share == pytest.approx(0.5)
    assert found.left.middle == pytest.approx(20)


def test_hours_without_a_word_on_how_far_they_came_still_count(little_top):
    little_top["hours"] = {"S": 30}
    sheet = with_sleeves(little_top)

    said = foretold(sheet, [maker(1, measured=False, sittings=[sat("back", 10)])])
    unsaid = foretold(sheet, [maker(1, measured=False, sittings=[sat(None, 10)])])

    assert said.left.middle == pytest.approx(20)
    assert unsaid.left.middle == pytest.approx(20)


def test_when_every_part_is_done_nothing_is_left(little_top):
    little_top["hours"] = {"S": 30}
    sheet = Sheet(Pattern.model_validate(little_top))

    found = foretold(sheet, [maker(1, measured=False, sittings=[sat("back", 31, 1)])], [(TODAY, 31.0)])

    assert (found.left.low, found.left.high, found.share) == (0, 0, 1)
    assert found.a_week_until(TODAY + dt.timedelta(days=7), TODAY) is None


def test_the_likely_days_follow_from_hours_left_and_hours_a_week(little_top):
    little_top["hours"] = {"S": 40}
    sheet = Sheet(Pattern.model_validate(little_top))
    # Five hours a week for four weeks: half is done, and twenty hours want four weeks more.
    diary = [(TODAY - dt.timedelta(days=days), 5.0) for days in (27, 20, 13, 6)]

    found = foretold(sheet, [maker(1, measured=False, sittings=[sat("back", 20, 0.5)])], diary)

    assert found.rhythm.middle == pytest.approx(5, rel=1e-3)
    assert found.finish.middle == TODAY + dt.timedelta(days=28)
    assert found.finish.earliest < found.finish.middle < found.finish.latest
    assert found.a_week_until(TODAY + dt.timedelta(days=14), TODAY) == pytest.approx(10)
    assert found.a_week_until(TODAY, TODAY) is None


def test_one_dated_sitting_gives_no_day_of_finishing(little_top):
    little_top["hours"] = {"S": 40}
    sheet = Sheet(Pattern.model_validate(little_top))
    person = maker(1, measured=False, sittings=[sat("back", 5, 0.1)])

    assert foretold(sheet, [person], [(TODAY, 5.0)]).finish is None


def test_three_others_rhythms_stand_in_for_one_who_has_not_begun(little_top):
    little_top["hours"] = {"S": 40}
    sheet = Sheet(Pattern.model_validate(little_top))
    pieces = pieces_of(sheet, [maker(9, measured=False)])
    seen = Everyone({}, {}, {}, 0.15, {f"t{i}": (float(np.log(8)), 0.1) for i in range(3)})

    found = forecast(sheet, pieces[0], seen, [], TODAY)

    assert found.rhythm.middle == pytest.approx(8)
    assert found.finish.middle == TODAY + dt.timedelta(days=35)


def test_a_range_of_days_stands_before_across_or_after_the_closing_date():
    days = Finish(dt.date(2027, 3, 10), dt.date(2027, 3, 20), dt.date(2027, 4, 2))

    assert days.against(dt.date(2027, 4, 2)) == "in time"
    assert days.against(dt.date(2027, 3, 20)) == "may be late"
    assert days.against(dt.date(2027, 3, 9)) == "likely late"
    assert days.against(None) == ""


def test_eight_pieces_in_ten_finish_within_the_range(little_top):
    # Simulated makers, each with a pace, a scatter from part to part and a share done that is misjudged by up to
    # a tenth; seeded; tolerance of three standard errors of the binomial, and the spread is estimated.
    rng = np.random.default_rng(7)
    sheet = with_sleeves(little_top)
    back, sleeves = 104 * 96 / 500, 52 * 96 / 500

    def hours() -> tuple[float, float]:
        pace = rng.normal(0, 0.25)
        return tuple(float(np.exp(pace + rng.normal(0, 0.15))) * work for work in (back, sleeves))  # type: ignore[return-value]

    others = []
    for i in range(8):
        one, two = hours()
        others.append(maker(i, sittings=[sat("back", one, 1), sat("sleeves", two, 1)]))
    inside, rounds = 0, 300
    known = everyone(pieces_of(sheet, others))
    for _ in range(rounds):
        one, two = hours()
        done = float(rng.uniform(0.3, 0.9))
        said = float(np.clip(done + rng.uniform(-0.1, 0.1), 0.01, 0.98))
        (piece,) = pieces_of(sheet, [maker(99, measured=False, sittings=[sat("back", done * one, said)])])
        found = forecast(sheet, piece, known, [], TODAY)
        inside += found.left.low <= (1 - done) * one + two <= found.left.high

    assert inside / rounds == pytest.approx(0.8, abs=3 * np.sqrt(0.8 * 0.2 / rounds) + 0.03)


def test_a_piece_knows_its_parts_only_where_they_can_be_worked_out(little_top):
    little_top.update(kind="made-to-measure", sizes=[])
    for entry in (*little_top["numbers"], *little_top["dimensions"]):
        entry.pop("printed", None)
    for measure in little_top["measures"]:
        measure.pop("values", None)
    for key in ("yarn", "hours"):
        little_top.pop(key, None)
    sheet = Sheet(Pattern.model_validate(little_top))
    person = Tester(id="t1", name="Tester 1")

    (piece,) = pieces_of(sheet, [person])

    assert isinstance(piece, Piece)
    assert (piece.stitches, piece.area) == ({}, {})
