"""Shaping: as even as can be, every stitch and every row accounted for, and said as a pattern would say it."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from testround.kernel.round import Along, Craft
from testround.kernel.shaping import ShapingError, Spread, Stretch, in_words, spread

ROWS = (Along.ROWS, Along.ROUNDS)
STEP = {Along.RIGHT_SIDE_ROWS: 2}


def bresenham(times: int, over: int) -> list[int]:
    """Gaps between the steps of a line of ``times`` steps drawn over ``over`` columns.

    Bresenham, J. E. (1965), IBM Systems Journal 4(1), 25-30: one error term, in whole numbers.
    """
    error, last, gaps = 0, 0, []
    for column in range(1, over + 1):
        error += times
        if error >= over:
            error -= over
            gaps.append(column - last)
            last = column
    return gaps


# Even


def test_the_gaps_are_those_of_a_line_for_every_small_count() -> None:
    for over in range(1, 61):
        for times in range(1, over + 1):
            found = spread(0, times, over)

            assert sorted(found.gaps) == sorted(bresenham(times, over)), (times, over)
            assert found.plain == 0


def test_on_right_side_rows_the_gaps_are_those_over_half_the_rows_doubled() -> None:
    for over in range(2, 61):
        for times in range(1, over // 2 + 1):
            found = spread(0, times, over, along=Along.RIGHT_SIDE_ROWS)

            assert sorted(found.gaps) == sorted(2 * gap for gap in bresenham(times, over // 2))
            assert found.plain == over % 2


shapable = st.integers(1, 12).flatmap(
    lambda each: st.tuples(
        st.just(each), st.integers(0, 60), st.integers(0, 500), st.integers(0, 700), st.booleans()
    )
)


@given(shapable, st.sampled_from(list(Along)))
def test_stitches_and_rows_add_up_and_no_other_spread_is_more_even(case, along) -> None:
    each, times, fewer, more_rows, increases = case
    many = fewer + each * times
    start, end = (fewer, many) if increases else (many, fewer)
    over = STEP.get(along, 1) * times + more_rows
    if along is Along.STITCHES:
        over = min(times * (1 if increases else each + 1) + more_rows, start)
    try:
        found = spread(start, end, over, each=each, along=along)
    except ShapingError:
        # Along stitches there may be too few of them; that they are is held by tests of their own.
        assert along is Along.STITCHES
        assert over < times * (1 if increases else each + 1)
        return

    assert found.change == end - start
    assert found.times * each == abs(end - start)
    assert sum(found.gaps) + found.plain == over
    if found.times:
        assert max(found.gaps) - min(found.gaps) in (0, STEP.get(along, 1))
        assert found.plain < STEP.get(along, 1)
        assert all(before.every < after.every for before, after in pairwise(found.stretches))
    else:
        assert found.plain == over


@given(st.integers(0, 1000), st.integers(0, 1000), st.integers(0, 1000), st.sampled_from(ROWS))
def test_undoing_a_shaping_takes_the_same_rows(start, end, over, along) -> None:
    def stretches(first: int, last: int) -> tuple[Stretch, ...] | None:
        try:
            return spread(first, last, over, along=along).stretches
        except ShapingError:
            return None

    assert stretches(start, end) == stretches(end, start)


# The arithmetic done by hand: 16 stitches 2 at a time are 8 times; 51 = 8 · 6 + 3, so 5 stretches of 6 and 3 of 7.
def test_eight_decreases_over_fifty_one_rows() -> None:
    found = spread(64, 48, 51, each=2)

    assert found == Spread(-16, 2, 51, Along.ROWS, (Stretch(6, 5), Stretch(7, 3)), plain=0)
    assert in_words(found, places=2, at="each end") == (
        "Decrease 1 stitch at each end of every 6th row 5 times, then of every 7th row 3 times."
    )


# 51 rows hold 25 right-side rows, whichever side comes first; 25 = 8 · 3 + 1.
def test_eight_increases_on_the_right_side_rows_of_fifty_one() -> None:
    found = spread(48, 64, 51, each=2, along=Along.RIGHT_SIDE_ROWS)

    assert found.stretches == (Stretch(6, 7), Stretch(8, 1))
    assert in_words(found, places=2, at="each end") == (
        "Increase 1 stitch at each end of every 3rd right-side row 7 times, then of every 4th right-side row "
        "once; work 1 row without shaping."
    )


# 53 = 7 · 7 + 4: three stretches of 7 and four of 8.
@pytest.mark.parametrize(
    ("start", "end", "craft", "words"),
    [
        (53, 60, Craft.KNIT, "(Work 7, make 1) 3 times, then (work 8, make 1) 4 times."),
        (
            53,
            60,
            Craft.CROCHET,
            "(Work 6, work 2 into the next stitch) 3 times, then (work 7, work 2 into the next stitch) 4 times.",
        ),
        (53, 46, Craft.KNIT, "(Work 5, work 2 together) 3 times, then (work 6, work 2 together) 4 times."),
        (53, 46, Craft.CROCHET, "(Work 5, work 2 together) 3 times, then (work 6, work 2 together) 4 times."),
    ],
)
def test_seven_along_the_stitches_of_a_round(start: int, end: int, craft: Craft, words: str) -> None:
    assert in_words(spread(start, end, start, along=Along.STITCHES), craft=craft) == words


@given(st.integers(1, 200), st.integers(0, 200), st.integers(1, 3), st.sampled_from(list(Craft)))
def test_working_the_words_along_stitches_uses_them_up_and_leaves_those_wanted(
    times, more, each, craft
) -> None:
    """The words are read and worked: each figure in them is a count of stitches."""
    for start, end in (
        (times + more, times + more + each * times),
        ((each + 1) * times + more, times + more),
    ):
        words = in_words(spread(start, end, start, each=each, along=Along.STITCHES), craft=craft)
        used = left = 0
        if "(" not in words:
            words = f"({words[0].lower()}{words[1:-1]}) once."
        for step, often in re.findall(r"\(([^)]*)\) (once|twice|\d+ times)", words.lower()):
            n = {"once": 1, "twice": 2}.get(often) or int(often.split()[0])
            for piece in step.split(", "):
                count = int(re.search(r"\d+", piece)[0])
                if "together" in piece:
                    gone, made = count, 1
                elif "into" in piece:
                    gone, made = 1, count
                elif piece.startswith("make"):
                    gone, made = 0, count
                else:
                    gone, made = count, count
                used, left = used + n * gone, left + n * made

        assert (used, left) == (start, end)


# Words


@pytest.mark.parametrize(
    ("laid_out", "more", "words"),
    [
        (spread(48, 48, 51), {}, "Work 51 rows without shaping."),
        (spread(48, 48, 1, along=Along.RIGHT_SIDE_ROWS), {}, "Work 1 row without shaping."),
        (spread(48, 48, 48, along=Along.STITCHES), {}, "Work 48 stitches without shaping."),
        (spread(48, 50, 51, each=2), {}, "Increase 2 stitches on the 51st row."),
        (
            spread(48, 45, 3),
            {"at": "the neck edge"},
            "Decrease 1 stitch at the neck edge of every row 3 times.",
        ),
        (
            spread(96, 112, 22, each=8, along=Along.ROUNDS),
            {"places": 8},
            "Increase 1 stitch at each of 8 places on every 11th round twice.",
        ),
        (
            spread(40, 36, 8, each=2, along=Along.RIGHT_SIDE_ROWS),
            {},
            "Decrease 2 stitches on every 2nd right-side row twice.",
        ),
        (
            spread(40, 36, 8, along=Along.RIGHT_SIDE_ROWS),
            {},
            "Decrease 1 stitch on every right-side row 4 times.",
        ),
        (spread(0, 2, 26), {}, "Increase 1 stitch on every 13th row twice."),
        (spread(0, 2, 44), {}, "Increase 1 stitch on every 22nd row twice."),
        (spread(0, 2, 226), {}, "Increase 1 stitch on every 113th row twice."),
        (spread(60, 61, 60, along=Along.STITCHES), {}, "Work 60, make 1."),
        (spread(60, 30, 60, along=Along.STITCHES), {}, "(Work 2 together) 30 times."),
    ],
)
def test_the_words_are_those_of_a_pattern(laid_out: Spread, more: dict, words: str) -> None:
    assert in_words(laid_out, **more) == words


# What cannot be worked


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        (
            {"start": 60, "end": 53, "over": 40, "each": 2},
            "from 60 to 53 stitches are 7 to decrease, and 2 each time never make 7; is it to end with 54 or 52, "
            "or another number to be worked each time?",
        ),
        (
            {"start": 1, "end": 2, "over": 40, "each": 2},
            "from 1 to 2 stitches are 1 to increase, and 2 each time never make 1; is it to end with 3, "
            "or another number to be worked each time?",
        ),
        (
            {"start": 60, "end": 20, "over": 20},
            "decreases in 40 rows do not go into 20 rows; is it worked over 40 rows or more, "
            "or are more stitches to be shaped each time?",
        ),
        (
            {"start": 20, "end": 40, "over": 39, "along": Along.RIGHT_SIDE_ROWS},
            "increases in 20 right-side rows do not go into 19 right-side rows of 39 rows; is it worked over "
            "40 rows or more, or are more stitches to be shaped each time?",
        ),
        (
            {"start": 60, "end": 29, "over": 60, "along": Along.STITCHES},
            "31 decreases do not go into 60 stitches, as they need 62; are there more stitches to spread them "
            "over, or is more to be worked each time?",
        ),
        (
            {"start": 60, "end": 70, "over": 80, "along": Along.STITCHES},
            "it is spread over 80 stitches, and there are 60 before it; which of the two is meant?",
        ),
        (
            {"start": 60.5, "end": 70, "over": 80},
            "its formula gives 60 1/2 stitches before it, and only whole ones can be worked; "
            "is it to be rounded, as in multiple(…)?",
        ),
        (
            {"start": 60, "end": -4, "over": 80},
            "its formula gives −4 stitches after it; is something taken away twice?",
        ),
        (
            {"start": 60, "end": 60, "over": -1, "along": Along.ROUNDS},
            "its formula gives −1 rounds; is something taken away twice?",
        ),
        (
            {"start": 60, "end": 60, "over": 5, "each": 0},
            "0 stitches each time shape nothing; are there 1 or more?",
        ),
    ],
)
def test_what_cannot_be_worked_is_asked_about_with_what_may_be_meant(asked: dict, sentence: str) -> None:
    with pytest.raises(ShapingError) as refusal:
        spread(asked.pop("start"), asked.pop("end"), asked.pop("over"), **asked)

    assert str(refusal.value) == sentence


def test_one_more_than_there_is_room_for_is_refused_and_a_full_row_is_not() -> None:
    for room in range(1, 30):
        assert set(spread(room, 0, room).gaps) == {1}
        with pytest.raises(ShapingError):
            spread(room + 1, 0, room)


def test_a_count_within_the_noise_of_a_formula_is_whole() -> None:
    assert spread(48 + 1e-9, 64 - 1e-9, 51, each=2).change == 16
