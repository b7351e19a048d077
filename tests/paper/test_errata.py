from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from reportlab.graphics.barcode.qr import QrCodeWidget

from testround.paper.document import qr_code
from testround.paper.errata import ErrataList, ErratumChange, ErratumEntry, errata_pdf

from .scene import SIZES, outline_of, read, text_of
from .structure import Node, Structure

URL = "https://testround.example/errata/fenlight/"


@pytest.fixture
def errata() -> ErrataList:
    """Two errata of a cardigan in nine sizes, the later one listed first."""
    rows = ErratumChange(
        label="Rows to underarm",
        place="Back, step 3",
        unit="row",
        was=dict.fromkeys(SIZES, 96),
        now={size: 86 + rank for rank, size in enumerate(SIZES)},
    )
    gauge = ErratumChange("Stockinette, blocked", "row/10 cm", {"rows": 30}, {"rows": 28.5})
    chest = ErratumChange("Chest circumference", "cm", {"M": 104}, {"M": 103.5})
    return ErrataList(
        title="Fenlight Cardigan",
        copies="Edition 0.9, every size",
        url=URL,
        sizes=SIZES,
        designer="A Designer",
        entries=(
            ErratumEntry(
                2, dt.date(2027, 3, 14), "0.9", "Gauge", ("M",), "Rows are 28 1/2.", "", (gauge, chest)
            ),
            ErratumEntry(
                1, dt.date(2027, 3, 12), "0.9", "Back, step 3", (), "Work fewer rows.", "Too long.", (rows,)
            ),
        ),
    )


def test_errata_stand_in_the_order_of_their_numbers(errata: ErrataList) -> None:
    assert outline_of(errata_pdf(errata)) == [
        (0, "Fenlight Cardigan: errata"),
        (1, "1. Back, step 3"),
        (1, "2. Gauge"),
    ]


def test_each_erratum_says_when_where_which_sizes_and_why(errata: ErrataList) -> None:
    text = text_of(errata_pdf(errata))

    assert "Edition 0.9, every size · 2 errata, the latest of 14 March 2027" in text
    assert "12 March 2027 · found in edition 0.9 · affects every size Work fewer rows." in text
    assert "14 March 2027 · found in edition 0.9 · affects size M Rows are 28 1/2." in text
    assert "Why: Too long." in text


def test_was_and_now_stand_under_every_size(errata: ErrataList) -> None:
    text = text_of(errata_pdf(errata))

    assert (
        "Rows to underarm, Back, step 3, rows XS S M L XL 2X 3X 4X 5X "
        "was 96 96 96 96 96 96 96 96 96 now 86 87 88 89 90 91 92 93 94"
    ) in text
    assert "Stockinette, blocked, over 10 cm rows was 30 now 28 1/2" in text
    assert "Chest circumference M was 104 cm now 103.5 cm" in text


def test_inches_for_those_who_read_inches(errata: ErrataList) -> None:
    text = text_of(errata_pdf(errata, units="in", paper="Letter"))

    # 104 cm are 40.94 in, 103.5 cm are 40.75 in; 30 rows over 10 cm are 30.48 over 4 in.
    assert "Chest circumference M was 41 in now 40 3/4 in" in text
    assert "over 4 in rows was 30 1/2 now 29" in text


def test_a_code_and_an_address_lead_to_the_page_that_is_kept_up_to_date(errata: ErrataList) -> None:
    code = qr_code(URL, 85)

    (widget,) = code.contents
    assert isinstance(widget, QrCodeWidget)
    assert widget.value == URL
    assert widget.barBorder == 4  # the quiet zone of ISO/IEC 18004 is four modules
    assert URL in text_of(errata_pdf(errata))


def test_the_code_leads_a_reader_to_their_own_copy_and_the_letters_are_short_to_type(
    errata: ErrataList,
) -> None:
    own = f"{URL}?edition=3&size=M&units=in"

    made = Structure(errata_pdf(replace(errata, to=own)))

    (head,) = (link for link in made.all("Link") if "errata that is kept" in told_of(made, link))
    assert head.text == URL
    assert str(made.annotations[0][0].A.URI) == own
    assert [str(figure.element.Alt) for figure in made.all("Figure")] == [f"QR code that leads to {own}"]


def told_of(made: Structure, link: Node) -> str:
    return " ".join(
        str(one.Contents) for one, element in made.annotations if element.objgen == link.element.objgen
    )


def test_each_erratum_says_what_holds_beside_others_and_where_it_stays(errata: ErrataList) -> None:
    first, second = errata.entries
    said = replace(second, standing=("Put right by erratum 2.",), url=f"{URL}1/")

    made = Structure(errata_pdf(replace(errata, entries=(first, said))))

    section = next(node for node in made.all("Sect") if node.text.startswith("1. Back"))
    assert "every size Put right by erratum 2. Work fewer rows." in section.text
    assert section.text.endswith(f"Why: Too long. {URL}1/")
    assert [str(one.A.URI) for one, _element in made.annotations] == [URL, f"{URL}1/"]


def test_a_pattern_without_sizes_has_none_affected(errata: ErrataList) -> None:
    first, _second = errata.entries
    text = text_of(errata_pdf(replace(errata, entries=(replace(first, sizes=(), sized=False),))))

    assert "14 March 2027 · found in edition 0.9 Rows are 28 1/2." in text


def test_what_else_a_copy_should_know_stands_after_the_errata(errata: ErrataList) -> None:
    known = replace(errata, ways="Lengths in inches, stitches in US terms.", beside=("All is corrected.",))
    text = text_of(errata_pdf(known))

    assert text.index("Lengths in inches, stitches in US terms.") < text.index("1. Back, step 3")
    assert text.index("2. Gauge") < text.index("All is corrected.")


def test_figures_are_as_large_as_their_columns_allow_and_the_new_ones_are_bold(errata: ErrataList) -> None:
    def with_number(number: int) -> bytes:
        change = replace(errata.entries[1].changes[0], was=dict.fromkeys(SIZES, number))
        return errata_pdf(
            replace(errata, entries=(errata.entries[0], replace(errata.entries[1], changes=(change,))))
        )

    def sizes(pdf: bytes, text: str) -> set[tuple[float, bool]]:
        found: set[tuple[float, bool]] = set()

        def see(words: str, _cm: object, _tm: object, font: dict[str, str], size: float) -> None:
            if words.strip() == text:
                found.add((size, font["/BaseFont"].endswith("Bold")))

        for page in read(pdf).pages:
            page.extract_text(visitor_text=see)
        return found

    assert sizes(errata_pdf(errata), "96") == {(9.5, False)}
    assert sizes(errata_pdf(errata), "92") == {(9.5, True)}
    assert sizes(with_number(1234567), "1234567") == {(8.5, False)}
    assert sizes(with_number(12345678), "12345678") == {(7.5, False)}


def test_a_pattern_without_errata_says_so(errata: ErrataList) -> None:
    assert "No errata are published for this pattern." in text_of(errata_pdf(replace(errata, entries=())))


def test_the_document_names_its_designer(errata: ErrataList) -> None:
    pdf = read(errata_pdf(errata))

    assert pdf.metadata is not None
    assert (pdf.metadata.title, pdf.metadata.author) == ("Fenlight Cardigan: errata", "A Designer")


def test_the_same_errata_give_the_same_bytes(errata: ErrataList) -> None:
    assert errata_pdf(errata) == errata_pdf(errata)


def test_sixty_sizes_with_long_names_go_on_in_further_tables(errata: ErrataList) -> None:
    sizes = tuple(f"Size {k:02d} extra longish" for k in range(60))
    change = ErratumChange(
        "Rows", "row", dict.fromkeys(sizes, 1e6), {size: k for k, size in enumerate(sizes)}
    )
    entry = replace(errata.entries[0], changes=(change,), text="<i>&amp; 🧶" * 500, why="w" * 5000)

    text = text_of(errata_pdf(replace(errata, sizes=sizes, entries=(entry,))))

    assert text.count("1000000") == 60
    assert "<i>&amp; □" in text
