"""What a machine can check of ISO 14289-1 (PDF/UA-1), after the Matterhorn Protocol 1.1, whose checkpoints are named.

Structure and marks are those of ISO 32000-1:2008, 14.6 to 14.9.
"""

from __future__ import annotations

import ast
import datetime as dt
import itertools
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from django.utils import translation
from reportlab import platypus
from reportlab.graphics import shapes
from reportlab.platypus import BaseDocTemplate, KeepTogether

from testround.kernel.worksheet import worksheet
from testround.paper import document, fonts
from testround.paper.errata import ErrataList, ErratumChange, ErratumEntry, errata_pdf
from testround.paper.report import report_pdf
from testround.paper.worksheet import Answered, worksheet_pdf

from .scene import SIZES, a_round, an_analysis, outline_of
from .structure import Node, Structure

PAGE = "https://testround.example/errata/fenlight/"


def errata(paper: str) -> bytes:
    rows = ErratumChange(
        "Rows to underarm",
        "row",
        dict.fromkeys(SIZES, 96),
        {size: 86 + rank for rank, size in enumerate(SIZES)},
    )
    gauge = ErratumChange("Stockinette, blocked", "row/10 cm", {"rows": 30}, {"rows": 28.5})
    return errata_pdf(
        ErrataList(
            title="Fenlight Cardigan",
            copies="Edition 0.9",
            url=PAGE,
            sizes=SIZES,
            designer="A Designer",
            entries=(
                ErratumEntry(
                    1, dt.date(2027, 3, 12), "0.9", "Back, step 3", (), "Work fewer rows.", "Long.", (rows,)
                ),
                # As long as it takes to go on over the foot of a page.
                ErratumEntry(
                    2,
                    dt.date(2027, 3, 14),
                    "0.9",
                    "Gauge",
                    ("M",),
                    "Rows are 28 1/2. " * 180,
                    "",
                    (gauge,) * 9,
                ),
            ),
        ),
        paper=paper,
    )


def sheet(paper: str) -> bytes:
    waist = {"key": "waist", "label": "Waist", "place": "Back, step 3", "start": "back_sts"}
    round_ = a_round(
        shapings=[{**waist, "end": "back_sts - 12", "over": "50", "each": 2, "places": 2, "at": "each end"}]
    )
    said = Answered("Back, step 3", "Which row <b>first</b>?", ("The right side.", "In S the wrong."))
    return worksheet_pdf(
        worksheet(round_, round_.tester("t02")), paper=paper, answered=[said], address=PAGE + "1/"
    )


MADE = {
    "errata": errata,
    "report": lambda paper: report_pdf(an_analysis(), a_round(), paper=paper),
    "worksheet": sheet,
}


@dataclass
class Made:
    kind: str
    paper: str
    language: str
    pdf: bytes
    words: str
    """Of the story it was made of, in its order, before it was laid out."""
    structure: Structure


def words_of(part: Any) -> Iterator[str]:
    """The words of a flowable and of what it holds."""
    if isinstance(part, str):
        yield part
    elif isinstance(part, list | tuple):
        for one in part:
            yield from words_of(one)
    elif isinstance(part, platypus.Paragraph):
        yield part.bulletText or ""
        yield part.getPlainText()
    elif isinstance(part, platypus.Table):
        yield from words_of(part._cellvalues)
    elif isinstance(part, KeepTogether):
        yield from words_of(part._content)
    elif isinstance(part, shapes.Group):
        yield from words_of(part.contents)
    elif isinstance(part, shapes.String):
        yield part.text
    elif isinstance(part, document.Box):
        yield part.label


def squeezed(text: str) -> str:
    """Without its spaces: where a line breaks inside a long word none was there."""
    return re.sub(r"\s", "", text)


@pytest.fixture(
    scope="module",
    params=[(kind, paper, tongue) for kind in MADE for paper in ("A4", "Letter") for tongue in ("en", "de")],
    ids="-".join,
)
def made(request: pytest.FixtureRequest) -> Made:
    kind, paper, language = request.param
    words: list[str] = []
    build = BaseDocTemplate.build

    def listening(self: Any, story: list[Any], *given: Any, **options: Any) -> None:
        words.extend(words_of(story))
        build(self, story, *given, **options)

    with pytest.MonkeyPatch.context() as patch, translation.override(language):
        patch.setattr(BaseDocTemplate, "build", listening)
        pdf = MADE[kind](paper)
    return Made(kind, paper, language, pdf, squeezed("".join(words)), Structure(pdf))


def test_everything_on_a_page_is_content_or_an_artifact(made: Made) -> None:
    # Matterhorn 01-003 to 01-005.
    assert made.structure.loose == []
    for page in made.structure.marks:
        for mark in page:
            assert (mark.mcid is None) == (mark.tag == "/Artifact"), mark


def test_every_mark_is_reached_from_the_tree_exactly_once_and_leads_back(made: Made) -> None:
    marked = [
        (number, mark.mcid)
        for number, page in enumerate(made.structure.marks)
        for mark in page
        if mark.mcid is not None
    ]

    assert sorted(made.structure.reached) == sorted(marked)
    assert len(set(marked)) == len(marked)


def test_marks_are_called_what_their_elements_are(made: Made) -> None:
    for node in made.structure.root.walk():
        for mark in node.held:
            if hasattr(mark, "tag"):
                assert mark.tag == f"/{node.role}"


def test_the_words_are_read_in_the_order_in_which_they_were_written(made: Made) -> None:
    # Matterhorn 09-001, as far as a machine can tell.
    assert squeezed(made.structure.root.text) == made.words
    assert len(made.words) > 300


def test_what_runs_along_every_page_is_not_read(made: Made) -> None:
    foot = {"en": "Page 1 of", "de": "Seite 1 von"}[made.language]
    artifacts = [mark.text for mark in made.structure.marks[0] if mark.mcid is None]

    assert any(foot in text for text in artifacts)
    assert foot not in made.structure.root.text


def test_title_language_and_author_are_said(made: Made) -> None:
    # Matterhorn 06-001 to 06-003, 07-001, 07-002, 11-006.
    root = made.structure.pdf.Root
    info = made.structure.pdf.docinfo
    said = made.structure.pdf.open_metadata()

    assert str(root.Lang) == {"en": "en-GB", "de": "de"}[made.language]
    assert root.ViewerPreferences.DisplayDocTitle
    assert root.MarkInfo.Marked
    assert "/Suspects" not in root.MarkInfo
    assert str(info.Title)
    assert said["pdfuaid:part"] == "1"
    assert said["dc:title"] == str(info.Title)
    assert said["dc:creator"] == [str(info.Author)]
    assert said["dc:description"] == str(info.Subject)
    assert said["dc:language"] == {str(root.Lang)}


def test_headings_skip_no_level_and_are_the_bookmarks(made: Made) -> None:
    # Matterhorn 14-002, 14-003, 14-006: one H1, and none of "H".
    headings = made.structure.all("H", "H1", "H2", "H3", "H4", "H5", "H6")
    levels = [int(node.role[1:]) for node in headings]

    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    outline = outline_of(made.pdf)
    assert [level + 1 for level, _title in outline] == levels
    # The first bookmark is the title of the document, which may say more than the heading on its page.
    assert [squeezed(title) for _level, title in outline[1:]] == [
        squeezed(node.text) for node in headings[1:]
    ]


def test_only_roles_of_the_standard_are_used_where_they_belong(made: Made) -> None:
    # ISO 32000-1, tables 333 to 337; Matterhorn 02-001, 09-004 to 09-008.
    holds = {
        "Document": {"Sect", "H1", "P", "L", "Table", "Figure", "Link"},
        "Sect": {"Sect", "H2", "H3", "P", "L", "Table", "Figure"},
        "L": {"LI"},
        "LI": {"Lbl", "LBody"},
        "Table": {"Caption", "TR"},
        "TR": {"TH", "TD"},
        "TD": {"P", "Figure"},
        "TH": {"P"},
        "P": {"Link"},
    }
    for node in made.structure.root.walk():
        assert {kid.role for kid in node.nodes} <= holds.get(node.role, set()), node.role
    assert not made.structure.all("Caption") or all(
        node.nodes[0].role == "Caption"
        for node in made.structure.all("Table")
        if any(kid.role == "Caption" for kid in node.nodes)
    )


def row_lengths(table: Node) -> set[int]:
    return {
        sum(int(cell.attribute("ColSpan") or 1) for cell in row.nodes)
        for row in table.nodes
        if row.role == "TR"
    }


def test_tables_have_heads_with_a_scope_and_rows_of_one_length(made: Made) -> None:
    # Matterhorn 15-003; ISO 32000-1, 14.8.5.7.
    tables = made.structure.all("Table")
    assert tables
    for table in tables:
        first, *others = [row for row in table.nodes if row.role == "TR"]
        assert len(row_lengths(table)) == 1
        assert {(cell.role, str(cell.attribute("Scope"))) for cell in first.nodes} == {("TH", "/Column")}
        for row in others:
            named = [cell for cell in row.nodes if cell.role == "TH"]
            assert [str(cell.attribute("Scope")) for cell in named] == ["/Row"]
            assert named[0].text or made.kind == "worksheet"


def test_figures_have_words_in_their_place_and_say_where_they_are(made: Made) -> None:
    # Matterhorn 13-004; ISO 32000-1, table 343.
    figures = made.structure.all("Figure")
    assert figures
    for figure in figures:
        assert len(str(figure.element.Alt)) > 10
        left, foot, right, top = (float(number) for number in figure.attribute("BBox"))
        assert 0 <= left < right
        assert 0 <= foot < top


def test_a_code_says_where_it_leads_and_the_address_is_a_link(made: Made) -> None:
    # Matterhorn 28-005, 28-010 to 28-012, 28-002.
    if made.kind == "report":
        assert made.structure.annotations == []
        return
    address = PAGE if made.kind == "errata" else PAGE + "1/"
    (link,) = made.structure.all("Link")

    assert link.text.replace(" ", "") == address
    assert sum(address in str(figure.element.Alt) for figure in made.structure.all("Figure")) == 1
    assert made.structure.annotations
    parents = made.structure.parents()
    for annotation, element in made.structure.annotations:
        assert str(annotation.A.URI) == address
        assert str(annotation.Contents)
        assert int(annotation.F) == 4
        assert element.objgen == link.element.objgen
        assert parents[int(annotation.StructParent)].objgen == element.objgen
    annotated = [one for page in made.structure.pdf.pages for one in page.get("/Annots", [])]
    assert {one.objgen for one in annotated} == {one.objgen for one, _element in made.structure.annotations}
    assert all(str(page.Tabs) == "/S" for page in made.structure.pdf.pages)


def test_every_typeface_is_embedded_and_says_what_its_signs_are(made: Made) -> None:
    # Matterhorn 10-001, 31-009, 31-027 to 31-029; ISO 14289-1, 7.21.7.
    for page in made.structure.pdf.pages:
        for font in page.Resources.Font.values():
            assert "/FontFile2" in font.FontDescriptor, font.BaseFont
            text = font.ToUnicode.read_bytes().decode()
            blocks = re.findall(r"(\d+) beginbfchar\n(.*?)endbfchar", text, re.DOTALL)
            meant = [entry.split()[1] for _count, block in blocks for entry in block.splitlines()]
            assert not {"<0000>", "<FEFF>", "<FFFE>"} & set(meant)
            assert len(meant) > 60
            assert all(int(count) == len(block.splitlines()) <= 100 for count, block in blocks)


def test_signs_of_many_languages_are_read_as_what_they_are() -> None:
    # More than a hundred of them, so that the map from codes to letters has several parts.
    said = "".join(chr(code) for code in [*range(0xC0, 0x17F), *range(0x391, 0x3C9)] if code != 0x3A2)

    made = built([document.Heading("Signs", 0), document.para(said)])

    assert squeezed(made.all("P")[0].text) == fonts.printable(said).replace(" ", "")


def test_the_paper_is_the_one_asked_for(made: Made) -> None:
    sizes = {tuple(round(float(side)) for side in page.MediaBox) for page in made.structure.pdf.pages}

    assert sizes == {(0, 0, 595, 842) if made.paper == "A4" else (0, 0, 612, 792)}


# What goes on over the foot of a page ----------------------------------------------------------------------------

COVER = document.Cover(title="Long", author="A Designer", subject="Edition 1", running="Long")
LONG = " ".join(f"word{k}" for k in range(740))


def built(story: list[Any]) -> Structure:
    return Structure(document.build(lambda width: story, paper="A4", cover=COVER))


def test_a_paragraph_over_two_pages_is_one_paragraph() -> None:
    made = built([document.Heading("Long", 0), document.para(LONG), document.para(LONG)])

    assert [node.text for node in made.all("P")] == [LONG, LONG]
    assert [len(node.held) for node in made.all("P")] == [2, 2]


def test_the_head_of_a_table_is_read_once_however_many_pages_repeat_it() -> None:
    rows = [[f"row {k}", str(k)] for k in range(120)]
    made = built([document.Heading("Long", 0), document.grid(["Name", "Count"], rows, [200, 80])])

    (table,) = made.all("Table")
    assert [node.text for node in table.nodes] == [
        "Name Count",
        *(f"row {k} {k}" for k in range(120)),
    ]
    repeated = [mark for page in made.marks[1:] for mark in page if "Name" in mark.text]
    assert len(made.pdf.pages) > 2
    assert [mark.tag for mark in repeated] == ["/Artifact"] * (len(made.pdf.pages) - 1)


def test_a_heading_over_two_pages_is_one_heading_and_one_bookmark() -> None:
    made_of = [document.Heading("Long", 0), document.Heading(LONG, 1), document.para("After.")]
    pdf = document.build(lambda width: made_of, paper="A4", cover=COVER)
    made = Structure(pdf)

    assert [node.text for node in made.all("H2")] == [LONG]
    assert [level for level, _title in outline_of(pdf)] == [0, 1]


def test_steps_are_one_list_with_its_marks_until_something_else_stands_between() -> None:
    def step(text: str) -> document.Paragraph:
        return document.Paragraph(document.words(text), document.STEP, bulletText="–")

    made = built(
        [
            document.Heading("Long", 0),
            step(LONG),
            step(LONG),
            document.para("Between."),
            step("third"),
        ]
    )

    one, other = made.all("L")
    assert [[part.role for part in item.nodes] for item in one.nodes] == [["Lbl", "LBody"]] * 2
    assert [item.text for item in one.nodes] == [f"– {LONG}"] * 2
    assert [item.text for item in other.nodes] == ["– third"]


def test_an_address_that_breaks_is_one_link_with_an_area_on_every_line() -> None:
    address = "https://testround.example/errata/" + "fenlight-" * 30
    made = built([document.Heading("Long", 0), document.link(address, "The page")])

    (link,) = made.all("Link")
    assert squeezed(link.text) == address
    assert len(made.annotations) > 1
    areas = [[float(side) for side in one.Rect] for one, _element in made.annotations]
    assert all(above[1] == pytest.approx(below[3]) for above, below in itertools.pairwise(areas))
    assert all(left < right and foot < top for left, foot, right, top in areas)


def test_sections_hold_what_stands_under_their_heading() -> None:
    head = document.Heading
    made = built(
        [head("T", 0), head("A", 1), head("A.1", 2), document.para("a1"), head("B", 1), document.para("b")]
    )

    first, second = (node for node in made.root.nodes if node.role == "Sect")
    assert [node.role for node in first.nodes] == ["H2", "Sect"]
    assert first.text == "A A.1 a1"
    assert second.text == "B b"


def test_a_table_that_only_lays_out_is_read_as_what_it_holds() -> None:
    cells = [[[document.para("one")], "two"], ["", document.para("three")]]
    made = built([document.Heading("T", 0), document.Table(cells, colWidths=[100, 100])])

    assert [(node.role, node.text) for node in made.root.nodes] == [
        ("H1", "T"),
        ("P", "one"),
        ("P", "two"),
        ("P", "three"),
    ]


def test_an_empty_cell_keeps_the_others_in_their_columns() -> None:
    made = built([document.Heading("T", 0), document.grid(["", "B"], [["", "2"]], [50, 50])])

    (table,) = made.all("Table")
    assert [[(cell.role, cell.text) for cell in row.nodes] for row in table.nodes] == [
        [("TH", ""), ("TH", "B")],
        [("TH", ""), ("TD", "2")],
    ]


def test_papers_are_made_of_flowables_that_tell_what_they_draw() -> None:
    """ReportLab's own would be drawn outside of all marks."""
    told = {"Paragraph", "Table", "LongTable", "Image", "ListFlowable", "HRFlowable", "Drawing", "Canvas"}
    allowed = {"flowables.py", "tagging.py"}
    found = [
        f"{path.name}: {name.name}"
        for path in (Path(document.__file__).parent).rglob("*.py")
        if path.name not in allowed
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("reportlab")
        for name in node.names
        if name.name in told
    ]

    assert found == []
