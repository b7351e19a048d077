"""Yarn and hours in the report on paper."""

from __future__ import annotations

from typing import Any

import pytest

from testround.kernel.analysis import analyse
from testround.kernel.round import Pattern, Round
from testround.kernel.sheet import Sheet
from testround.paper.report import report_pdf

from .scene import SIZES, outline_of, round_document, text_of


def made_up(testers: int = 6, **pattern: Any) -> Round:
    """Testers of sizes S and M who took a tenth of a metre for a stitch, about, and two hours for a thousand."""
    parts = [{"key": "back", "label": "Back", "stitches": "back_sts * body_rows"}]
    document = round_document(parts=parts, yarn=dict.fromkeys(SIZES, 700.0), **pattern)
    sheet = Sheet(Pattern.model_validate(document["pattern"]))
    meant = sheet.parts(sheet.stated(), sheet.numbers(sheet.stated()))["back"]
    of_size = dict(zip(SIZES, meant.tolist(), strict=True))
    document["testers"] = []
    for i in range(testers):
        size = "SM"[i % 2]
        stitches = of_size[size] * (0.98 + 0.01 * (i % 5))
        document["testers"].append(
            {
                "id": f"t{i:02}",
                "name": f"Tester {i}",
                "size": size,
                "yarn": {"label": "Wool", "metres_per_ball": 150, "grams_per_ball": 50},
                "yarn_used": {"metres": round(0.1 * stitches)},
                "sittings": [{"part": "back", "hours": round(stitches / 500, 1), "done": 1}],
                "guess": {"hours": 10 + i},
            }
        )
    return Round.model_validate(document)


@pytest.fixture(scope="module")
def pdf() -> bytes:
    round_ = made_up()
    return report_pdf(analyse(round_), round_)


def test_yarn_and_hours_come_after_the_dimensions(pdf: bytes) -> None:
    titles = [title for _, title in outline_of(pdf)]

    assert titles[titles.index("Yarn") :][:3] == ["Yarn", "Hours", "Hours by part"]


def test_the_amounts_to_print_stand_by_size_in_metres_and_balls(pdf: bytes) -> None:
    amount = analyse(made_up()).taken.amount("yarn")
    text = text_of(pdf)

    to_print = " ".join(f"{amount.proposed[size]:.0f}" for size in SIZES)
    balls = " ".join(f"{amount.proposed[size] / 150:.0f}" for size in SIZES)
    assert f"to print {to_print}" in text
    assert f"balls of 150 m {balls}" in text
    assert "From 6 pieces." in text


def test_guesses_and_the_method_are_said(pdf: bytes) -> None:
    text = text_of(pdf)

    assert "Of 6 testers who guessed and finished" in text
    assert "prediction limits for a new maker" in text


def test_without_three_pieces_there_is_no_such_part() -> None:
    round_ = made_up(2)

    assert "Yarn" not in [title for _, title in outline_of(report_pdf(analyse(round_), round_))]


def test_hundreds_of_makers_still_fit_the_pages() -> None:
    round_ = made_up(300)

    assert report_pdf(analyse(round_), round_).startswith(b"%PDF")
