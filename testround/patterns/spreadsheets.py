"""Tables to and from the files of spreadsheet programs: CSV and XLSX, bounded, and without formulas.

A file from outside is a stranger's: it is measured before it is opened, and nothing in it is ever run.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import warnings
import zipfile
from collections.abc import Iterable, Sequence
from typing import Any

from django.utils.translation import gettext as _
from openpyxl import Workbook, load_workbook
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

from testround import archives
from testround.kernel.problems import InputProblems, Problem
from testround.kernel.units import decimal
from testround.security import Event, refused

MOST_BYTES = 2_000_000
MOST_BYTES_UNPACKED = 30_000_000
MOST_PARTS = 300
MOST_ROWS = 1000
MOST_COLUMNS = 100

Value = str | float | None
Grid = list[list[Value]]

# What a spreadsheet would take for the beginning of a formula, behind any number of the marks that prevent it and of
# blanks, which some programs pass over. Some read the full-width signs, too, and the minus that is typeset.
_RUNS = re.compile(r"'*\s*[=+\-@\t\r\n＝＋－−＠]")
_MARK = "'"
_CONTROL = re.compile(r"[\x00-\x1f\x7f]")
_SEPARATOR_LINE = re.compile(r"sep=(.)\r?\n", re.IGNORECASE)


class FileRefused(InputProblems):
    """A file that was not taken; each problem names the cell as the spreadsheet does, where it has one."""


def at(row: int, column: int) -> str:
    """The name of a cell, counted from nought: (6, 1) is B7."""
    return f"{get_column_letter(column + 1)}{row + 1}"


def clean(text: str) -> str:
    """A text as it can stand in a cell: one line, without signs that workbooks refuse."""
    return _CONTROL.sub(" ", text)


# Out ------------------------------------------------------------------------------------------------------


def csv_of(table: Iterable[Sequence[Value]]) -> bytes:
    """A table as CSV: commas, UTF-8 with the mark by which spreadsheets know it, decimal points.

    A text that a spreadsheet would run gets an apostrophe before it; numbers stay numbers.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    for row in table:
        writer.writerow([_written(value) for value in row])
    return b"\xef\xbb\xbf" + out.getvalue().encode()


def _written(value: Value) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        text = clean(value)
        return f"{_MARK}{text}" if _RUNS.match(text) else text
    return number_text(value)


def number_text(value: float) -> str:
    """A number in full, without a needless point."""
    return str(int(value)) if float(value).is_integer() and abs(value) < 1e15 else repr(float(value))


def xlsx_of(table: Iterable[Sequence[Value]], *, title: str) -> bytes:
    """A table as an XLSX workbook of one sheet; every text is stored as text, whatever it begins with."""
    book = Workbook()
    book.properties.creator = "Testround"
    sheet = book.active
    sheet.title = re.sub(r"[\[\]:*?/\\]", " ", title)[:31]
    for i, row in enumerate(table, 1):
        for j, value in enumerate(row, 1):
            if value is None:
                continue
            cell = sheet.cell(i, j)
            if isinstance(value, str):
                cell.value = clean(value)
                # Set after the value: a text that begins with "=" would else be stored as a formula.
                cell.data_type = "s"
                cell.quotePrefix = bool(_RUNS.match(value))
            else:
                cell.value = int(value) if float(value).is_integer() and abs(value) < 1e15 else float(value)
            if i == 1:
                cell.font = Font(bold=True)
    sheet.freeze_panes = "C2"
    sheet.column_dimensions["A"].width = 22
    sheet.column_dimensions["B"].width = 34
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


# In -------------------------------------------------------------------------------------------------------


def grid_of(data: bytes, *, name: str = "") -> Grid:
    """The cells of a CSV or XLSX file, row by row; what kind it is shows in its first bytes.

    Raises
    ------
    FileRefused
        Too large, too many rows or columns, not readable, or with cells that hold no plain value.
    """
    called = name or _("the file")
    if len(data) > MOST_BYTES:
        raise _refused(
            _("{name} has {n} MB, and at most {most} MB are taken: keep the one table in it.").format(
                name=called, n=decimal(len(data) / 1e6, ".1f"), most=decimal(MOST_BYTES / 1e6, ".0f")
            ),
            "too_large",
        )
    if not data.strip():
        raise _refused(_("{name} is empty; choose the file that you saved.").format(name=called))
    if data.startswith(b"PK"):
        grid = _from_xlsx(data, called)
    elif data.startswith(b"\xd0\xcf\x11\xe0"):
        raise _refused(
            _(
                "{name} is an older workbook, or one with a password; save it as .xlsx without a password, or as CSV."
            ).format(name=called)
        )
    else:
        grid = _from_csv(data, called)
    if len(grid) > MOST_ROWS or any(len(row) > MOST_COLUMNS for row in grid):
        raise _too_wide(called)
    return grid


def _refused(sentence: str, reason: str = "") -> FileRefused:
    """The refusal; noted where it has a reason, of what no spreadsheet program saves."""
    if reason:
        refused(Event.UPLOAD_REFUSED, kind="table", reason=reason)
    return FileRefused([Problem("", sentence)])


def _too_wide(called: str) -> FileRefused:
    return _refused(
        _("{name} has more than {rows} rows or {columns} columns; keep the one table in it.").format(
            name=called, rows=MOST_ROWS, columns=MOST_COLUMNS
        )
    )


def _from_csv(data: bytes, called: str) -> Grid:
    text = _decoded(data, called)
    found = _SEPARATOR_LINE.match(text)
    if found is not None:
        text, between = text[found.end() :], found[1]
    else:
        head = text.split("\n", 1)[0]
        between = next(
            (sign for sign in ",;\t" if head.lower().startswith(f"key{sign}")), max("\t;,", key=head.count)
        )
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=between))
    except csv.Error:
        raise _refused(
            _("{name} cannot be taken apart into cells; save it as CSV or XLSX once more.").format(
                name=called
            )
        ) from None
    grid: Grid = [[_unmarked(cell) for cell in row] for row in rows]
    while grid and not any(grid[-1]):
        grid.pop()
    return [_trimmed(row) for row in grid]


def _decoded(data: bytes, called: str) -> str:
    for start, code in (
        (b"\xff\xfe", "utf-16"),
        (b"\xfe\xff", "utf-16"),
        (b"", "utf-8-sig"),
        (b"", "cp1252"),
    ):
        if data.startswith(start):
            try:
                text = data.decode(code)
            except UnicodeDecodeError:
                continue
            if "\0" not in text:
                return text
    raise _refused(
        _("{name} is neither a text nor a workbook; save the table as CSV or XLSX.").format(name=called),
        "no_table",
    )


def _unmarked(cell: str) -> Value:
    """A cell of a text file without the apostrophe that kept a spreadsheet from running it."""
    if cell.startswith(_MARK) and _RUNS.match(cell[1:]):
        return cell[1:]
    return cell.strip() or None


def _trimmed(row: list[Value]) -> list[Value]:
    last = max((j for j, value in enumerate(row) if value is not None), default=-1)
    return row[: last + 1]


def _from_xlsx(data: bytes, called: str) -> Grid:
    data = _checked_archive(data, called)
    try:
        with warnings.catch_warnings():
            # What a workbook has besides its cells, and is not read, is nobody's trouble.
            warnings.simplefilter("ignore")
            values = _first_sheet(data, data_only=True)
            formulas = _first_sheet(data, data_only=False)
    # A broken workbook fails in as many ways as there are parts in it, and none of them is ours.
    except Exception:
        raise _refused(
            _("{name} is no workbook that can be read; save it as .xlsx or CSV once more.").format(
                name=called
            ),
            "damaged",
        ) from None
    problems: list[Problem] = []
    grid = []
    for i, row in enumerate(values):
        typed = formulas[i] if i < len(formulas) else []
        cells = [
            _plain(value, typed[j] if j < len(typed) else None, at(i, j), problems)
            for j, value in enumerate(row)
        ]
        # A formula at the end of a row whose result is not there is still a formula.
        cells += [_plain(None, value, at(i, j), problems) for j, value in enumerate(typed) if j >= len(row)]
        grid.append(_trimmed(cells))
    if problems:
        raise FileRefused(problems)
    return grid


def _checked_archive(data: bytes, called: str) -> bytes:
    """The workbook's parts as they are, in an archive of our own making, or a refusal of what is far more than a table.

    What it unpacks to is written in the archive itself, and no more than that is unpacked.
    """
    damaged = _("{name} is damaged; save it as .xlsx or CSV once more.").format(name=called)
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
    except archives.BROKEN:
        raise _refused(damaged, "damaged") from None
    with archive:
        _check_parts(archive.infolist(), called)
        try:
            return archives.plainly_packed(archive)
        except archives.BROKEN:
            raise _refused(damaged, "damaged") from None


def _check_parts(parts: list[zipfile.ZipInfo], called: str) -> None:
    unpacked = sum(part.file_size for part in parts)
    if len(parts) > MOST_PARTS or unpacked > MOST_BYTES_UNPACKED:
        raise _refused(
            _(
                "{name} unpacks to {n} MB in {parts} parts, far more than a table of sizes; keep the one table "
                "in it, without pictures."
            ).format(name=called, n=decimal(unpacked / 1e6, ".0f"), parts=len(parts)),
            "unpacks_to_more",
        )


def _first_sheet(data: bytes, *, data_only: bool) -> list[list[Any]]:
    """The values of the first sheet, or with ``data_only`` off its formulas; blank rows at the end left off."""
    book = load_workbook(io.BytesIO(data), read_only=True, data_only=data_only, keep_links=False)
    try:
        sheet = book.worksheets[0]
        # The size that a file gives of itself is not believed.
        sheet.reset_dimensions()
        rows = []
        for row in sheet.iter_rows(max_row=MOST_ROWS + 1, max_col=MOST_COLUMNS + 1):
            cells = [_Formula(str(cell.value)) if cell.data_type == "f" else cell.value for cell in row]
            while cells and cells[-1] in (None, ""):
                cells.pop()
            rows.append(cells)
    finally:
        book.close()
    while rows and not rows[-1]:
        rows.pop()
    return rows


class _Formula(str):
    """The text of a formula, told from a text that only looks like one."""


def _plain(value: Any, typed: Any, where: str, problems: list[Problem]) -> Value:
    """A cell's value as text or number. What is neither is a problem; of a formula, its result is taken."""
    if isinstance(typed, _Formula) and value is None:
        problems.append(
            Problem(
                where,
                _(
                    "holds a formula whose result is not in the file; open it in the spreadsheet, save it there, or "
                    "write the number."
                ),
            )
        )
        return None
    if isinstance(value, bool | dt.date | dt.time | dt.timedelta):
        problems.append(
            Problem(
                where,
                _(
                    "the spreadsheet has taken this for a date or a yes or no; format the cell as a number or a text."
                ),
            )
        )
        return None
    if isinstance(value, int | float):
        return float(value)
    return None if value is None else str(value).strip() or None
