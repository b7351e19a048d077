"""One tester's worksheet on paper, made to be written on: own numbers in the order of the text, with boxes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import KeepTogether

from testround.kernel.measuring import how_to_measure
from testround.kernel.terms import Terms, terms_of, translate
from testround.kernel.units import (
    LengthUnit,
    ToolSystem,
    format_count,
    format_gauge,
    format_length,
    tool_label,
    tool_word,
)
from testround.kernel.words import gettext as _
from testround.kernel.words import gettext_noop, pgettext
from testround.kernel.worksheet import Worksheet, WorksheetDimension, WorksheetNumber, WorksheetShaping
from testround.paper.document import (
    CELL,
    CELL_HEAD,
    CELL_SMALL,
    CELL_STRONG,
    LONGEST_CELL,
    SMALL,
    SUBTITLE,
    Box,
    Cover,
    Flowable,
    Heading,
    Lines,
    Table,
    build,
    capital,
    cut,
    grid,
    link,
    para,
    paragraphs,
    plot,
    qr_code,
    section,
)
from testround.paper.drawing import paper as on_paper
from testround.paper.schematic import lettered, scale_of, schematic

UNKNOWN = "–"
_READINGS = 3
_BOX = 7.5 * mm
_CODE = 30 * mm
_TALLEST = 180 * mm
_DRAWN = 0.6
"""The drawings of a page made small enough for several to stand beside each other on paper."""
_UNITS = {
    "st": gettext_noop("stitches"),
    "row": gettext_noop("rows"),
    "rep": gettext_noop("repeats"),
}

_Say = Callable[[str], str]


@dataclass(frozen=True, slots=True)
class Answered:
    """A question that a tester asked at a place in the text, with its answer and what was added to it."""

    place: str
    question: str
    replies: tuple[str, ...]


def worksheet_pdf(
    worksheet: Worksheet,
    *,
    paper: str = "A4",
    units: LengthUnit = "cm",
    tools: ToolSystem = "metric",
    terms: Terms = "us",
    answered: Sequence[Answered] = (),
    address: str = "",
) -> bytes:
    """The worksheet as a PDF.

    Parameters
    ----------
    worksheet : Worksheet
        What `testround.kernel.worksheet.worksheet` gives.
    paper : {"A4", "Letter"}
    units : {"cm", "in"}
        How lengths are written; gauges are over 10 cm or 4 in accordingly.
    tools : {"metric", "us", "uk"}
        How hook and needle sizes are written.
    terms : {"us", "uk"}
        The dialect of the stitch terms. The pattern's own is read off its words; where they do not give it
        away it is taken for US.
    answered : sequence of Answered
        What was made clear since the text was written, in the order of the text.
    address : str
        The page that this paper is of, in full; it stands on the paper as a code to photograph, and in letters.

    Raises
    ------
    PaperError
        A paper that is not known.
    """
    say = _dialect(worksheet, terms)
    who = worksheet.tester
    if worksheet.size is not None:
        who = _("{tester}, size {size}").format(tester=worksheet.tester, size=worksheet.size)
    cover = Cover(
        title=_("{pattern}: worksheet").format(pattern=worksheet.title),
        author="Testround",
        subject=_("Edition {edition}, {who}").format(edition=worksheet.edition, who=who),
        running=who,
    )

    def story(width: float) -> list[Flowable]:
        return [
            *_head(worksheet, width, address),
            *(para(sentence) for sentence in worksheet.missing),
            *_gauges(worksheet, width, units, tools, say),
            *_measures(worksheet, width, units),
            *_numbers(worksheet, width, say),
            *_answered(answered, say),
            *_finished(worksheet, width, units, say),
            *_cautions(worksheet),
            *section(_("Notes"), room=70 * mm),
            para(_("Where you stumbled, and at which place in the text:"), SMALL),
            # The last thing on the sheet, so that it takes what the last page has left.
            Lines(48 * mm),
        ]

    return build(story, paper=paper, cover=cover)


def _dialect(worksheet: Worksheet, terms: Terms) -> _Say:
    """How to say the pattern's own words in the reader's dialect."""
    source = terms_of("\n".join(_written(worksheet))) or "us"
    return lambda text: translate(text, source=source, target=terms)


def _written(worksheet: Worksheet) -> Iterator[str]:
    for gauge in worksheet.gauges:
        yield gauge.label
    for place in worksheet.places:
        yield place.place
        yield from (number.label for number in place.numbers)
        yield from (shaping.label for shaping in place.shapings)
    for dimension in worksheet.dimensions:
        yield dimension.label
        yield dimension.how or ""


def _head(worksheet: Worksheet, width: float, address: str) -> list[Flowable]:
    """Whose worksheet it is, with what is filled in first; the code that leads back to the page at its right."""
    beside = _CODE + 6 * mm if address else 0.0
    whose: list[Flowable] = [
        Heading(worksheet.title, 0, outline=_("{pattern}: worksheet").format(pattern=worksheet.title)),
        para(_whose(worksheet), SUBTITLE),
        _to_fill_in(worksheet, width - beside),
    ]
    if not address:
        return whose
    code = [plot(qr_code(address, _CODE)), link(address, _("This worksheet on its page"), CELL_SMALL)]
    return [
        Table(
            [[whose, code]],
            colWidths=[width - beside, beside],
            hAlign="LEFT",
            style=[
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (0, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 0),
                ("TOPPADDING", (0, 0), (-1, -1), 0),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
            ],
        )
    ]


def _whose(worksheet: Worksheet) -> str:
    if worksheet.size is None:
        said = _("Worksheet of {tester} · made to measure · edition {edition}")
    else:
        said = _("Worksheet of {tester} · size {size} · edition {edition}")
    return said.format(tester=worksheet.tester, size=worksheet.size, edition=worksheet.edition)


def _to_fill_in(worksheet: Worksheet, width: float) -> Flowable:
    tool = _("Hook used") if worksheet.craft == "crochet" else _("Needle used")
    labels = (_("Yarn and dye lot"), tool, _("Begun"), pgettext("a day to fill in", "Finished"))
    shares = (0.4, 0.2, 0.2, 0.2)
    return Table(
        [[Box(width * share - 6, 11 * mm, label=label) for label, share in zip(labels, shares, strict=True)]],
        colWidths=[width * share for share in shares],
        hAlign="LEFT",
        spaceAfter=6,
        style=[("LEFTPADDING", (0, 0), (-1, -1), 0), ("RIGHTPADDING", (0, 0), (-1, -1), 0)],
    )


def _length(cm: float | None, units: LengthUnit) -> str:
    return UNKNOWN if cm is None else format_length(cm, units)


def _gauges(
    worksheet: Worksheet, width: float, units: LengthUnit, tools: ToolSystem, say: _Say
) -> list[Flowable]:
    over = "4in" if units == "in" else "10cm"

    def gauge(value: float | None) -> str:
        return UNKNOWN if value is None else format_gauge(value, over)  # type: ignore[arg-type]

    both = _("{stitches} st × {rows} rows")
    rows: list[list[Any]] = [
        [
            say(gauge_.label),
            UNKNOWN if gauge_.tool_mm is None else tool_label(gauge_.tool_mm, worksheet.craft, tools),
            both.format(stitches=gauge(gauge_.stated_stitches), rows=gauge(gauge_.stated_rows)),
            both.format(stitches=gauge(gauge_.own_stitches), rows=gauge(gauge_.own_rows))
            if gauge_.own_stitches is not None or gauge_.own_rows is not None
            else _("no swatch yet"),
        ]
        for gauge_ in worksheet.gauges
    ]
    span = "4 in" if units == "in" else "10 cm"
    return [
        *section(say(_("Gauge over {span}").format(span=span))),
        grid(
            [_("Fabric"), capital(tool_word(worksheet.craft)), _("Stated"), _("Yours")],
            rows,
            [width * share for share in (0.34, 0.2, 0.23, 0.23)],
        ),
    ]


def _measures(worksheet: Worksheet, width: float, units: LengthUnit) -> list[Flowable]:
    if not worksheet.measures:
        return []
    worked_for = _("Worked for")
    if worksheet.size is not None:
        worked_for = _("Size {size}").format(size=worksheet.size)
    rows: list[list[Any]] = [
        [
            _with_how(measure.label, how_to_measure(measure.key, measure.label, measure.how)),
            _length(measure.cm, units),
            _length(measure.own, units),
        ]
        for measure in worksheet.measures
    ]
    return [
        *section(_("Body measurements")),
        grid(
            [_("Measurement"), worked_for, _("Yours")],
            rows,
            [width - 56 * mm, 28 * mm, 28 * mm],
            right=(1, 2),
        ),
        *_long_hows([(measure.label, measure.how or "") for measure in worksheet.measures]),
    ]


def _with_how(label: str, how: str | None) -> list[Flowable]:
    """A measurement and how it is taken; a long how-to stands below the table instead."""
    short = how if how and len(how) <= LONGEST_CELL else _("How to take it is below.") if how else ""
    return [para(cut(label), CELL), *([para(short, CELL_SMALL)] if short else [])]


def _long_hows(hows: list[tuple[str, str]]) -> list[Flowable]:
    return [
        part
        for label, how in hows
        if len(how) > LONGEST_CELL
        for part in paragraphs(f"{label}: {how}", SMALL)
    ]


def _numbers(worksheet: Worksheet, width: float, say: _Say) -> list[Flowable]:
    if not worksheet.places:
        return []
    own = any(number.at_own_gauge is not None for place in worksheet.places for number in place.numbers)
    head = [
        "",
        pgettext("in the text", "Place"),
        pgettext("what is to be worked", "Work"),
        _("Number"),
        "",
        *([_("At your gauge")] if own else []),
        _("You worked"),
    ]
    widths = [8 * mm, 40 * mm, 0.0, 18 * mm, 17 * mm, *([22 * mm] if own else []), 28 * mm]
    widths[2] = width - sum(widths)
    rows: list[list[Any]] = []
    spelled: list[tuple[Any, ...]] = []
    for place in worksheet.places:
        steps = [
            *(_number_cells(number, own, say) for number in place.numbers),
            *([_shaping_cell(shaping, say), *[""] * (len(head) - 3)] for shaping in place.shapings),
        ]
        for k, cells in enumerate(steps):
            # A place is named once, at its first number.
            named = para(cut(say(place.place)), CELL_HEAD) if k == 0 else ""
            rows.append([Box(4.2 * mm, 4.2 * mm), named, *cells])
            if k >= len(place.numbers):
                spelled.append(("SPAN", (2, len(rows)), (-1, len(rows))))
    intro = _("Tick each step as you come to it, and write down the count you worked.")
    if own:
        beside = _(
            "Work the number; what your own gauge would need is beside it, for you to know, not to work."
        )
        intro = f"{intro} {beside}"
    table = grid(
        head,
        rows,
        widths,
        right=(3, 5) if own else (3,),
        style=[("VALIGN", (0, 1), (-1, -1), "MIDDLE"), *spelled],
    )
    return [*section(_("Your numbers")), para(intro, SMALL), table]


def _number_cells(number: WorksheetNumber, own: bool, say: _Say) -> list[Any]:
    value = UNKNOWN if number.value is None else format_count(number.value)
    at_own = UNKNOWN if number.at_own_gauge is None else format_count(number.at_own_gauge)
    return [
        say(number.label),
        para(value, CELL_STRONG),
        para(_(_UNITS[number.unit]) if number.unit in _UNITS else number.unit, CELL_SMALL),
        *([at_own] if own else []),
        Box(26 * mm, _BOX),
    ]


def _shaping_cell(shaping: WorksheetShaping, say: _Say) -> list[Flowable]:
    """A shaping runs across the columns of its row: what it is, and how it is worked."""
    what = f"{say(shaping.label)}: {shaping.counts}" if shaping.counts else say(shaping.label)
    return [para(cut(what), CELL_SMALL), para(cut(shaping.instruction), CELL)]


def _answered(answered: Sequence[Answered], say: _Say) -> list[Flowable]:
    if not answered:
        return []
    story = section(_("Asked and answered"))
    for one in answered:
        story.append(KeepTogether([para(say(one.place), CELL_HEAD), *paragraphs(one.question, SMALL)]))
        for reply in one.replies:
            story += paragraphs(reply)
    return story


def _finished(worksheet: Worksheet, width: float, units: LengthUnit, say: _Say) -> list[Flowable]:
    if not worksheet.dimensions:
        return []
    box = 17 * mm
    letter = lettered(worksheet.pieces)
    head = [
        "",
        _("Measurement"),
        _("Target"),
        _("Fine within"),
        *(_("Reading {n}").format(n=k + 1) for k in range(_READINGS)),
    ]
    widths = [8 * mm, 0.0, 20 * mm, 20 * mm, *[box + 2 * mm] * _READINGS]
    widths[1] = width - sum(widths)
    return [
        *section(_("Finished measurements"), room=45 * mm),
        para(
            _(
                "Block first, let it dry, lay it flat. Find the letter on the drawing; measure each one afresh up to "
                "three times, in inches."
            )
            if units == "in"
            else _(
                "Block first, let it dry, lay it flat. Find the letter on the drawing; measure each one afresh up to "
                "three times, in centimetres."
            ),
            SMALL,
        ),
        *_flats(worksheet, width, say),
        grid(
            head,
            [
                [para(letter[dimension.key], CELL_STRONG), *_dimension_row(dimension, box, units, say)]
                for dimension in _in_order(worksheet, letter)
            ],
            widths,
            right=(2, 3),
        ),
        *_long_hows([(say(dimension.label), say(dimension.how or "")) for dimension in worksheet.dimensions]),
    ]


def _in_order(worksheet: Worksheet, letter: Mapping[str, str]) -> list[WorksheetDimension]:
    """The dimensions as their letters go."""
    order = {key: index for index, key in enumerate(letter)}
    return sorted(worksheet.dimensions, key=lambda dimension: order[dimension.key])


def _flats(worksheet: Worksheet, width: float, say: _Say) -> list[Flowable]:
    """The pieces in rows, as many beside each other as the paper is wide."""
    labels = {dimension.key: say(dimension.label) for dimension in worksheet.dimensions}
    named = {key: (letter, labels[key]) for key, letter in lettered(worksheet.pieces).items()}
    scale = _DRAWN * scale_of(worksheet.pieces)
    rows: list[list[tuple[float, list[Flowable]]]] = [[]]
    for piece in worksheet.pieces:
        drawing = on_paper(schematic(piece, named, scale))
        fits = min(1.0, (width - 6) / drawing.width, _TALLEST / drawing.height)
        if fits < 1:
            drawing = on_paper(schematic(piece, named, scale), scale=fits)
        wide = drawing.width + 6
        if sum(one[0] for one in rows[-1]) + wide > width and rows[-1]:
            rows.append([])
        name = cut(say(piece.label))
        caption = name if piece.known else _("{piece}, not to scale").format(piece=name)
        rows[-1].append((wide, [plot(drawing), para(caption, CELL_SMALL)]))
    return [
        Table(
            [[cell for _wide, cell in row]],
            colWidths=[wide for wide, _cell in row],
            hAlign="LEFT",
            spaceAfter=4,
            style=[
                ("VALIGN", (0, 0), (-1, -1), "BOTTOM"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 0),
            ],
        )
        for row in rows
        if row
    ]


def _dimension_row(dimension: WorksheetDimension, box: float, units: LengthUnit, say: _Say) -> list[Any]:
    return [
        _with_how(say(dimension.label), say(dimension.how or "")),
        _length(dimension.target, units),
        f"±{format_length(dimension.tolerance, units)}",
        *(Box(box, _BOX) for _reading in range(_READINGS)),
    ]


def _cautions(worksheet: Worksheet) -> list[Flowable]:
    return [para(caution.sentence, SMALL) for caution in worksheet.cautions]
