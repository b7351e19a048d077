"""How a sheet's rows run over the sizes, beside them and drawn."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from testround.kernel.round import Pattern as SheetDocument
from testround.patterns.models import Edition
from testround.patterns.services import edition_freeze, pattern_create
from testround.people.models import User
from tests.patterns.test_views import fields_of, page_of

SignIn = Callable[[User], Client]

BUST = {"XS": 76, "S": 80, "M": 84, "L": 94, "XL": 104, "2X": 114, "3X": 124}


@pytest.fixture
def wide_top(designer: User, little_top: dict[str, Any]) -> Edition:
    """The little top in seven sizes of uneven steps, with what its formula gives printed."""
    little_top["sizes"] = list(BUST)
    little_top["measures"][0]["values"] = BUST
    # (bust + 8) / 2 at 2.2 stitches to a centimetre, to the nearest even count.
    little_top["numbers"][0]["printed"] = dict(zip(BUST, (92, 96, 102, 112, 124, 134, 146), strict=True))
    little_top["numbers"][1]["printed"] = dict.fromkeys(BUST, 96)
    return pattern_create(owner=designer, document=SheetDocument.model_validate(little_top))


def sentences(answer: Any) -> list[tuple[str, str]]:
    return [(run.where, run.sentence) for run in answer.context["check"].runs]


def test_uneven_sizes_are_no_break(signed_in: SignIn, wide_top: Edition, designer: User) -> None:
    answer = signed_in(designer).get(page_of(wide_top))

    assert answer.context["check"].summary == "All 14 printed values are what the formulas give."
    assert sentences(answer) == []


def test_a_step_that_breaks_the_run_is_named_beside_the_row_and_drawn_at_once(
    signed_in: SignIn, wide_top: Edition, designer: User
) -> None:
    """A formula that takes a leap is computed as it stands, and still not what was meant."""
    sheet = wide_top.sheet
    sheet["constants"].append({"key": "more", "label": "More", "value": 26, "unit": "st"})
    sheet["numbers"][0]["formula"] = (
        "multiple((bust + ease) / 2 * body.st, of=2) + when(bust > 104, more, 0 * more)"
    )
    sheet["numbers"][0]["printed"] |= {"2X": 160, "3X": 172}
    wide_top.save()

    answer = signed_in(designer).get(page_of(wide_top))

    page = answer.content.decode()
    assert sentences(answer) == [
        (
            "Back, cast on",
            "From XL to 2X it rises by 36 (in step with Full bust: +12); everywhere else it rises by 4 to 12. "
            "The formula gives the same: look at what it is worked from.",
        )
    ]
    # The number, and the measurement that follows from it.
    assert 'id="run-numbers-0-title"' in page
    assert 'id="run-dimensions-0-title"' in page
    assert page.count("<svg") == 2


def test_a_misprint_is_not_told_twice_in_the_answer(
    signed_in: SignIn, wide_top: Edition, designer: User
) -> None:
    fields = {**fields_of(wide_top), "numbers-0-printed-3": "182", "numbers-0-plot": "on"}

    answer = signed_in(designer).post(page_of(wide_top, "check"), fields)

    page = answer.content.decode()
    assert len(answer.context["check"].faults) == 1
    assert sentences(answer) == []
    assert "From M to L it rises by 80" in page
    assert "L: printed 182, computed 112" in page


def test_a_measure_typed_wrong_is_seen_in_its_own_run(
    signed_in: SignIn, wide_top: Edition, designer: User
) -> None:
    fields = {**fields_of(wide_top), "measures-0-values-4": "140"}

    answer = signed_in(designer).post(page_of(wide_top, "check"), fields)

    assert "it rises by 46 cm" in answer.content.decode()


def test_a_plot_follows_what_is_typed_and_only_where_it_is_asked_for(
    signed_in: SignIn, wide_top: Edition, designer: User
) -> None:
    fields = {**fields_of(wide_top), "numbers-1-plot": "on", "numbers-1-printed-0": "90"}

    page = signed_in(designer).post(page_of(wide_top, "check"), fields).content.decode()

    assert "XS: printed 90, computed 96" in page
    assert page.count("<svg") == 1
    assert '<div class="row-plot" id="plot-numbers-0"></div>' in page


def test_without_scripts_a_frozen_sheet_draws_the_row_that_its_address_names(
    signed_in: SignIn, wide_top: Edition, designer: User
) -> None:
    edition_freeze(edition=wide_top)
    client = signed_in(designer)

    plain = client.get(page_of(wide_top)).content.decode()
    drawn = client.get(
        page_of(wide_top) + "?plot=numbers-0&plot=dimensions-0&plot=nothing-9"
    ).content.decode()

    assert plain.count("<svg") == 0
    assert 'href="?plot=numbers-0#numbers-0"' in plain
    assert drawn.count("<svg") == 2
    assert "The same as a table, with the steps" in drawn


def test_what_follows_two_measures_or_none_is_held_against_its_own_steps(
    signed_in: SignIn, wide_top: Edition, designer: User
) -> None:
    sheet = wide_top.sheet
    arm = dict(zip(BUST, (24, 26, 28, 31, 33, 36, 39), strict=True))
    sheet["measures"].append({"key": "arm", "label": "Upper arm", "values": arm})
    sheet["numbers"].append(
        {"key": "yoke", "label": "Yoke", "unit": "st", "formula": "(bust + arm) * body.st"}
    )
    sheet["numbers"][-1]["printed"] = dict(zip(BUST, (220, 233, 246, 259, 272, 330, 343), strict=True))
    wide_top.save()

    row = signed_in(designer).get(page_of(wide_top)).context["draft"].rows["numbers"][2]

    assert row.run_said == ("From XL to 2X it rises by 58; everywhere else it rises by 13.")


def test_lengths_are_said_in_the_readers_unit(signed_in: SignIn, wide_top: Edition, designer: User) -> None:
    designer.units = "in"
    designer.save()
    wide_top.sheet["measures"][0]["values"] = {**BUST, "2X": 139, "3X": 149}
    wide_top.save()

    page = signed_in(designer).get(page_of(wide_top)).content.decode()

    assert "it rises by 13 3/4 in; everywhere else it rises by 1 5/8 to 3 7/8 in" in page
