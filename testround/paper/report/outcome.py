"""What the pieces took, what was decided, what is left to ask, and how it was worked out."""

from __future__ import annotations

from collections import defaultdict

from reportlab.lib.units import mm

from testround.kernel.findings import Verdict
from testround.kernel.round import Remark, RemarkKind
from testround.kernel.words import commas, ngettext, pgettext, spoken
from testround.kernel.words import gettext as _
from testround.paper.method import METHOD
from testround.paper.plots import Amounts, Plot, amount_plot
from testround.paper.plots.base import counted
from testround.paper.report.blocks import Block, BySize, Grid, Picture, Pictures, Section, Text
from testround.paper.report.case import UNKNOWN, Case
from testround.paper.report.data import amounts_of, column_name, needs_by_size

MOST_REMARKS = 200
"""In the table of remarks; a round of hundreds would fill pages, and the desk has every one."""


def yarn_and_hours(case: Case) -> list[Section]:
    """Yarn and hours by size: printed, taken, and recommended."""
    taken = case.analysis.taken
    sections = []
    for amount in taken.amounts:
        data = amounts_of(amount, case.names)
        name = _("yarn, m") if amount.kind == "yarn" else _("hours")
        columns = list(amount.typical)
        made = ngettext("From {n} piece.", "From {n} pieces.", amount.makers).format(n=amount.makers)
        rows = tuple(
            (row, tuple(values.get(column, UNKNOWN) for column in columns)) for row, values in amount.table
        )
        blocks: list[Block] = [
            BySize(tuple(map(column_name, columns)), rows, head=name, caption=made),
            Pictures((_amount_picture(data),), "", ident=f"amount-{amount.kind}"),
        ]
        guess = taken.guess(amount.kind)
        if guess is not None:
            blocks.append(Text(spoken(guess.sentence)))
        sections.append(Section(amount.kind, data.title, tuple(blocks), room=120 * mm))
    if taken.parts:
        parts = tuple(
            (
                case.told(one.label),
                str(one.makers),
                f"{one.stitches_an_hour:.0f}",
                f"{100 * one.share:.0f} %",
            )
            for one in taken.parts
        )
        head = (
            pgettext("of a garment", "Part"),
            _("Makers"),
            _("Stitches an hour"),
            _("Share of the hours"),
        )
        table = Grid(head, parts, (0.34, 0.16, 0.25, 0.25), right=(1, 2, 3))
        sections.append(Section("parts", _("Hours by part"), (table,), level=2))
    return sections


def _amount_picture(data: Amounts) -> Picture:
    def draw(width: float, ident: str) -> Plot:
        return amount_plot(data, width=width, ident=ident)

    return Picture(draw, lambda width: (draw(width, "amount"),))


def questions(case: Case) -> list[Section]:
    """What testers are to be asked, for readings that are set aside until then."""
    if not case.analysis.questions:
        return []
    rows = tuple(
        (
            case.names.get(question.tester, question.tester),
            case.label(question.subject),
            case.said(question.sentence),
        )
        for question in case.analysis.questions
    )
    blocks: tuple[Block, ...] = (
        Text(
            _("These readings are set aside until the tester has answered; nothing rests on them."), "small"
        ),
        Grid((_("Tester"), _("About"), _("Question")), rows, (0.2, 0.24, 0.56)),
    )
    return [Section("questions", _("Questions to ask testers"), blocks)]


def decided(case: Case) -> list[Section]:
    """What is published, accepted, declined and waits; nothing where only a round file is known."""
    made = case.known.decided
    if made is None:
        return []
    blocks: list[Block] = []
    where, sizes, text = _("Where"), _("Sizes"), _("Correction")
    if made.published:
        numbered = (_("Erratum"), where, sizes, text, _("Published"))
        blocks.append(
            Grid(numbered, made.published, (0.1, 0.2, 0.14, 0.4, 0.16), caption=_("Published as errata"))
        )
    if made.drafted:
        said = _("Accepted, and not published yet")
        blocks.append(Grid((where, sizes, text), made.drafted, (0.24, 0.16, 0.6), caption=said))
    if made.declined:
        head = (_("About"), _("Verdict"), _("Reason"))
        blocks.append(Grid(head, made.declined, (0.3, 0.16, 0.54), caption=_("Declined, and why")))
    if made.waiting:
        head = (_("About"), _("Verdict"), _("What is awaited"))
        blocks.append(Grid(head, made.waiting, (0.3, 0.16, 0.54), caption=_("Waiting for a decision")))
    if not blocks:
        blocks.append(Text(_("Nothing asks for a decision, and nothing has been published.")))
    return [Section("decided", _("What was decided"), tuple(blocks))]


def remarks(case: Case) -> list[Section]:
    """What testers stumbled over, by place in the text in its order; places it does not know come after."""
    order = {number.place: rank for rank, number in enumerate(case.pattern.numbers) if number.place}
    by_place: dict[str, list[tuple[str, Remark]]] = defaultdict(list)
    for tester in case.round.testers:
        for remark in tester.remarks:
            by_place[remark.place or ""].append((tester.id, remark))
    if not by_place:
        return []
    places = sorted(by_place, key=lambda place: (place == "", order.get(place, len(order)), place))
    rows = [
        (
            case.told(place) if place and first else "" if place else _("no place named") if first else "",
            remark_words(remark.kind),
            remark.text,
            case.names[tester],
        )
        for place in places
        for first, (tester, remark) in zip(
            (True, *[False] * len(by_place[place])), by_place[place], strict=False
        )
    ]
    head = (_("Where"), pgettext("of a remark", "Kind"), _("In the tester's words"), _("Tester"))
    blocks: list[Block] = [Grid(head, tuple(rows[:MOST_REMARKS]), (0.2, 0.15, 0.49, 0.16))]
    if len(rows) > MOST_REMARKS:
        said = _("{shown} of {all} remarks are shown; the errata desk has every one.")
        blocks.append(Text(said.format(shown=MOST_REMARKS, all=len(rows)), "small"))
    return [Section("remarks", _("Remarks by place in the text"), tuple(blocks))]


def remark_words(kind: RemarkKind) -> str:
    """What a remark says is wrong."""
    return {
        RemarkKind.WRONG_NUMBER: pgettext("kind of remark", "wrong number"),
        RemarkKind.UNCLEAR: pgettext("kind of remark", "unclear"),
        RemarkKind.MISSING: pgettext("kind of remark", "missing"),
        RemarkKind.TYPO: pgettext("kind of remark", "typo"),
        RemarkKind.FIT: pgettext("kind of remark", "fit"),
    }[kind]


def open_questions(case: Case) -> list[Section]:
    """Where there is too little evidence, and how many testers would settle it."""
    rows = [
        (
            case.name(finding),
            commas(finding.sizes or ()) or UNKNOWN,
            f"{case.said(finding.why)} {case.rests_on(finding)}".rstrip(),
            UNKNOWN if not finding.needs else needs_by_size(finding.needs),
        )
        for finding in case.analysis.findings.findings
        if finding.verdict is Verdict.OPEN
    ]
    rows += [
        (
            case.label(cell.dimension),
            cell.size or UNKNOWN,
            (
                _("{testers}: too little to say")
                if str(cell.verdict) == "open"
                else _("{testers}: not settled")
            ).format(testers=counted(cell.testers)),
            UNKNOWN if cell.needs is None else str(cell.needs),
        )
        for cell in case.analysis.deviations
        if str(cell.verdict) == "open" or cell.needs is not None
    ]
    if not rows:
        return []
    said = _("Where there is too little evidence, and how many further testers would settle it.")
    head = (_("About"), _("Size"), _("Why"), _("Testers needed"))
    blocks = (Text(said, "small"), Grid(head, tuple(rows), (0.3, 0.12, 0.42, 0.16), right=(3,)))
    return [Section("open", _("Open questions"), blocks)]


def thanks(case: Case) -> list[Section]:
    """Who is thanked, as they wish to be named."""
    if not case.known.thanks:
        return []
    said = _("To copy into the pattern; it follows how testers wish to be named.")
    return [Section("thanks", _("Thanks"), (Text(case.known.thanks), Text(said, "small")))]


def method() -> Section:
    """How it was worked out, with its sources and its limits."""
    texts = tuple(Text(_(text)) for text in METHOD)
    return Section("method", _("How this was worked out"), texts, room=80 * mm)
