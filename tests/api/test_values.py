"""The values by size of a sheet as the files of spreadsheet programs, out and in, by the API."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.utils import timezone
from openpyxl import load_workbook

from testround.api.v1.values import XLSX
from testround.patterns.models import Edition, SheetState
from testround.people.models import User
from tests.api.programs import Program, assert_costs_the_same, queries_of
from tests.api.test_requests import problem

CSV = {"Content-Type": "text/csv"}


@pytest.fixture
def at(edition: Edition) -> str:
    return f"/patterns/{edition.pattern.code}/editions/{edition.pk}"


def put(program: Program, path: str, file: bytes, *, match: str = "*", media: str = "text/csv") -> Any:
    return program.send("PUT", path, file, **{"If-Match": match, "Content-Type": media})


def edited(program: Program, at: str, was: str, now: str) -> bytes:
    """The CSV file as it goes out, with one thing in it changed."""
    text = program.get(f"{at}/values.csv").content.decode()
    assert was in text
    return text.replace(was, now).encode()


def test_values_go_out_by_size_in_centimetres_whatever_their_reader_reads(
    program: Program, at: str, designer: User
) -> None:
    User.objects.filter(pk=designer.pk).update(units="in")

    out = program.get(f"{at}/values.csv", Accept="text/csv")
    book = load_workbook(io.BytesIO(program.get(f"{at}/values.xlsx", Accept=XLSX).content))

    lines = out.content.decode("utf-8-sig").splitlines()
    assert (out.status_code, out.headers["Content-Type"]) == (200, "text/csv")
    assert lines[0] == "Key,Name,What,Unit,XS,S,M"
    assert 'back_sts,"Back, cast on",printed,st,92,104,114' in lines
    assert ",".join(str(cell.value) for cell in book.active[1]) == lines[0]


def test_what_went_out_comes_in_again_and_changes_nothing(program: Program, at: str) -> None:
    out = program.get(f"{at}/values.csv")

    tried = program.post(f"{at}/values", out.content, **CSV)
    kept = put(program, f"{at}/values.csv", out.content, match=out.headers["ETag"])

    assert tried.json()["changes"] == []
    assert (kept.status_code, kept.content, kept.headers["ETag"]) == (200, out.content, out.headers["ETag"])
    assert Edition.objects.get().revision == 1


def test_what_a_file_would_change_is_told_and_then_kept(program: Program, at: str) -> None:
    tag = program.get(f"{at}/values.csv").headers["ETag"]
    file = edited(program, at, "st,92,104,114", "st,92,106,")

    tried = program.post(f"{at}/values", file, **CSV).json()

    assert tried["changes"] == [
        {"key": "back_sts", "name": "Back, cast on", "size": "S", "was": 104.0, "now": 106.0},
        {"key": "back_sts", "name": "Back, cast on", "size": "M", "was": 114.0, "now": None},
    ]
    assert [(one["key"], one["size"], one["printed"]) for one in tried["check"]["counts"]] == [
        ("back_sts", "S", 106.0)
    ]
    assert Edition.objects.get().revision == 1

    kept = put(program, f"{at}/values.csv", file, match=tag)

    assert (kept.status_code, kept.content) == (200, file)
    (number,) = [one for one in Edition.objects.get().document.numbers if one.key == "back_sts"]
    assert number.printed == {"XS": 92, "S": 106}
    assert SheetState.objects.latest("revision").way == SheetState.Way.FILE


def test_a_workbook_comes_in_as_well(program: Program, at: str) -> None:
    out = program.get(f"{at}/values.xlsx")
    book = load_workbook(io.BytesIO(out.content))
    (row,) = [row for row in book.active.iter_rows() if row[0].value == "back_sts"]
    row[5].value = 106
    file = io.BytesIO()
    book.save(file)

    tried = program.post(f"{at}/values", file.getvalue(), **{"Content-Type": XLSX})
    kept = put(program, f"{at}/values.xlsx", file.getvalue(), match=out.headers["ETag"], media=XLSX)

    assert [change["now"] for change in tried.json()["changes"]] == [106.0]
    assert (kept.status_code, kept.headers["Content-Type"]) == (200, XLSX)
    assert "printed,st,92,106,114" in program.get(f"{at}/values.csv").content.decode()


def test_values_that_somebody_saved_meanwhile_are_not_overwritten(program: Program, at: str) -> None:
    tag = program.get(f"{at}/values.csv").headers["ETag"]
    put(program, f"{at}/values.csv", edited(program, at, "st,92,104,", "st,92,108,"))

    answer = put(program, f"{at}/values.csv", edited(program, at, "st,92,108,", "st,92,110,"), match=tag)

    assert problem(answer) == (412, "changed")
    assert "st,92,108," in program.get(f"{at}/values.csv").content.decode()


def test_every_cell_that_is_to_be_mended_is_named(program: Program, at: str) -> None:
    file = b"Key,S,XXL\nback_sts,many,1\nhat_sts,1,1\n"

    answers = [
        program.post(f"{at}/values", file, **CSV),
        put(program, f"{at}/values.csv", file),
    ]

    assert [problem(answer) for answer in answers] == [(422, "invalid")] * 2
    said = [error["detail"] for error in answers[0].json()["errors"]]
    assert [sentence.partition(":")[0] for sentence in said] == ["C1", "B2", "A3"]
    assert problem(program.post(f"{at}/values", **CSV)) == (422, "invalid")
    assert problem(program.post(f"{at}/values", {"S": 1})) == (415, "media-type")
    assert Edition.objects.get().revision == 1


def test_the_values_of_a_frozen_edition_are_looked_at_and_not_kept(program: Program, at: str) -> None:
    Edition.objects.update(frozen_at=timezone.now())
    file = edited(program, at, "st,92,104,", "st,92,106,")

    assert len(program.post(f"{at}/values", file, **CSV).json()["changes"]) == 1
    assert problem(put(program, f"{at}/values.csv", file)) == (409, "conflict")


def test_a_pattern_made_to_measure_has_no_values_by_size(program: Program, at: str) -> None:
    edition = Edition.objects.get()
    sheet = {**edition.sheet, "kind": "made-to-measure", "sizes": []}
    for group, name in (("measures", "values"), ("numbers", "printed"), ("dimensions", "printed")):
        sheet[group] = [{k: v for k, v in one.items() if k != name} for one in sheet[group]]
    Edition.objects.update(sheet=sheet)

    assert program.get(f"{at}/sheet").status_code == 200
    assert problem(program.get(f"{at}/values.csv")) == (404, "not-found")
    assert problem(program.post(f"{at}/values", b"Key\n", **CSV)) == (404, "not-found")


def test_reading_costs_the_same_for_few_and_many(program: Program, at: str) -> None:
    def more_numbers() -> None:
        edition = Edition.objects.get()
        (first, *rest) = edition.sheet["numbers"]
        more = [{**first, "key": f"more_{n}", "label": f"More {n}"} for n in range(5)]
        Edition.objects.update(sheet={**edition.sheet, "numbers": [first, *rest, *more]})

    assert queries_of(lambda: program.get(f"{at}/values.xlsx")) == 2  # token, edition
    assert_costs_the_same(lambda: program.get(f"{at}/values.csv"), more_numbers)
