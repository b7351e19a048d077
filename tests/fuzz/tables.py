"""Spreadsheets and archives that no program saved."""

from __future__ import annotations

import io
import random
import zipfile
from functools import cache
from typing import Any

from testround.kernel.roundfile import RoundFileError
from testround.patterns.spreadsheets import MOST_COLUMNS, MOST_ROWS, FileRefused, csv_of, grid_of, xlsx_of
from testround.reports.unpacking import unpacked
from tests.fuzz.bytes_mangled import NASTY_TEXTS, mangled, text_mangled
from tests.fuzz.running import Target, Unexpected

ROWS: list[list[Any]] = [
    ["Key", "Name", "Unit", "XS", "S", "M"],
    ["bust", "Full bust", "cm", 76.0, 86.5, "96 1/2"],
    ["back_sts", "=1+1", "st", 92.0, None, 114.0],
    ["'@x", "größe", None, "1e5", "-3", "+7"],
]
METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA)


def archive_of(parts: dict[str, bytes], how: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", how) as file:
        for name, content in parts.items():
            file.writestr(name, content)
    return out.getvalue()


@cache
def _workbook() -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(xlsx_of(ROWS, title="Values"))) as file:
        return {name: file.read(name) for name in file.namelist()}


@cache
def _text() -> str:
    return csv_of(ROWS).decode("utf-8-sig")


ENTITIES = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;">]>'


def table(rng: random.Random) -> bytes:
    """A CSV or XLSX file, spoiled inside its parts or outside."""
    if rng.random() < 0.4:
        text = text_mangled(rng, _text(), signs=",;\t\"'\r\n=+-@\0 0123456789.", most=12)
        if rng.random() < 0.2:
            text += rng.choice(NASTY_TEXTS) + ","
        return text.encode(rng.choice(("utf-8", "utf-16", "utf-8-sig")), "surrogatepass")
    parts = dict(_workbook())
    for _ in range(rng.choice((0, 1, 2))):
        name = rng.choice(list(parts))
        match rng.randrange(5):
            case 0:
                del parts[name]
            case 1:
                parts[name] = mangled(rng, parts[name])
            case 2:
                parts[name] = ENTITIES + parts[name]
            case 3:
                parts[rng.choice(("../x", "/etc/passwd", "a" * 300, "xl/media/a.png"))] = parts[name]
            case _:
                parts[name] = text_mangled(
                    rng, parts[name].decode("utf-8", "replace"), signs='<>/"=&;#0123456789 tcvsr', most=6
                ).encode("utf-8", "replace")
    data = archive_of(parts, rng.choice(METHODS))
    return mangled(rng, data, most=4) if rng.random() < 0.4 else data


def cells_or_refused(data: bytes) -> str:
    try:
        grid = grid_of(data)
    except FileRefused as error:
        for problem in error.problems:
            str(problem).encode()
        return "refused"
    if len(grid) > MOST_ROWS or any(len(row) > MOST_COLUMNS for row in grid):
        raise Unexpected("more cells than are taken")
    if any(value is not None and not isinstance(value, str | float) for row in grid for value in row):
        raise Unexpected("a cell that is neither a text nor a number")
    # What was taken goes out again without a formula in it.
    csv_of(grid)
    return "read"


def archive(rng: random.Random) -> bytes:
    """An exported round with photos, spoiled."""
    parts = {"round.json": b'{"format": 1}' * rng.choice((1, 100)), "photos/a.jpg": rng.randbytes(300)}
    if rng.random() < 0.2:
        parts[rng.choice(("photos/../x", "x", "photos/b/c", "photos/", "photos/\0"))] = b"x"
    data = archive_of(parts, rng.choice(METHODS))
    return mangled(rng, data, most=3)


def unpacked_or_refused(data: bytes) -> str:
    try:
        unpacked(data)
    except RoundFileError as error:
        for problem in error.problems:
            str(problem).encode()
        return "refused"
    return "unpacked"


TABLES = Target("tables", table, cells_or_refused)
ARCHIVES = Target("archives", archive, unpacked_or_refused)
