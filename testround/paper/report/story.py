"""The report of a round as a PDF: what came out wrong, whose fault it is, and the numbers that would be right."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from reportlab.lib.units import mm
from reportlab.platypus import Paragraph, Spacer, Table

from testround.kernel.evidence import Explained, Figures
from testround.kernel.findings import VERDICT_WORDS, Finding, FindingKind, Verdict
from testround.kernel.gauge_region import GaugeRegion, drawn_region
from testround.kernel.round import Dimension, Pattern, Round, StatedGauge
from testround.kernel.sheet import Sheet
from testround.kernel.units import (
    GaugeSpan,
    LengthUnit,
    decimal,
    format_count,
    format_gauge,
    format_length,
    lengths_in,
)
from testround.kernel.words import and_more, commas, gettext_noop, ngettext, pgettext, spoken
from testround.kernel.words import gettext as _
from testround.paper.document import (
    BODY,
    CELL,
    CELL_HEAD,
    SMALL,
    STEP,
    SUBTITLE,
    Cover,
    Flowable,
    Heading,
    build,
    by_size,
    capital,
    figures,
    grid,
    para,
    paragraphs,
    section,
    words,
)
from testround.paper.gauge_data import gauges_of
from testround.paper.method import METHOD, UNSETTLED
from testround.paper.plots import (
    Deviations,
    Gauges,
    Plot,
    amount_plot,
    deviation_plot,
    gauge_plot,
    gauge_to_a_tenth,
    parts_bars,
)
from testround.paper.plots.base import counted, own_size
from testround.paper.report.data import (
    Deviation,
    amounts_of,
    column_name,
    deviations_of,
    labels_of,
    names_of_testers,
    needs_by_size,
    parts_of,
)

if TYPE_CHECKING:
    from testround.kernel.analysis import Analysis, DeviationCell

UNKNOWN = "–"
MOST_TESTERS_SHOWN = 60
"""Of one dimension. More would fill pages nobody reads; the findings file has every one."""
MOST_NAMED = 30
_SCALE = 0.75
"""Points to a unit of a plot: its lettering is as large as that of the tables."""
_TALLEST_PLOT = 800.0
_BARS_ABREAST = 28

# Beside a deviation in a cell of the table at a glance; words would not fit nine sizes.
_SIGNS = {"amend": "!", "look-closer": "?", "holds": "=", "open": "…"}

_UNITS = {
    "st": gettext_noop("stitches"),
    "row": gettext_noop("rows"),
    "rep": gettext_noop("repeats"),
    "m": gettext_noop("metres"),
    "h": gettext_noop("hours"),
}
# Of the others the report has every tester's figures already, or the finding says all there is.
_WITH_TABLE = (FindingKind.WORKED_COUNT, FindingKind.YARN, FindingKind.HOURS)


def _kind(kind: FindingKind) -> str:
    """What kind of thing a finding is about."""
    return {
        FindingKind.PRINTED_COUNT: pgettext("kind of finding", "printed count"),
        FindingKind.SCHEMATIC: pgettext("kind of finding", "printed measurement"),
        FindingKind.WORKED_COUNT: pgettext("kind of finding", "count worked"),
        FindingKind.STATED_GAUGE: pgettext("kind of finding", "stated gauge"),
        FindingKind.FINISHED_SIZE: pgettext("kind of finding", "finished size"),
        FindingKind.YARN: pgettext("kind of finding", "yarn"),
        FindingKind.HOURS: pgettext("kind of finding", "hours"),
        FindingKind.CLARITY: pgettext("kind of finding", "clarity of the text"),
        FindingKind.FIT: pgettext("kind of finding", "fit"),
    }[kind]


def _unit(unit: str) -> str:
    """A unit in full; one that is not known as it is."""
    return _(_UNITS[unit]) if unit in _UNITS else unit


def report_pdf(analysis: Analysis, round: Round, *, paper: str = "A4", units: LengthUnit = "cm") -> bytes:
    """The report of a round as a PDF.

    Parameters
    ----------
    analysis : Analysis
        What `testround.kernel.analysis.analyse` says of ``round``.
    round : Round
        The round itself, for the names of things and people.
    paper : {"A4", "Letter"}
    units : {"cm", "in"}
        How lengths are written; gauges are over 10 cm or 4 in accordingly.

    Raises
    ------
    PaperError
        A paper that is not known.
    """
    report = _Report(analysis, round, units)
    cover = Cover(
        title=f"{round.pattern.title}: {round.round.title}",
        author="Testround",
        subject=_("Report of the test round, edition {edition}").format(edition=round.pattern.edition),
        running=_("Report of the round"),
    )
    return build(report.story, paper=paper, cover=cover)


class _Report:
    """The parts of one report; each method gives the flowables of one section."""

    def __init__(self, analysis: Analysis, round_: Round, units: LengthUnit) -> None:
        self.analysis = analysis
        self.round = round_
        self.pattern: Pattern = round_.pattern
        self.units = units
        self.over: GaugeSpan = "4in" if units == "in" else "10cm"
        self.names = names_of_testers(round_)
        self.labels = labels_of(self.pattern)
        self.numbers = {number.key: number for number in self.pattern.numbers}
        self.explained = Explained(analysis, round_, units, self.names)
        asked = {(question.tester, key) for question in analysis.questions for key in question.about}
        self.cells: dict[str, list[Deviation]] = {}
        for cell in analysis.findings.cells:
            found = Deviation(
                cell, self.names.get(cell.tester, cell.tester), (cell.tester, cell.dimension) in asked
            )
            self.cells.setdefault(cell.dimension, []).append(found)

    def story(self, width: float) -> list[Flowable]:
        return [
            Heading(
                self.pattern.title,
                0,
                outline=_("{pattern}: report of the round").format(pattern=self.pattern.title),
            ),
            para(
                _("{round} · edition {edition}").format(
                    round=self.round.round.title, edition=self.pattern.edition
                ),
                SUBTITLE,
            ),
            *self.at_a_glance(width),
            *self.findings(width),
            *self.questions(width),
            *self.gauges(width),
            *self.dimensions(width),
            *self.yarn_and_hours(width),
            *self.open_questions(width),
            *self.method(),
        ]

    # At a glance ------------------------------------------------------------------------------------------

    def at_a_glance(self, width: float) -> list[Flowable]:
        findings = self.analysis.findings.findings
        measured = len({cell.tester for cell in self.analysis.findings.cells})
        by_verdict = Counter(finding.verdict for finding in findings)
        rows: list[list[str | Flowable]] = [
            [
                capital(VERDICT_WORDS[verdict]),
                str(by_verdict[verdict]),
                para(self.about(verdict), CELL),
            ]
            for verdict in Verdict
        ]
        people = len(self.round.testers)
        sent = ngettext(
            "{n} tester, of whom {measured} sent finished measurements.",
            "{n} testers, of whom {measured} sent finished measurements.",
            people,
        ).format(n=people, measured=measured)
        asks = _("{amend} to amend, {closer} to look at more closely.").format(
            amend=by_verdict[Verdict.AMEND], closer=by_verdict[Verdict.LOOK_CLOSER]
        )
        return [
            *section(_("At a glance")),
            para(f"{sent} {asks}"),
            *([] if self.analysis.converged else [para(_(UNSETTLED))]),
            grid([_("Verdict"), "", _("About")], rows, [28 * mm, 10 * mm, width - 38 * mm], right=(1,)),
            *self.matrix(width),
        ]

    def about(self, verdict: Verdict) -> str:
        """What has that verdict, each thing once; of very many, the first."""
        findings = self.analysis.findings.findings
        names = list(dict.fromkeys(self.name(finding) for finding in findings if finding.verdict is verdict))
        if not names:
            return pgettext("of findings", "none")
        return and_more(names[:MOST_NAMED], len(names) - MOST_NAMED)

    def matrix(self, width: float) -> list[Flowable]:
        """Dimensions down, sizes across: the pattern's own deviation and its verdict."""
        cells = {(cell.dimension, cell.size): cell for cell in self.analysis.deviations}
        if not cells:
            return []
        sizes: Sequence[str | None] = self.pattern.sizes or (None,)
        rows = [
            (dimension.label, [self.matrix_cell(cells.get((dimension.key, size))) for size in sizes])
            for dimension in self.pattern.dimensions
        ]
        legend = commas(f"{_SIGNS[verdict]} {VERDICT_WORDS[verdict]}" for verdict in _SIGNS)
        said = _(
            "How far off the pattern itself is, in {unit}: what counts and gauges do not explain. {legend}."
        )
        return [
            para(said.format(unit=self.units, legend=legend), SMALL),
            *by_size([size or pgettext("all sizes", "all") for size in sizes], rows, width),
        ]

    def matrix_cell(self, cell: DeviationCell | None) -> str:
        if cell is None:
            return UNKNOWN
        sign = _SIGNS.get(str(cell.verdict), "")
        if cell.estimate is None:
            return sign or UNKNOWN
        # The sign stays with its figure when a narrow column wraps.
        bare = self.signed(cell.estimate).rsplit(" ", 1)[0].replace(" ", "\u00a0")
        return f"{bare}\u00a0{sign}"

    # Findings ---------------------------------------------------------------------------------------------

    def findings(self, width: float) -> list[Flowable]:
        findings = self.analysis.findings.findings
        pressing = [
            finding for finding in findings if finding.verdict in (Verdict.AMEND, Verdict.LOOK_CLOSER)
        ]
        holding = [finding for finding in findings if finding.verdict is Verdict.HOLDS]
        parts: list[Flowable] = [*section(_("Findings"))]
        if not pressing:
            parts.append(para(_("Nothing to amend and nothing to look at more closely.")))
        for index, finding in enumerate(pressing, start=1):
            parts += self.finding(index, finding, width)
        if holding:
            parts += [
                *section(_("What holds"), 2),
                grid(
                    [_("About"), _("Why")],
                    [
                        [
                            f"{self.name(finding)} ({_kind(finding.kind)})",
                            f"{self.said(finding.why)} {self.rests_on(finding)}".rstrip(),
                        ]
                        for finding in holding
                    ],
                    [width * 0.34, width * 0.66],
                ),
            ]
        return parts

    def finding(self, index: int, finding: Finding, width: float) -> list[Flowable]:
        heading = f"{index}. {self.name(finding)}: {VERDICT_WORDS[finding.verdict]}"
        return [
            *section(heading, 2, room=40 * mm),
            *paragraphs(self.said(finding.why)),
            para(self.in_short(finding), SMALL),
            *self.correction(finding, width),
            *self.check(finding, width),
            Spacer(1, 4),
        ]

    def check(self, finding: Finding, width: float) -> list[Flowable]:
        """What a finding rests on: the check by hand, and figures that no other part of the report has."""
        found = self.explained.of(finding.id)
        steps = [Paragraph(words(str(step)), STEP, bulletText="–") for step in found.steps]
        parts: list[Flowable] = [
            para(_("Check it by hand"), CELL_HEAD),
            para(found.lead, SMALL),
            *steps,
            para(" ".join(found.close), SMALL),
        ]
        if found.figures is not None and finding.kind in _WITH_TABLE:
            parts += self.figures(found.figures, width)
        return parts

    def figures(self, shown: Figures, width: float) -> list[Flowable]:
        """A table of testers with the single figures below it."""
        first = width * 0.24
        each = min((width - first) / max(len(shown.head) - 1, 1), 34 * mm)
        rows = [list(row) for row in shown.rows]
        parts: list[Flowable] = []
        if rows:
            columns = [first, *[each] * (len(shown.head) - 1)]
            parts += [
                para(shown.caption, SMALL),
                grid(shown.head, rows, columns, right=range(2, len(shown.head))),
            ]
        parts += _shown(len(shown.rows) + shown.more)
        return parts + self.facts(shown)

    def facts(self, shown: Figures) -> list[Flowable]:
        said = " · ".join(f"{name} {value}" for name, value in shown.facts)
        return [para(said, SMALL)] if said else []

    def in_short(self, finding: Finding) -> str:
        """Kind, sizes, estimate, interval, tolerance and testers of a finding, as far as it has them."""
        said = [_kind(finding.kind)]
        if finding.sizes and self.pattern.sizes:
            every = len(finding.sizes) == len(self.pattern.sizes)
            named = ngettext("size {sizes}", "sizes {sizes}", len(finding.sizes))
            said.append(_("every size") if every else named.format(sizes=commas(finding.sizes)))
        if finding.estimate is not None:
            off = self.amount(finding.estimate, finding, signed=True)
            said.append(_("off by {estimate}").format(estimate=off))
        if finding.interval is not None:
            low, high = (self.amount(end, finding, signed=True) for end in finding.interval)
            said.append(_("95 % interval {low} to {high}").format(low=low, high=high))
        if finding.tolerance is not None:
            fine = self.amount(finding.tolerance, finding)
            said.append(_("tolerance ±{tolerance}").format(tolerance=fine))
        if finding.testers:
            said.append(counted(finding.testers))
        if finding.needs:
            wanted = _("further testers that would settle it: {needs}")
            said.append(wanted.format(needs=needs_by_size(finding.needs)))
        return " · ".join(said)

    def rests_on(self, finding: Finding) -> str:
        """The sentence on what a verdict rests on, or what it lacks."""
        return " ".join(self.explained.of(finding.id).rests)

    def correction(self, finding: Finding, width: float) -> list[Flowable]:
        """What is printed and what should be, size by size, and what follows from it."""
        rows = [
            (name, values)
            for name, values in (
                (pgettext("a correction", "was"), finding.now),
                (pgettext("a correction", "now"), finding.proposed),
                (_("by the formula"), finding.computed),
            )
            if values
        ]
        if not rows:
            return []
        target = finding.proposed_for or finding.subject
        unit = self.unit_of(target, finding)
        columns = self.in_order(name for _, values in rows for name in values)
        where = self.labels.get(target, target)
        place = self.numbers[target].place if target in self.numbers else None
        said = None
        if unit == "gauge":
            said = _("over {span}").format(span=self.span)
        elif unit in _UNITS:
            said = _unit(unit)
        caption = ", ".join(part for part in (where, place, said) if part)
        parts = by_size(
            [column_name(name) for name in columns],
            [(name, self.values(values, columns, unit)) for name, values in rows],
            width,
            caption=caption,
        )
        if finding.follows:
            names = self.in_order(size for values in finding.follows.values() for size in values)
            parts += by_size(
                [column_name(name) for name in names],
                [
                    (self.labels.get(key, key), self.values(values, names, self.unit_of(key, None)))
                    for key, values in finding.follows.items()
                ],
                width,
                caption=_("What the numbers become:"),
            )
        return parts

    def values(self, values: Mapping[str, float], columns: Sequence[str], unit: str) -> list[str]:
        return [UNKNOWN if name not in values else self.value(values[name], unit) for name in columns]

    def value(self, value: float, unit: str) -> str:
        if unit == "cm":
            return format_length(value, self.units)
        if unit == "gauge":
            return format_gauge(value, self.over)
        return format_count(value)

    def unit_of(self, key: str, finding: Finding | None) -> str:
        if finding is not None and finding.kind is FindingKind.STATED_GAUGE:
            return "gauge"
        if key in self.numbers:
            return self.numbers[key].unit
        if any(dimension.key == key for dimension in self.pattern.dimensions):
            return "cm"
        return (finding.unit if finding else None) or "count"

    # Questions --------------------------------------------------------------------------------------------

    def questions(self, width: float) -> list[Flowable]:
        if not self.analysis.questions:
            return []
        rows = [
            [
                self.names.get(question.tester, question.tester),
                self.labels.get(question.subject, question.subject),
                self.said(question.sentence),
            ]
            for question in self.analysis.questions
        ]
        return [
            *section(_("Questions to ask testers")),
            para(
                _("These readings are set aside until the tester has answered; nothing rests on them."), SMALL
            ),
            grid([_("Tester"), _("About"), _("Question")], rows, [width * 0.2, width * 0.24, width * 0.56]),
        ]

    # Gauges -----------------------------------------------------------------------------------------------

    def gauges(self, width: float) -> list[Flowable]:
        parts: list[Flowable] = []
        sheet = Sheet(self.pattern)
        for gauge in self.pattern.gauges:
            region = drawn_region(sheet, gauge.key)
            data = gauges_of(self.analysis, self.round, gauge, self.names, region, self.over)
            if not data.points:
                continue
            plot = gauge_plot(_most(data), units=self.units, width=min(width, 330) / _SCALE)
            parts += [
                *section(_("Gauge: {name}").format(name=gauge.label), 1, room=120 * mm),
                _left(plot),
                *self.region_words(plot.notes, region),
                *(figures(plot.summary, width) if plot.summary else []),
                *self.gauge_verdicts(gauge),
                *figures(plot.table, width),
                *_shown(len(data.points)),
            ]
        return parts

    def region_words(self, notes: Sequence[str], region: GaugeRegion | None) -> list[Flowable]:
        said = [f"{letter}. {words}" for letter, words in zip("ABCD", notes, strict=False)]
        if said:
            said.insert(0, _("In the shaded region every measurement of every size keeps its tolerance."))
        if region and region.beyond:
            out = " ".join(self.said(one.sentence()) for one in region.beyond[:MOST_NAMED])
            left = _("Even at the stated gauge, by the printed numbers, and left out here: {measurements}")
            said.append(left.format(measurements=out))
        return [para(words, SMALL) for words in said]

    def gauge_verdicts(self, gauge: StatedGauge) -> list[Flowable]:
        said = [
            (
                _("Stitches: {verdict}, {testers}.")
                if found.axis == "st"
                else _("Rows: {verdict}, {testers}.")
            ).format(
                verdict=VERDICT_WORDS.get(str(found.verdict), str(found.verdict)),
                testers=counted(found.testers),
            )
            for found in self.analysis.gauges
            if found.gauge == gauge.key
        ]
        return [para(" ".join(said), SMALL)] if said else []

    # Dimensions -------------------------------------------------------------------------------------------

    def dimensions(self, width: float) -> list[Flowable]:
        parts: list[Flowable] = []
        for dimension in self.pattern.dimensions:
            found = self.cells.get(dimension.key, [])
            if not found:
                continue
            parts += self.dimension(dimension, found, width)
        return parts

    def dimension(self, dimension: Dimension, found: list[Deviation], width: float) -> list[Flowable]:
        shown = _worst(found)
        data = deviations_of(self.analysis, self.pattern, dimension, shown)
        half = (width - 10) / 2
        points = _plots(data, self.units, half / _SCALE)
        bars = parts_of(self.pattern, dimension, shown)
        split = [
            parts_bars(
                replace(bars, bars=bars.bars[start : start + _BARS_ABREAST]),
                units=self.units,
                width=half / _SCALE,
            )
            for start in range(0, len(bars.bars), _BARS_ABREAST)
        ]
        pairs = [
            [part[k].flowable(scale=_SCALE) if k < len(part) else "" for part in (points, split)]
            for k in range(max(len(points), len(split)))
        ]
        summary = deviation_plot(data, units=self.units).summary
        tallest = max(plot.drawing.height * _SCALE for plot in (points[0], *split[:1]))
        return [
            *section(_("Dimension: {name}").format(name=dimension.label), 1, room=tallest + 20 * mm),
            para(
                _(
                    "Left: what is left over of each tester's difference after counts and gauge, against the "
                    "tolerance. Right: the difference in its three parts."
                ),
                SMALL,
            ),
            *(_abreast(pair, half) for pair in pairs),
            *(figures(summary, width) if summary else []),
            para(
                _(
                    "Every tester's piece, in {unit}: measured − target = counts + gauge + left. ± is the standard "
                    "uncertainty of what is left; believed, from 0 to 1, is how far it was counted."
                ).format(unit=self.units),
                SMALL,
            ),
            self.tester_table(dimension, shown, width),
            *_shown(len(found)),
            *self.dimension_facts(dimension),
        ]

    def tester_table(self, dimension: Dimension, found: list[Deviation], width: float) -> Flowable:
        rows = []
        for deviation in found:
            cell, parts = deviation.cell, deviation.cell.parts
            after = cell.target + parts.counts
            believed = self.explained.belief.get((cell.tester, cell.dimension))
            rows.append(
                [
                    _("{tester} (to be asked)").format(tester=deviation.tester)
                    if deviation.asked
                    else deviation.tester,
                    own_size(cell.size),
                    *(self.bare(cm) for cm in (cell.target, after, after + parts.gauge, cell.measured)),
                    *(self.bare(cm, signed=True) for cm in (parts.counts, parts.gauge, parts.remainder)),
                    self.bare(cell.uncertainty),
                    UNKNOWN if believed is None else decimal(believed, ".2f"),
                ]
            )
        # About millimetres of A4; the words of the head decide.
        shares = [31, 11, *[17] * 4, *[12] * 4, 17]
        return grid(
            [
                _("Tester"),
                _("Size"),
                pgettext("a column of a piece's figures", "Target"),
                pgettext("a column of a piece's figures", "Worked"),
                pgettext("a column of a piece's figures", "Expected"),
                pgettext("a column of a piece's figures", "Measured"),
                pgettext("a column of a piece's figures", "Counts"),
                pgettext("a column of a piece's figures", "Gauge"),
                pgettext("a column of a piece's figures", "Left"),
                "±",
                pgettext("a column of a piece's figures", "Believed"),
            ],
            rows,
            [width * share / sum(shares) for share in shares],
            right=range(2, 11),
        )

    def bare(self, cm: float, *, signed: bool = False) -> str:
        """A length without its unit, which the caption has."""
        return format_length(cm, self.units, signed=signed).rsplit(" ", 1)[0]

    def dimension_facts(self, dimension: Dimension) -> list[Flowable]:
        """The figures of the estimate, with what each means said in the method's part."""
        finding = self.explained.by_id.get(f"finished-size:{dimension.key}")
        if finding is None:
            return []
        said = " · ".join(f"{name} {value}" for name, value in self.explained.facts(finding, dimension))
        return [para(said, SMALL)]

    # Yarn and hours ---------------------------------------------------------------------------------------

    def yarn_and_hours(self, width: float) -> list[Flowable]:
        taken = self.analysis.taken
        parts: list[Flowable] = []
        for amount in taken.amounts:
            data = amounts_of(amount, self.names)
            name = _("yarn, m") if amount.kind == "yarn" else _("hours")
            columns = list(amount.typical)
            made = ngettext("From {n} piece.", "From {n} pieces.", amount.makers)
            rows = [(row, [values.get(c, UNKNOWN) for c in columns]) for row, values in amount.table]
            plot = amount_plot(data, width=min(width, 400) / _SCALE)
            parts += [
                *section(data.title, 1, room=min(plot.drawing.height * _SCALE + 70 * mm, 220 * mm)),
                *by_size(
                    [column_name(c) for c in columns],
                    rows,
                    width,
                    head=name,
                    caption=made.format(n=amount.makers),
                ),
                Spacer(1, 6),
                _left(plot),
            ]
            guess = taken.guess(amount.kind)
            if guess is not None:
                parts.append(para(spoken(guess.sentence)))
        if taken.parts:
            rows_by_part: list[list[str | Flowable]] = [
                [one.label, str(one.makers), f"{one.stitches_an_hour:.0f}", f"{100 * one.share:.0f} %"]
                for one in taken.parts
            ]
            parts += [
                *section(_("Hours by part"), 2),
                grid(
                    [
                        pgettext("of a garment", "Part"),
                        _("Makers"),
                        _("Stitches an hour"),
                        _("Share of the hours"),
                    ],
                    rows_by_part,
                    [width * 0.34, width * 0.16, width * 0.25, width * 0.25],
                    right=(1, 2, 3),
                ),
            ]
        return parts

    # Open questions ---------------------------------------------------------------------------------------

    def open_questions(self, width: float) -> list[Flowable]:
        rows = [
            [
                self.name(finding),
                commas(finding.sizes or ()) or UNKNOWN,
                f"{self.said(finding.why)} {self.rests_on(finding)}".rstrip(),
                UNKNOWN if not finding.needs else needs_by_size(finding.needs),
            ]
            for finding in self.analysis.findings.findings
            if finding.verdict is Verdict.OPEN
        ]
        rows += [
            [
                self.labels.get(cell.dimension, cell.dimension),
                cell.size or UNKNOWN,
                (
                    _("{testers}: too little to say")
                    if str(cell.verdict) == "open"
                    else _("{testers}: not settled")
                ).format(testers=counted(cell.testers)),
                UNKNOWN if cell.needs is None else str(cell.needs),
            ]
            for cell in self.analysis.deviations
            if str(cell.verdict) == "open" or cell.needs is not None
        ]
        if not rows:
            return []
        return [
            *section(_("Open questions")),
            para(
                _("Where there is too little evidence, and how many further testers would settle it."), SMALL
            ),
            grid(
                [_("About"), _("Size"), _("Why"), _("Testers needed")],
                rows,
                [width * 0.3, width * 0.12, width * 0.42, width * 0.16],
                right=(3,),
            ),
        ]

    # Method -----------------------------------------------------------------------------------------------

    def method(self) -> list[Flowable]:
        return [
            *section(_("How this was worked out"), room=80 * mm),
            *(para(_(text), BODY) for text in METHOD),
        ]

    # Words ------------------------------------------------------------------------------------------------

    @property
    def span(self) -> str:
        return "4 in" if self.over == "4in" else "10 cm"

    def name(self, finding: Finding) -> str:
        return self.labels.get(finding.subject, finding.subject)

    def signed(self, cm: float) -> str:
        return format_length(cm, self.units, signed=True)

    def amount(self, value: float, finding: Finding, *, signed: bool = False) -> str:
        """A figure of a finding in the finding's unit."""
        if finding.unit == "cm":
            return format_length(value, self.units, signed=signed)
        plus = "+" if signed and value > 0 else ""
        unit = _unit(finding.unit or "")
        if finding.kind is FindingKind.STATED_GAUGE:
            said = _("{n} {unit} over {span}")
            return plus + said.format(n=gauge_to_a_tenth(value, self.over), unit=unit, span=self.span)
        return f"{plus}{format_count(value)} {unit}".rstrip()

    def said(self, sentence: str) -> str:
        return lengths_in(sentence, self.units)

    def in_order(self, names: Iterable[str]) -> list[str]:
        """Sizes as they are worn, then whatever else is named, in the order named."""
        given = list(dict.fromkeys(names))
        return [
            *(size for size in self.pattern.sizes if size in given),
            *(name for name in given if name not in self.pattern.sizes),
        ]


# Laying out -------------------------------------------------------------------------------------------------


def _worst(found: list[Deviation]) -> list[Deviation]:
    """As reported; of very many, those furthest off the target."""
    if len(found) <= MOST_TESTERS_SHOWN:
        return found
    ranked = sorted(range(len(found)), key=lambda k: -abs(found[k].cell.measured - found[k].cell.target))
    return [found[k] for k in sorted(ranked[:MOST_TESTERS_SHOWN])]


def _most(data: Gauges) -> Gauges:
    return replace(data, points=data.points[:MOST_TESTERS_SHOWN])


def _shown(count: int) -> list[Flowable]:
    """Says so when there are more testers than are shown."""
    if count <= MOST_TESTERS_SHOWN:
        return []
    said = _(
        "{shown} of {all} are shown; the estimates rest on all of them, and the findings file has every one."
    )
    return [para(said.format(shown=MOST_TESTERS_SHOWN, all=count), SMALL)]


def _plots(data: Deviations, units: LengthUnit, width: float) -> list[Plot]:
    """The plot of one dimension, on as many drawings as its sizes need to fit a page each."""
    plot = deviation_plot(data, units=units, width=width)
    if plot.drawing.height <= _TALLEST_PLOT or len(data.sizes) < 2:
        return [plot]
    middle = len(data.sizes) // 2
    return [
        part
        for sizes in (data.sizes[:middle], data.sizes[middle:])
        for part in _plots(
            replace(
                data,
                sizes=sizes,
                points=tuple(point for point in data.points if point.size in sizes),
                pooled=tuple(pool for pool in data.pooled if pool.size in sizes),
            ),
            units,
            width,
        )
    ]


def _left(plot: Plot) -> Flowable:
    drawing = plot.flowable(scale=_SCALE)
    drawing.hAlign = "LEFT"
    return drawing


def _abreast(pair: Sequence[object], half: float) -> Flowable:
    return Table(
        [list(pair)],
        colWidths=[half + 10, half],
        hAlign="LEFT",
        style=[
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("RIGHTPADDING", (0, 0), (-1, -1), 0),
        ],
    )
