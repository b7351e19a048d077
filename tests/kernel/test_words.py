"""The words the kernel says: English by itself, and in whatever language the program around it speaks."""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from gettext import NullTranslations
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from testround.kernel import words
from testround.kernel.analysis import analyse
from testround.kernel.assignment import Exclusion, Pin, Place, assign, cost_of, replace
from testround.kernel.assignment_text import assignment_text
from testround.kernel.cautions import cautions_for, sitting_caution
from testround.kernel.deskcheck import desk_check
from testround.kernel.evidence import Explained
from testround.kernel.findings import assignment_json, findings_json
from testround.kernel.formulas import FormulaError, parse
from testround.kernel.gauge import answer_swatch
from testround.kernel.measuring import how_to_measure
from testround.kernel.problems import InputProblems
from testround.kernel.report_text import report_text
from testround.kernel.round import Round
from testround.kernel.roundfile import plain, read_round
from testround.kernel.sheet import Sheet
from testround.kernel.units import UnitsError, format_length, lengths_in, parse_length, parse_tool
from testround.kernel.whys import for_readers
from testround.kernel.words import gettext, in_alphabet, ngettext, spoken, tell, told
from testround.kernel.worksheet import worksheet
from tests.kernel import crowds
from tests.spoken import LEFT, RIGHT, SYMBOLS, WORD, outside
from tests.spoken.modules import sentences_past_the_catalogue

KERNEL = Path(words.__file__).parent
MODULES = sorted(KERNEL.rglob("*.py"))
FIXTURES = Path(__file__).parents[2] / "fixtures"
NUMBER = "between a number and its decimals"
SPANS = "before the 10 cm of a gauge, with | between them"


class Bracketed(NullTranslations):
    """Every message in brackets, its places outside of them: what is put into one has to be a message itself."""

    def gettext(self, message: str) -> str:
        return LEFT + re.sub(r"\{[^{}]*\}", lambda place: f"{RIGHT}{place[0]}{LEFT}", message) + RIGHT

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return self.gettext(msgid1 if n == 1 else msgid2)

    def npgettext(self, context: str, msgid1: str, msgid2: str, n: int) -> str:
        return self.ngettext(msgid1, msgid2, n)

    def pgettext(self, context: str, message: str) -> str:
        return message if context in (NUMBER, SPANS) else self.gettext(message)


class Commas(NullTranslations):
    """English with a comma before the decimals, and "je" before the 10 cm of a gauge."""

    def pgettext(self, context: str, message: str) -> str:
        return {NUMBER: ",", SPANS: "je"}.get(context, message)


@contextmanager
def speaking(catalogue: NullTranslations) -> Iterator[None]:
    before = words._catalogue
    words.speak(lambda: catalogue)
    try:
        yield
    finally:
        words.speak(before)


@pytest.fixture(autouse=True)
def _alone() -> Iterator[None]:
    """The kernel without the program around it."""
    with speaking(words.ENGLISH):
        yield


def round_of(name: str) -> Round:
    return read_round((FIXTURES / f"{name}.json").read_bytes())


def past_the_catalogue(text: str, round_: Round) -> set[str]:
    """Words of a text under :class:`Bracketed` that are no message, no symbol, and not the round's own."""
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

    take(plain(round_))
    return {word for piece in outside(text) for word in WORD.findall(piece)} - own - SYMBOLS - {"m²"}


# Without a catalogue, and with one --------------------------------------------------------------------------


def test_without_a_catalogue_the_kernel_speaks_english():
    assert gettext("the formula is empty") == "the formula is empty"
    assert [ngettext("{n} row", "{n} rows", n).format(n=n) for n in (1, 2, 0.5)] == [
        "1 row",
        "2 rows",
        "0.5 rows",
    ]
    assert format_length(92.5) == "92.5 cm"


def test_a_catalogue_is_asked_at_the_time_of_saying():
    english = gettext("the formula is empty")

    with speaking(Bracketed()):
        bracketed = gettext("the formula is empty")

    assert (english, bracketed) == ("the formula is empty", "⟦the formula is empty⟧")
    assert gettext("the formula is empty") == "the formula is empty"


@pytest.mark.parametrize(
    ("names", "all_of_them", "one_of_them"),
    [(["a"], "a", "a"), (["a", "b"], "a and b", "a or b"), (["a", "b", "c"], "a, b and c", "a, b or c")],
)
def test_lists_are_said_as_sentences_have_them(names: list[str], all_of_them: str, one_of_them: str):
    assert words.listed(names) == all_of_them
    assert words.either(names) == one_of_them


@pytest.mark.parametrize(
    ("n", "shown"), [(1, "1st"), (2, "2nd"), (3, "3rd"), (4, "4th"), (11, "11th"), (12, "12th"), (22, "22nd")]
)
def test_ordinals_in_figures(n: int, shown: str):
    assert words.ordinal(n) == shown


def test_many_names_are_cut_and_the_rest_counted():
    assert words.and_more(["a", "b"], 0) == "a, b"
    assert words.and_more(["a", "b"], 3) == "a, b and 3 more"


def test_small_numbers_and_places_in_an_order_are_said_in_letters():
    assert [words.number_word(n) for n in (0, 1, 10, 11)] == ["no", "one", "ten", "11"]
    assert [words.ordinal_word(n) for n in (1, 10, 11)] == ["first", "tenth", "11th"]


# Sentences that are kept ------------------------------------------------------------------------------------


def _long(label: str, cm: float) -> str:
    return gettext("{label} is {length}").format(label=label, length=format_length(cm))


def test_a_sentence_that_is_told_is_english_and_can_be_said_again():
    with speaking(Bracketed()):
        kept = told(_long, "Chest", 92.5)

        assert kept == "Chest is 92.5 cm"
        assert json.dumps(kept) == '"Chest is 92.5 cm"'
        assert spoken(kept) == "⟦⟧Chest⟦ is ⟧92.5 cm⟦⟧"
    with speaking(Commas()):
        assert spoken(kept) == "Chest is 92,5 cm"


def test_a_sentence_that_is_told_survives_being_put_away():
    kept = copy.deepcopy(told(_long, "Chest", 92.5))

    with speaking(Commas()):
        assert (kept, spoken(kept)) == ("Chest is 92.5 cm", "Chest is 92,5 cm")


def test_what_is_told_within_a_sentence_is_said_again_with_it():
    kept = tell("{what}; {size} is full", what=told(_long, "Chest", 92.5), size="M")

    with speaking(Commas()):
        assert (kept, spoken(kept)) == (
            "Chest is 92.5 cm; M is full",
            "Chest is 92,5 cm; M is full",
        )


def test_other_text_is_spoken_as_it_is():
    with speaking(Bracketed()):
        assert spoken("Which side faces me?") == "Which side faces me?"


# Numbers and lengths ----------------------------------------------------------------------------------------


def test_lengths_of_a_sentence_in_another_language_are_put_in_inches_but_for_the_10_cm_of_a_gauge():
    with speaking(Commas()):
        said = lengths_in("Brust 2,54 cm zu weit bei 22 Maschen je 10 cm; 20 rows in 10 cm", "in")

    assert said == "Brust 1 in zu weit bei 22 Maschen je 10 cm; 20 rows in 10 cm"


@pytest.mark.parametrize("name", ["fenlight", "quillwork"])
def test_every_number_of_a_report_has_the_readers_decimal_sign(name: str):
    round_ = round_of(name)
    analysis = analyse(round_)
    english = report_text(analysis, round_)

    with speaking(Commas()):
        said = report_text(analysis, round_)

    # Keys, editions and what the pattern writes itself, formulas among it, stay as they are.
    own = json.dumps(plain(round_), ensure_ascii=False)
    points = {number for number in re.findall(r"\d+\.\d+", said) if number not in own}
    assert points == set()
    assert len(re.findall(r"\d,\d", said)) > 100
    assert re.sub(r"(?<=\d),(?=\d)", ".", " ".join(said.split())) == " ".join(english.split())


# Nothing past the catalogue ---------------------------------------------------------------------------------


@pytest.mark.parametrize("units", ["cm", "in"])
@pytest.mark.parametrize("name", ["fenlight", "quillwork"])
def test_a_report_says_nothing_past_the_catalogue(name: str, units: Any):
    round_ = round_of(name)
    analysis = analyse(round_)

    with speaking(Bracketed()):
        said = report_text(analysis, round_, units)

    # Ids of findings, and the mark of one that holds, are the same in every language.
    said = re.sub(r"\[[a-z-]+:[^\]]*\]|\[yarn\]|\[hours\]", "", said)
    assert past_the_catalogue(said, round_) - {"ok"} == set()


@pytest.mark.parametrize("name", ["fenlight", "quillwork"])
def test_evidence_says_nothing_past_the_catalogue(name: str):
    round_ = round_of(name)
    analysis = analyse(round_)

    with speaking(Bracketed()):
        found = Explained(analysis, round_).all().values()
        said = [one.paragraph for one in found]
        said += [
            " ".join([shown.caption, *shown.head, *sum(shown.rows, ()), *sum(shown.facts, ())])
            for one in found
            if (shown := one.figures) is not None
        ]

    assert past_the_catalogue(" ".join(said), round_) == set()


@pytest.mark.parametrize("name", ["fenlight", "quillwork"])
def test_a_desk_check_says_nothing_past_the_catalogue(name: str):
    round_ = round_of(name)

    with speaking(Bracketed()):
        said = " ".join(note.sentence for note in desk_check(Sheet(round_.pattern)).notes)

    assert past_the_catalogue(said, round_) == set()


@pytest.mark.parametrize("name", ["fenlight", "quillwork"])
def test_a_worksheet_and_the_answer_to_a_swatch_say_nothing_past_the_catalogue(name: str):
    round_ = round_of(name)
    sheet = Sheet(round_.pattern)
    said: list[str] = []

    with speaking(Bracketed()):
        for tester in round_.testers:
            bare = tester.model_copy(update={"swatches": (), "measures": {}})
            for one in (tester, bare):
                made = worksheet(round_, one, sheet=sheet)
                said += [shaping.instruction for place in made.places for shaping in place.shapings]
                said += [shaping.counts for place in made.places for shaping in place.shapings]
                said += [*made.missing, *(place.place for place in made.places)]
                said += [caution.sentence for caution in made.cautions]
                for swatch in (*one.swatches, None):
                    answer = answer_swatch(sheet, one, [swatch] if swatch else [])
                    said += [answer.sentence("cm"), answer.sentence("in")]
                    said += [answer.advice.told("cm"), answer.advice.told("in")] if answer.advice else []

    assert any(LEFT in one for one in said)
    assert past_the_catalogue(" ".join(said), round_) == set()


def test_who_makes_what_says_nothing_past_the_catalogue():
    rng = np.random.default_rng(7)
    left: set[str] = set()

    for _case in range(40):
        round_ = crowds.round_of(crowds.small(rng))
        best = assign(round_)
        ids = [candidate.id for candidate in round_.candidates]
        with speaking(Bracketed()):
            said = [assignment_text(best, round_)]
            for place in best.document.places[:1]:
                said.append(spoken(replace(round_, best.document.places, place.candidate).why))
            cost = cost_of(
                round_,
                [*best.document.places[1:], Place(ids[0], "XXL", None)],
                exclusions=[Exclusion(ids[-1])],
            )
            said += [*cost.broken, *cost.differences]
            with pytest.raises(InputProblems) as refused:
                assign(round_, reach=-1, pins=[Pin("nobody"), Pin(ids[0], "XXL"), Pin(ids[0])])
            said += [problem.sentence for problem in refused.value.problems]
        left |= past_the_catalogue(" ".join(said), round_)

    assert left - {"nobody", "XXL"} == set()


@pytest.mark.parametrize(
    "text",
    [
        "",
        "bust *",
        "bust ** 2",
        "3 sts",
        "min(bust)",
        "multiple(bust, 4)",
        "when(bust, 1, 2)",
        "when(1 < 2 < 3, 1, 2)",
        "bust × 2",
        "(bust",
        "bust)",
        "multipel(bust)",
        "a" * 1001,
    ],
)
def test_a_bad_formula_says_nothing_past_the_catalogue(text: str):
    with speaking(Bracketed()), pytest.raises(FormulaError) as refused:
        parse(text)

    own = {"bust", "sts", "min", "max", "multiple", "multipel", "when", "of", "plus", "up", "down", "abs"}
    assert {word for piece in outside(str(refused.value)) for word in WORD.findall(piece)} - own == set()


def test_a_bad_round_file_says_nothing_past_the_catalogue():
    document = json.loads((FIXTURES / "fenlight.json").read_text())
    document["colour"] = 1
    document["pattern"]["gauges"][0]["stitches"] = -3
    document["pattern"]["craft"] = "weave"
    document["testers"][0]["swatches"][0]["width"] = "wide"

    with speaking(Bracketed()):
        with pytest.raises(InputProblems) as shape:
            read_round(json.dumps(document).encode())
        said = [problem.sentence for problem in shape.value.problems]

        document = json.loads((FIXTURES / "fenlight.json").read_text())
        document["testers"][0]["size"] = "no size"
        document["testers"][1]["id"] = document["testers"][0]["id"]
        numbers = document["pattern"]["numbers"]
        numbers[0]["formula"] = f"{numbers[1]['key']} + {numbers[0]['key']} + bust"
        numbers[2]["formula"] = "1 / 0"
        with pytest.raises(InputProblems) as rules:
            read_round(json.dumps(document).encode())
        said += [problem.sentence for problem in rules.value.problems]

    assert len(said) > 6
    left = past_the_catalogue(" ".join(said), round_of("fenlight"))
    assert left - {"weave", "wide", "no", "size", "or", "crochet"} == set()


@pytest.mark.parametrize("typed", ["", "wide", "-3", "1/0", "3 ells", "99999"])
def test_a_bad_length_says_nothing_past_the_catalogue(typed: str):
    with speaking(Bracketed()), pytest.raises(UnitsError) as refused:
        parse_length(typed)

    said = str(refused.value)
    assert {word for piece in outside(said) for word in WORD.findall(piece)} - {"wide", "ells", "cm"} == set()


@pytest.mark.parametrize("craft", ["knit", "crochet"])
@pytest.mark.parametrize("typed", ["", "US 99", "0", "4 in"])
def test_a_bad_tool_says_nothing_past_the_catalogue(typed: str, craft: str):
    with speaking(Bracketed()), pytest.raises(UnitsError) as refused:
        parse_tool(typed, craft)

    said = str(refused.value)
    assert {word for piece in outside(said) for word in WORD.findall(piece)} - {"US", "mm", "in"} == set()


def test_cautions_and_ways_to_measure_are_said_at_the_time_of_asking():
    pattern = round_of("fenlight").pattern

    with speaking(Bracketed()):
        cautions = [caution.sentence for caution in (*cautions_for(pattern), sitting_caution(3.5)) if caution]
        ways = [how_to_measure("bust", "Full bust"), how_to_measure("x", "Anything")]

    assert all(said.startswith(LEFT) for said in (*cautions, *ways))
    assert how_to_measure("bust", "Full bust").startswith("Around the fullest part")


@pytest.mark.parametrize("module", MODULES, ids=lambda path: str(path.relative_to(KERNEL)))
def test_no_module_of_the_kernel_speaks_past_the_catalogue(module: Path):
    assert sentences_past_the_catalogue(module.read_text()) == []


# Files stay English -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("catalogue", [Bracketed(), Commas()])
@pytest.mark.parametrize("name", ["fenlight", "quillwork"])
def test_the_findings_file_is_the_same_whatever_is_spoken(name: str, catalogue: NullTranslations):
    round_ = round_of(name)
    english = findings_json(analyse(round_).findings)

    with speaking(catalogue):
        assert findings_json(analyse(round_).findings) == english


def test_the_assignment_file_is_the_same_whatever_is_spoken():
    round_ = round_of("fenlight")
    english = assignment_json(assign(round_).document)

    with speaking(Bracketed()):
        assert assignment_json(assign(round_).document) == english


def test_a_kept_analysis_says_its_findings_and_questions_in_the_language_of_whoever_reads_it():
    analysis = copy.deepcopy(analyse(round_of("fenlight")))
    finding, question = analysis.findings.findings[0], analysis.questions[0]
    english = finding.why, question.sentence

    with speaking(Bracketed()):
        said = spoken(finding.why), question.sentence

    assert all(one.startswith(LEFT) for one in said)
    assert (finding.why, question.sentence) == english


def test_what_only_helps_the_designer_is_left_out_in_any_language():
    findings = analyse(round_of("fenlight")).findings
    why = findings.finding("finished-size:back_width").why

    with speaking(Bracketed()):
        assert "look at them together" in spoken(why)
        assert "look at them together" not in for_readers(why)
    assert for_readers(why).endswith("Stitches across the back is the number behind it.")


def test_names_stand_in_the_order_of_a_dictionary() -> None:
    # DIN 5007-1: ä as a, ß as ss; what differs in nothing else by its signs.
    names = ["Zoe", "Ärlin", "arlo", "Arlin", "Łucja", "Lucy", "Straße", "Strasser", "Æla", "Adela"]

    assert in_alphabet(names) == (
        "Adela",
        "Æla",
        "Arlin",
        "Ärlin",
        "arlo",
        "Łucja",
        "Lucy",
        "Straße",
        "Strasser",
        "Zoe",
    )
