"""A sheet's values by size as CSV and XLSX: out, in again, and what is refused."""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from collections.abc import Callable
from typing import Any

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from hypothesis import given, settings
from hypothesis import strategies as st

from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.roundfile import plain
from testround.patterns.fields import Scale
from testround.patterns.models import Edition, SheetState
from testround.patterns.services import edition_freeze, edition_save, edition_undo, pattern_create
from testround.patterns.spreadsheets import (
    MOST_BYTES,
    MOST_COLUMNS,
    MOST_ROWS,
    FileRefused,
    csv_of,
    grid_of,
    xlsx_of,
)
from testround.patterns.values_table import pattern_with, table_of
from testround.people.models import User
from tests.generated import patterns
from tests.patterns.test_views import page_of

SignIn = Callable[[User], Client]
FILES: dict[str, Callable[[Any], bytes]] = {
    "csv": csv_of,
    "xlsx": lambda table: xlsx_of(table, title="Values by size"),
}


def sheet(document: dict[str, Any]) -> SheetDocument:
    return SheetDocument.model_validate(document)


def workbook(rows: list[list[Any]]) -> bytes:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def refusals(data: bytes, document: dict[str, Any], **scale: Any) -> list[str]:
    with pytest.raises(FileRefused) as refused:
        pattern_with(grid_of(data, name="sizes.csv"), sheet(document), Scale(**scale))
    return [str(problem) for problem in refused.value.problems]


# Out


def test_the_table_has_sizes_across_and_entries_down(little_top: dict[str, Any]) -> None:
    assert table_of(sheet(little_top), Scale()) == [
        ["Key", "Name", "What", "Unit", "XS", "S", "M"],
        ["bust", "Full bust", "body", "cm", 76, 86, 96],
        ["back_sts", "Back, cast on", "printed", "st", 92, 104, 114],
        ["body_rows", "Rows to underarm", "printed", "row", 96, 96, 96],
        ["chest", "Chest circumference", "printed", "cm", None, None, None],
        ["body_length", "Hem to underarm", "printed", "cm", None, None, None],
    ]


def test_a_reader_of_inches_gets_inches_to_the_eighth(little_top: dict[str, Any]) -> None:
    assert table_of(sheet(little_top), Scale(units="in"))[1] == [
        "bust", "Full bust", "body", "in", 29.875, 33.875, 37.75,
    ]  # fmt: skip


@pytest.mark.parametrize(
    "text",
    [
        "=1+1",
        "+1",
        "-1",
        "@sum",
        "\t=1",
        "\r=1",
        "\n=1",
        " =1",
        "\u00a0=1",
        "'=1",
        "' =1",
        '=HYPERLINK("x")',
        "＝1",
        "＋1",
        "－1",
        "＠1",
    ],
)
def test_a_text_that_a_spreadsheet_would_run_is_written_as_text_and_numbers_stay_numbers(text: str) -> None:
    table = [["Key", text], ["k", -1.5]]

    written = list(csv.reader(io.StringIO(csv_of(table).decode("utf-8-sig"))))
    book = openpyxl.load_workbook(io.BytesIO(xlsx_of(table, title="Values")))
    cell = book.active["B1"]

    assert written[0][1].startswith("'")
    assert written[1] == ["k", "-1.5"]
    assert (cell.data_type, cell.value) == ("s", re.sub(r"[\t\r\n]", " ", text))
    assert (book.active["B2"].data_type, book.active["B2"].value) == ("n", -1.5)


# Out and in again


@settings(max_examples=40, deadline=None)
@given(patterns().filter(lambda pattern: pattern["kind"] == "graded"), st.sampled_from(["cm", "in"]))
@pytest.mark.parametrize("kind", FILES)
def test_out_and_in_again_is_the_same_sheet(kind: str, document: dict[str, Any], units: Any) -> None:
    before = sheet(document)
    scale = Scale(units=units)

    after = pattern_with(grid_of(FILES[kind](table_of(before, scale))), before, scale)

    assert plain(after) == plain(before)


awkward = st.text(st.characters(codec="utf-8", exclude_characters="\0_"), min_size=1, max_size=12)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(awkward.map(str.strip).filter(bool), min_size=2, max_size=4), awkward.map(str.strip).filter(bool)
)
@pytest.mark.parametrize("kind", FILES)
def test_names_of_any_signs_come_back_to_their_own_columns(kind: str, sizes: list[str], label: str) -> None:
    sizes = list(dict.fromkeys(sizes))
    printed = {size: 10.0 + j for j, size in enumerate(sizes)}
    before = sheet(
        {
            "title": "T", "edition": "1", "craft": "knit", "kind": "graded", "sizes": sizes,
            "gauges": [{"key": "body", "label": "Body", "stitches": 20, "rows": 30}],
            "numbers": [
                {"key": "n", "label": label, "unit": "st", "formula": "10 * body.st * 1", "printed": printed}
            ],
        }
    )  # fmt: skip
    cleaned = {
        "".join(" " if sign < " " or sign == "\x7f" else sign for sign in size).strip() for size in sizes
    }
    if len(cleaned) < len(sizes) or cleaned & {"", "Key", "Name", "What", "Unit"}:
        return

    after = pattern_with(grid_of(FILES[kind](table_of(before, Scale()))), before, Scale())

    assert plain(after) == plain(before)


# In


def test_values_are_changed_added_and_taken_away_and_the_rest_stays(little_top: dict[str, Any]) -> None:
    data = b"Key,S,M\nback_sts,106,\nbust,86.5,96\nchest,,103.6\n"

    after = plain(pattern_with(grid_of(data), sheet(little_top), Scale()))

    little_top["numbers"][0]["printed"] = {"XS": 92, "S": 106}
    little_top["measures"][0]["values"]["S"] = 86.5
    little_top["dimensions"][0]["printed"] = {"M": 103.6}
    assert after == plain(sheet(little_top))


@pytest.mark.parametrize(
    "data",
    [
        b"Key;XS;S;M\r\nbust;76,5;86;96\r\n",
        b"Key\tXS\tS\tM\nbust\t76,5\t86\t96\n",
        b"sep=;\r\nKey;XS;S;M\r\nbust;76,5;86;96\r\n",
        'Key,XS,S,M\nbust,"76,5",86,96\n'.encode("utf-16"),
        b"\xef\xbb\xbfkey,xs ,XS,S,M\nbust,,76.5,86,96\n".replace(b"xs ,", b",").replace(
            b"bust,,", b"bust,,"
        ),
        "Key,Name,XS\nbust,Größe ½,76½\n".encode("cp1252"),
        workbook([["Key", "XS"], ["bust", 76.5]]),
        workbook([[], ["Name", "XS", "Key"], ["Full bust", "76 1/2", "bust"]]),
    ],
    ids=[
        "semicolons",
        "tabs",
        "a line that says so",
        "UTF-16",
        "a head left empty",
        "of an old Windows",
        "XLSX",
        "text",
    ],
)
def test_files_as_spreadsheets_write_them_are_read(little_top: dict[str, Any], data: bytes) -> None:
    after = pattern_with(grid_of(data), sheet(little_top), Scale())

    assert after.measures[0].values == {"XS": 76.5, "S": 86, "M": 96}


def test_a_row_says_its_own_unit_whoever_reads_it(little_top: dict[str, Any]) -> None:
    data = b"Key,Unit,XS,S,M\nbust,in,30,33.875,37.75\n"

    after = pattern_with(grid_of(data), sheet(little_top), Scale(units="cm"))

    # What came back as it went out in inches is the stored value, and not a rounded one.
    assert after.measures[0].values == {"XS": 76.2, "S": 86, "M": 96}


def test_sizes_that_are_numbers_find_their_columns(little_top: dict[str, Any]) -> None:
    little_top["sizes"] = ["36", "38"]
    little_top["measures"][0]["values"] = {"36": 92, "38": 97}
    for number in little_top["numbers"]:
        number["printed"] = {}

    after = pattern_with(grid_of(workbook([["Key", 36, 38.0], ["bust", 92, 98]])), sheet(little_top), Scale())

    assert after.measures[0].values == {"36": 92, "38": 98}


def test_everything_that_is_wrong_is_named_at_once_with_its_cell(little_top: dict[str, Any]) -> None:
    data = (
        b"Key,Unit,XS,S,2X,S\n"
        b"bust,cm,,about 86,,\n"
        b"back_st,st,92,104,,\n"
        b"body_rows,row,-96,96,,\n"
        b",,12,,,\n"
        b"chest,m,92,,,\n"
        b"body_rows,row,96,96,,\n"
    )

    assert refusals(data, little_top) == [
        "E1: there is no size 2X; the sizes are XS, S, M.",
        "F1: the size S has two columns; keep one.",
        "C2: Full bust, XS: a body measurement is needed for every size; write it.",
        "D2: Full bust, S: “about 86” cannot be read as a number; write it as in 92.5 cm.",
        "A3: the sheet has no values by size under the key “back_st”; write the key as it stands there. "
        "Did you mean back_sts?",
        "C4: Rows to underarm, XS: “-96” is below zero; write how many there are, as in 22 1/2.",
        "A5: the row has no key; write the key of its measure, number or measurement, or empty the row.",
        "B6: “m” is no unit of lengths here; write cm or in.",
        "A7: “body_rows” stands in A4 as well; keep one of the two.",
    ]


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "sizes.csv is empty"),
        (b"\x00\x01\x02\xff", "neither a text nor a workbook"),
        (b"\xd0\xcf\x11\xe0 old", "older workbook, or one with a password"),
        (b"PK\x03\x04 no more", "sizes.csv is damaged"),
        (b"Name,XS\nFull bust,76\n", "A1: the first row needs a column “Key”"),
        (b"\n" * 5, "sizes.csv is empty"),
        (b",,\n,,\n", "The table is empty"),
        (b"Key" + b",XS" * MOST_COLUMNS, "more than 1000 rows or 100 columns"),
        (b"Key,XS\n" + b"bust,76\n" * MOST_ROWS, "more than 1000 rows or 100 columns"),
        (b"Key,XS\n" + b"x" * MOST_BYTES, "has 2.0 MB, and at most 2 MB are taken"),
        (b'Key,XS\n"' + b"x" * 200_000, "cannot be taken apart into cells"),
    ],
    ids=[
        "empty",
        "bytes",
        "xls",
        "damaged",
        "no key",
        "blank",
        "commas",
        "wide",
        "long",
        "large",
        "open quote",
    ],
)
def test_what_is_no_table_of_sizes_is_refused_with_a_sentence(
    little_top: dict[str, Any], data: bytes, said: str
) -> None:
    assert said in refusals(data, little_top)[0]


# Workbooks that mean harm, or are only odd


def archive(parts: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for name, content in parts.items():
            file.writestr(name, content)
    return out.getvalue()


def parts_of(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        return {name: file.read(name) for name in file.namelist()}


def test_a_small_archive_that_unpacks_to_far_more_is_refused_before_it_is_opened(
    little_top: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    parts = parts_of(workbook([["Key", "XS"], ["bust", 76]]))
    parts["xl/media/picture.png"] = b"\0" * 60_000_000
    monkeypatch.setattr("testround.patterns.spreadsheets.load_workbook", None)

    data = archive(parts)

    assert len(data) < 100_000
    assert "unpacks to 60 MB" in refusals(data, little_top)[0]


def test_an_archive_of_very_many_parts_is_refused(little_top: dict[str, Any]) -> None:
    assert "in 400 parts" in refusals(archive({f"{n}.xml": b"" for n in range(400)}), little_top)[0]


def test_entities_that_multiply_are_not_expanded(little_top: dict[str, Any]) -> None:
    parts = parts_of(workbook([["Key", "XS"], ["bust", 76]]))
    entities = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10 if n else "x" * 99}">' for n in range(9))
    name = "xl/worksheets/sheet1.xml"
    parts[name] = f"<!DOCTYPE x [{entities}]>".encode() + parts[name].replace(b"<v>76</v>", b"<v>&e8;</v>")

    assert "is no workbook that can be read" in refusals(archive(parts), little_top)[0]


@pytest.mark.parametrize("row", ["1048576", "99999999999"])
def test_a_row_far_down_does_not_make_the_reader_count_to_it(little_top: dict[str, Any], row: str) -> None:
    parts = parts_of(workbook([["Key", "XS"], ["bust", 76.5]]))
    name = "xl/worksheets/sheet1.xml"
    parts[name] = parts[name].replace(b"</sheetData>", f'<row r="{row}"></row></sheetData>'.encode())

    after = pattern_with(grid_of(archive(parts)), sheet(little_top), Scale())

    assert after.measures[0].values == {"XS": 76.5, "S": 86, "M": 96}


@pytest.mark.parametrize("part", ["[Content_Types].xml", "xl/workbook.xml", "xl/worksheets/sheet1.xml"])
def test_a_workbook_with_a_part_missing_or_broken_is_refused_with_a_sentence(
    little_top: dict[str, Any], part: str
) -> None:
    whole = parts_of(workbook([["Key", "XS"], ["bust", 76]]))

    missing = archive({name: content for name, content in whole.items() if name != part})
    broken = archive({**whole, part: whole[part][:-30]})

    assert all(
        "save it as .xlsx or CSV once more" in refusals(data, little_top)[0] for data in (missing, broken)
    )


def test_of_a_formula_its_result_is_taken_and_one_without_a_result_is_named(
    little_top: dict[str, Any],
) -> None:
    bare = workbook([["Key", "XS", "S"], ["bust", 76, "=80+6.5"]])
    parts = parts_of(bare)
    name = "xl/worksheets/sheet1.xml"
    assert b"<f>80+6.5</f><v" in parts[name]
    worked = (
        parts[name]
        .replace(b"<f>80+6.5</f><v />", b"<f>80+6.5</f><v>86.5</v>")
        .replace(b"<f>80+6.5</f><v></v>", b"<f>80+6.5</f><v>86.5</v>")
    )

    after = pattern_with(grid_of(archive({**parts, name: worked})), sheet(little_top), Scale())

    assert after.measures[0].values == {"XS": 76, "S": 86.5, "M": 96}
    assert refusals(bare, little_top) == [
        "C2: holds a formula whose result is not in the file; open it in the spreadsheet, save it there, or write "
        "the number."
    ]


def test_what_a_spreadsheet_took_for_a_date_is_named(little_top: dict[str, Any]) -> None:
    import datetime as dt

    data = workbook([["Key", "XS", "S"], ["back_sts", dt.date(2026, 3, 4), True]])

    assert [said.split(":")[0] for said in refusals(data, little_top)] == ["B2", "C2"]


@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused_and_never_an_error(data: bytes) -> None:
    for head in (b"", b"PK\x03\x04", b"Key,XS\n"):
        try:
            grid = grid_of(head + data)
        except FileRefused:
            continue
        assert all(value is None or isinstance(value, str | float) for row in grid for value in row)


# The pages


@pytest.fixture
def made(designer: User, little_top: dict[str, Any]) -> Edition:
    return pattern_create(owner=designer, document=sheet(little_top))


def file_of(edition: Edition, kind: str) -> str:
    return reverse("patterns:values_file", args=[edition.pattern.code, edition.pk, kind])


def bring(client: Client, edition: Edition, content: bytes, name: str = "sizes.csv") -> Any:
    return client.post(
        page_of(edition, "values"), {"action": "look", "file": SimpleUploadedFile(name, content)}
    )


CHANGED = b"Key,XS,S,M\nback_sts,92,106,\n"


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_a_file_that_was_taken_out_changes_nothing_when_it_comes_back(
    signed_in: SignIn, made: Edition, designer: User, kind: str
) -> None:
    client = signed_in(designer)

    taken_out = client.get(file_of(made, kind))
    answer = bring(client, made, taken_out.content, f"values.{kind}")

    assert taken_out["Content-Disposition"] == f'attachment; filename="little-top-1-0-values.{kind}"'
    assert answer.status_code == 200
    assert "Nothing would change" in answer.content.decode()


def test_what_would_change_is_shown_and_nothing_is_stored_until_it_is_said(
    signed_in: SignIn, made: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    client = signed_in(designer)

    shown = bring(client, made, CHANGED)
    made.refresh_from_db()
    stored_then = made.sheet
    preview = shown.context["preview"]
    applied = client.post(
        page_of(made, "values"), {"action": "apply", "revision": "1", "csv": preview.csv}, follow=True
    )

    made.refresh_from_db()
    assert "2 values would change" in shown.content.decode()
    assert [(row.title, [(one.size, one.was, one.now) for one in row.rows]) for row in preview.rows] == [
        ("Back, cast on, printed", [("S", "104", "106"), ("M", "114", "–")])
    ]
    assert preview.check.summary == "1 printed value of 5 is not what the formulas give."
    assert stored_then == little_top
    assert made.sheet["numbers"][0]["printed"] == {"XS": 92, "S": 106}
    assert "The values from the file are saved" in applied.content.decode()


def test_a_file_is_one_save_that_one_press_takes_back(
    signed_in: SignIn, made: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    client = signed_in(designer)
    client.post(page_of(made, "values"), {"action": "apply", "revision": "1", "csv": CHANGED.decode()})

    now = Edition.objects.get()
    ways = [state.way for state in SheetState.objects.all()]
    edition_undo(edition=now, revision=2, by=designer)

    assert ways == ["file", "typed"]
    assert Edition.objects.get().sheet == little_top


def test_somebody_elses_save_in_between_is_not_overwritten(
    signed_in: SignIn, made: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    little_top["numbers"][1]["printed"]["S"] = 98
    edition_save(edition=made, document=sheet(little_top), revision=1, by=designer)

    answer = signed_in(designer).post(
        page_of(made, "values"), {"action": "apply", "revision": "1", "csv": CHANGED.decode()}
    )

    assert answer.status_code == 422
    assert "Somebody saved this sheet after you looked" in answer.content.decode()
    assert Edition.objects.get().sheet == little_top


def test_a_file_with_things_to_mend_is_refused_with_all_of_them(
    signed_in: SignIn, made: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    answer = bring(signed_in(designer), made, b"Key,XS,S\nbust,x,\n")

    page = answer.content.decode()
    assert answer.status_code == 422
    assert '<span class="path">B2</span>' in page
    assert '<span class="path">C2</span>' in page
    assert Edition.objects.get().sheet == little_top


def test_values_with_which_the_sheet_cannot_be_worked_are_refused_with_the_row(
    signed_in: SignIn, made: Edition, designer: User
) -> None:
    made.sheet["numbers"][0]["formula"] = "multiple(100 * body.st * bust / (bust - 80))"
    made.save()

    answer = bring(signed_in(designer), made, b"Key,XS\nbust,80\n")

    assert answer.status_code == 422
    assert [str(problem) for problem in answer.context["problems"]] == [
        "Back, cast on, formula: at character 34: the divisor is zero in size XS; divide by something that is never "
        "zero."
    ]


@pytest.mark.parametrize(
    "fields", [{"action": "look"}, {}, {"action": "apply"}, {"action": "apply", "csv": "\0"}]
)
def test_nothing_sent_is_said(
    signed_in: SignIn, made: Edition, designer: User, fields: dict[str, str]
) -> None:
    assert signed_in(designer).post(page_of(made, "values"), fields).status_code == 422


def test_a_frozen_sheet_gives_its_values_and_takes_none(
    signed_in: SignIn, made: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    edition_freeze(edition=made)
    client = signed_in(designer)

    out = client.get(file_of(made, "csv"))
    page = client.get(page_of(made, "values")).content.decode()
    refused = bring(client, made, CHANGED)

    assert out.status_code == 200
    assert 'type="file"' not in page
    assert refused.status_code == 422
    assert Edition.objects.get().sheet == little_top


def test_a_made_to_measure_sheet_has_no_values_by_size(
    signed_in: SignIn, designer: User, little_top: dict[str, Any]
) -> None:
    little_top |= {"kind": "made-to-measure", "sizes": []}
    del little_top["measures"][0]["values"]
    for number in little_top["numbers"]:
        del number["printed"]
    made = pattern_create(owner=designer, document=sheet(json.loads(json.dumps(little_top))))
    client = signed_in(designer)

    assert "made to measure" in client.get(page_of(made, "values")).content.decode()
    assert client.get(file_of(made, "csv")).status_code == 404
    assert bring(client, made, CHANGED).status_code == 422


def test_there_is_no_third_kind_of_file(signed_in: SignIn, made: Edition, designer: User) -> None:
    assert signed_in(designer).get(file_of(made, "ods")).status_code == 404


@pytest.mark.parametrize("n", [1, 20])
def test_the_pages_cost_the_same_for_one_number_or_many(
    signed_in: SignIn,
    designer: User,
    little_top: dict[str, Any],
    n: int,
    django_assert_num_queries: Any,
) -> None:
    little_top["numbers"] += [{**little_top["numbers"][1], "key": f"n{i}"} for i in range(n)]
    made = pattern_create(owner=designer, document=sheet(little_top))
    client = signed_in(designer)

    for page in (page_of(made, "values"), file_of(made, "csv"), file_of(made, "xlsx")):
        with django_assert_num_queries(3):  # session, user, edition with its pattern
            client.get(page)
    with django_assert_num_queries(3):
        bring(client, made, CHANGED)
