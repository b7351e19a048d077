"""Paper and plots in the language that is spoken when they are made: its name, its words, its decimal sign."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator
from functools import cache
from gettext import NullTranslations
from pathlib import Path
from typing import Any

import pytest

from testround.kernel import words
from testround.kernel.analysis import Analysis, analyse
from testround.kernel.round import Round
from testround.kernel.roundfile import plain, read_round
from testround.kernel.worksheet import worksheet
from testround.paper.errata import ErrataList, ErratumChange, ErratumEntry, errata_pdf
from testround.paper.plots import amount_plot, deviation_plot, gauge_to_a_tenth
from testround.paper.report import Deviation, amounts_of, deviations_of, names_of_testers, report_pdf
from testround.paper.worksheet import Answered, worksheet_pdf
from tests.spoken import SYMBOLS, WORD

from .scene import read, text_of

FIXTURES = Path(__file__).parents[2] / "fixtures"
NAMES = ("fenlight", "quillwork")


class Loud(NullTranslations):
    """Every message in capitals, its places as they are; a comma before the decimals, and German by name."""

    def gettext(self, message: str) -> str:
        return re.sub(
            r"\{\w+\}|[^{}]+", lambda part: part[0] if part[0][0] == "{" else part[0].upper(), message
        )

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return self.gettext(msgid1 if n == 1 else msgid2)

    def pgettext(self, context: str, message: str) -> str:
        said = {"between a number and its decimals": ",", "name of this language": "de"}
        # What stands before the 10 cm of a gauge is looked for in a sentence, where it is in capitals here.
        return said.get(context) or self.gettext(message)


@pytest.fixture
def loud() -> Iterator[None]:
    before = words._catalogue
    words.speak(Loud)
    try:
        yield
    finally:
        words.speak(before)


@cache
def analysed(name: str) -> tuple[Analysis, Round]:
    round_ = read_round((FIXTURES / f"{name}.json").read_bytes())
    return analyse(round_), round_


def quiet_words(text: str, *data: Any) -> set[str]:
    """Words of a text that are not in capitals, and are no symbol and no word of the data."""
    own: set[str] = set()

    def take(value: Any) -> None:
        if isinstance(value, str):
            own.update(WORD.findall(value))
        elif isinstance(value, dict):
            for key, inner in value.items():
                take(key)
                take(inner)
        elif isinstance(value, list | tuple):
            for inner in value:
                take(inner)

    take(data)
    return {word for word in WORD.findall(text) if word != word.upper()} - own - SYMBOLS


@pytest.mark.usefixtures("loud")
@pytest.mark.parametrize("name", NAMES)
def test_the_report_says_nothing_past_the_catalogue_and_names_its_language(name: str) -> None:
    analysis, round_ = analysed(name)

    pdf = report_pdf(analysis, round_, units="in")

    assert quiet_words(text_of(pdf), plain(round_)) == set()
    assert read(pdf).trailer["/Root"]["/Lang"] == "de"  # type: ignore[index]


def test_without_a_catalogue_the_same_report_is_english() -> None:
    analysis, round_ = analysed("fenlight")

    pdf = report_pdf(analysis, round_)

    assert "How this was worked out" in text_of(pdf)
    assert read(pdf).trailer["/Root"]["/Lang"] == "en-GB"  # type: ignore[index]


@pytest.mark.usefixtures("loud")
@pytest.mark.parametrize("name", NAMES)
def test_a_worksheet_says_nothing_past_the_catalogue(name: str) -> None:
    _analysis, round_ = analysed(name)
    asked = Answered("Back, step 3", "Is it so?", ("It is.",))

    for tester in round_.testers:
        pdf = worksheet_pdf(
            worksheet(round_, tester), answered=[asked], address="https://testround.example/a/"
        )

        said = (plain(round_), asked.place, asked.question, asked.replies, "https testround example")
        assert quiet_words(text_of(pdf), *said) == set()
        assert read(pdf).trailer["/Root"]["/Lang"] == "de"  # type: ignore[index]


@pytest.mark.usefixtures("loud")
def test_errata_on_paper_keep_their_own_words_and_say_the_rest_in_the_readers_language() -> None:
    gauge = ErratumChange("Stockinette", "row/10 cm", {"rows": 30}, {"rows": 28.5})
    amount = ErratumChange("Yarn needed", "m", {"M": 900}, {"M": 1000}, "Materials")
    entry = ErratumEntry(
        1,
        dt.date(2027, 5, 12),
        "0.9",
        "Back, step 3",
        ("M",),
        "Work fewer rows.",
        "It was long.",
        (gauge, amount),
    )

    text = text_of(errata_pdf(ErrataList("Fenlight", "0.9", "https://testround.example/", (entry,), ("M",))))

    for kept in ("Fenlight", "Work fewer rows.", "Back, step 3", "Yarn needed, Materials, METRES"):
        assert kept in text
    for said in (
        "FOUND IN EDITION 0.9 · AFFECTS SIZE M",
        "WHY: It was long.",
        "Stockinette, OVER 10 cm ROWS",
    ):
        assert said in text


@pytest.mark.usefixtures("loud")
def test_plots_say_their_titles_labels_legends_and_figures_in_the_readers_language() -> None:
    analysis, round_ = analysed("fenlight")
    dimension = round_.pattern.dimensions[0]
    found = [
        Deviation(cell, cell.tester, asked=True)
        for cell in analysis.findings.cells
        if cell.dimension == dimension.key
    ]
    plots = [
        deviation_plot(deviations_of(analysis, round_.pattern, dimension, found)),
        *(amount_plot(amounts_of(amount, names_of_testers(round_))) for amount in analysis.taken.amounts),
    ]

    for plot in plots:
        said = [re.sub(r"<[^>]*>", " ", plot.svg), plot.table.caption, *plot.table.columns]
        said += [cell for row in plot.table.rows for cell in row]
        if plot.summary:
            said += [plot.summary.caption, *plot.summary.columns]
            said += [cell for row in plot.summary.rows for cell in row]
        assert quiet_words(" ".join(said), plain(round_)) == set()


@pytest.mark.usefixtures("loud")
def test_a_pooled_gauge_has_the_readers_decimal_sign() -> None:
    assert gauge_to_a_tenth(22.54, "10cm") == "22,5"
