from __future__ import annotations

import io

import pikepdf
import pypdf
import pytest

from testround.paper import document

COVER = document.Cover(title="A table", author="A Designer", subject="Edition 1", running="A table")


@pytest.fixture(scope="module")
def pdf() -> bytes:
    """A table of 1200 cells, each of them an element of the structure."""
    rows = [[f"row {k}", *(str(k * column) for column in range(5))] for k in range(200)]
    return document.build(
        lambda width: [document.Heading("A table", 0), document.grid(["", *"ABCDE"], rows, [80] * 6)],
        paper="A4",
        cover=COVER,
    )


def test_a_file_is_sound_and_read_alike_by_two_readers(pdf: bytes) -> None:
    with pikepdf.open(io.BytesIO(pdf)) as file:
        assert file.check_pdf_syntax() == []
        assert len(file.pages) == len(pypdf.PdfReader(io.BytesIO(pdf)).pages)
        assert str(file.docinfo.Title) == "A table"


def test_the_structure_of_a_table_weighs_little_beside_its_figures(pdf: bytes) -> None:
    with pikepdf.open(io.BytesIO(pdf)) as file:
        cells = sum(
            1 for one in file.objects if isinstance(one, pikepdf.Dictionary) and one.get("/S") == "/TD"
        )
        fonts_and_pages = sum(
            len(one.read_raw_bytes())
            for one in file.objects
            if isinstance(one, pikepdf.Stream) and one.get("/Type") != "/ObjStm"
        )

    assert cells == 1000
    # Each cell written by itself would take some hundred bytes.
    assert len(pdf) - fonts_and_pages < 25 * cells
