"""The analysis of a round as text a person reads, with the evidence for each finding."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence

from testround.kernel.amounts import PER_M2, Taken
from testround.kernel.analysis import Analysis
from testround.kernel.evidence import Evidence, Explained, Figures
from testround.kernel.evidence.base import needs_said
from testround.kernel.findings import VERDICT_WORDS, Finding, FindingKind, Verdict
from testround.kernel.round import Round
from testround.kernel.units import LengthUnit, decimal, format_count, format_gauge, format_length
from testround.kernel.verdict import DeviationCell
from testround.kernel.words import commas, decimal_separator, gettext_noop, listed, ngettext, pgettext, spoken
from testround.kernel.words import gettext as _

WIDTH = 100
_SIZES_ABREAST = 7
MARK = {Verdict.AMEND: "!!", Verdict.LOOK_CLOSER: "?", Verdict.HOLDS: "ok", Verdict.OPEN: "."}
KIND = {
    FindingKind.PRINTED_COUNT: gettext_noop("printed count"),
    FindingKind.SCHEMATIC: gettext_noop("printed measurement"),
    FindingKind.WORKED_COUNT: gettext_noop("worked count"),
    FindingKind.STATED_GAUGE: gettext_noop("stated gauge"),
    FindingKind.FINISHED_SIZE: gettext_noop("finished size"),
    FindingKind.YARN: gettext_noop("yarn"),
    FindingKind.HOURS: gettext_noop("hours"),
    FindingKind.CLARITY: gettext_noop("clarity of the text"),
    FindingKind.FIT: gettext_noop("fit"),
}
UNITS = {
    "st": gettext_noop("stitches"),
    "row": gettext_noop("rows"),
    "rep": gettext_noop("repeats"),
    "m": gettext_noop("metres"),
    "h": gettext_noop("hours"),
}


def report_text(analysis: Analysis, round: Round, units: LengthUnit = "cm") -> str:
    """The report a person reads: at a glance, findings with a check by hand, questions, gauges, sizes by
    dimensions, and the figures behind the findings.

    Parameters
    ----------
    analysis : Analysis
    round : Round
        The round it is the analysis of.
    units : {"cm", "in"}
        What lengths are shown in.

    Returns
    -------
    str
        Plain text of at most 100 columns where names allow, ending in a line break.
    """
    document = analysis.findings
    explained = Explained(analysis, round, units)
    found = explained.all()
    named = _("{pattern}, edition {edition}").format(
        pattern=document.pattern.title, edition=document.pattern.edition
    )
    lines = [named, ""]
    lines += _glance(analysis)
    pressing = [f for f in document.findings if f.verdict in (Verdict.AMEND, Verdict.LOOK_CLOSER)]
    lines += _section(_("Findings"))
    if not pressing:
        lines.append(_("Nothing to amend or to look at more closely."))
    for finding in pressing:
        lines += [*_finding(finding, units), *_evidence(found[finding.id]), ""]
    rest = [f for f in document.findings if f.verdict in (Verdict.HOLDS, Verdict.OPEN)]
    if rest:
        lines += _section(_("What holds, and what is open"))
        lines += [line for finding in rest for line in _brief(finding, found[finding.id])]
    if analysis.questions:
        lines += _section(_("Questions to ask testers"))
        for question in analysis.questions:
            lines += _wrapped(f"{question.tester}: {question.sentence}")
    if analysis.odd_sizes:
        lines += _section(_("To check in the pattern's own measurements"))
        for odd in analysis.odd_sizes:
            lines += _wrapped(odd.doubt.sentence)
    if analysis.gauges:
        lines += _section(_("Gauges, per 10 cm"))
        lines += _gauges(analysis)
    if analysis.taken.amounts or analysis.taken.guesses:
        lines += _section(_("Yarn and hours"))
        lines += _taken(analysis.taken)
    if analysis.deviations:
        lines += _section(_("Sizes by measurements"))
        lines += _matrix(analysis.deviations, units)
    behind = [(finding, found[finding.id].figures) for finding in (*pressing, *rest)]
    shown = [
        line
        for finding, figures in behind
        if figures is not None
        for line in _figures(figures, rows=finding in pressing)
    ]
    if shown:
        lines += _section(_("The figures behind it, for a technical editor"))
        lines += shown
    return "\n".join(lines).rstrip() + "\n"


def _glance(analysis: Analysis) -> list[str]:
    document = analysis.findings
    people = len({cell.tester for cell in document.cells})
    measurements = ngettext(
        "{n} finished measurement", "{n} finished measurements", len(document.cells)
    ).format(n=len(document.cells))
    count = {verdict: sum(f.verdict is verdict for f in document.findings) for verdict in Verdict}
    lines = [
        ngettext("{measurements} by {n} tester.", "{measurements} by {n} testers.", people).format(
            measurements=measurements, n=people
        ),
        _(
            "To amend: {amend}. To look at more closely: {look_closer}. Holding: {holds}. Open: {open}. "
            "Questions to testers: {questions}."
        ).format(
            amend=count[Verdict.AMEND],
            look_closer=count[Verdict.LOOK_CLOSER],
            holds=count[Verdict.HOLDS],
            open=count[Verdict.OPEN],
            questions=len(analysis.questions),
        ),
    ]
    if not analysis.converged:
        lines += _wrapped(_("The estimate had not settled when it was stopped: take its figures as rough."))
    return lines


def _section(title: str) -> list[str]:
    return ["", title, "-" * len(title), ""]


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent or "    ") or [""]


def _finding(finding: Finding, units: LengthUnit) -> list[str]:
    kind = _(KIND[finding.kind])
    lines = [f"{VERDICT_WORDS[finding.verdict].upper()}  {kind}: {finding.subject}  [{finding.id}]"]
    lines += _wrapped(spoken(finding.why), "    ")
    if finding.estimate is not None:
        found = _("Off by {estimate}")
        low = high = allowed = ""
        if finding.interval is not None:
            low, high = (_amount(end, finding.unit, units) for end in finding.interval)
            found = _("Off by {estimate} (between {low} and {high})")
        if finding.tolerance is not None:
            allowed = _amount(finding.tolerance, finding.unit, units, signed=False)
            found = "; ".join([found, _("allowed {allowed}")])
        estimate = _amount(finding.estimate, finding.unit, units)
        said = found.format(estimate=estimate, low=low, high=high, allowed=allowed)
        lines += _wrapped(f"{said}.", "    ")
    if finding.needs:
        needs = _("More testers that would settle it: {needs}.")
        lines += _wrapped(needs.format(needs=needs_said(finding.needs)), "    ")
    if finding.now and finding.proposed:
        lines += _table(finding, units)
    if finding.follows:
        lines += _wrapped(_("What follows from it:"), "    ")
        for key, by_size in finding.follows.items():
            shown = ", ".join(f"{size} {format_count(n)}" for size, n in by_size.items())
            lines += _wrapped(f"{key}: {shown}", "      ")
    return lines


def _table(finding: Finding, units: LengthUnit) -> list[str]:
    assert finding.now is not None  # noqa: S101 — asked by the caller; this tells the type checker
    assert finding.proposed is not None  # noqa: S101
    length = finding.kind is FindingKind.SCHEMATIC

    def shown(value: float | None) -> str:
        if value is None:
            return "-"
        return format_length(value, units) if length else format_count(value)

    columns = list(finding.now)
    heads = [_head(column) for column in columns]
    rows: list[tuple[str, Mapping[str, float]]] = [(_("now"), finding.now), (_("proposed"), finding.proposed)]
    if finding.computed:
        rows.append((_("by formula"), finding.computed))
    of = finding.proposed_for or finding.subject
    table = [[of, *heads], *([name, *(shown(values.get(c)) for c in columns)] for name, values in rows)]
    return _aligned(table, "    ")


def _head(size: str) -> str:
    """What stands over the column of a size, or of what stands for one."""
    said = {PER_M2: _("per m²"), "stitches": _("stitches"), "rows": _("rows")}
    return said.get(size, size)


def _aligned(table: Sequence[Sequence[str]], indent: str = "") -> list[str]:
    widths = [max(len(row[j]) for row in table) for j in range(len(table[0]))]
    return [
        (
            indent
            + row[0].ljust(widths[0])
            + "".join(f"  {cell.rjust(w)}" for cell, w in zip(row[1:], widths[1:], strict=True))
        ).rstrip()
        for row in table
    ]


def _brief(finding: Finding, evidence: Evidence) -> list[str]:
    return _wrapped(" ".join([f"{VERDICT_WORDS[finding.verdict]}: {spoken(finding.why)}", *evidence.rests]))


def _evidence(evidence: Evidence) -> list[str]:
    """The check by hand, a line for each step."""
    lines = _wrapped(" ".join([_("To check by hand."), evidence.lead]), "    ")
    for step in evidence.steps:
        lines += textwrap.wrap(str(step), WIDTH, initial_indent="      - ", subsequent_indent="        ")
    return lines + _wrapped(" ".join(evidence.close), "    ")


def _figures(figures: Figures, *, rows: bool) -> list[str]:
    """The single figures of a finding, and with ``rows`` the table as well."""
    if not rows and not figures.facts:
        return []
    lines = _wrapped(f"{figures.caption}:")
    if rows and figures.rows:
        lines += _aligned([figures.head, *figures.rows], "  ")
    if rows and figures.more:
        more = ngettext(
            "and {n} more that is less far off; the findings file has every one.",
            "and {n} more that are less far off; the findings file has every one.",
            figures.more,
        )
        lines.append(f"  {more.format(n=figures.more)}")
    if figures.facts:
        lines += _wrapped("; ".join(f"{name} {value}" for name, value in figures.facts) + ".", "  ")
    return [*lines, ""]


def _amount(value: float, unit: str | None, units: LengthUnit, *, signed: bool = True) -> str:
    if unit == "cm":
        return format_length(value, units, signed=signed)
    sign = "+" if signed and value > 0 else ""
    number = f"{value:.0f}" if unit in ("m", "h") else f"{value:.2f}".rstrip("0").rstrip(".")
    word = _(UNITS[unit]) if unit in UNITS else unit or ""
    return f"{sign}{number.replace('.', decimal_separator())} {word}".rstrip()


def _gauges(analysis: Analysis) -> list[str]:
    table = [
        [
            _("gauge"),
            pgettext("of a gauge", "stated"),
            pgettext("the testers' gauge", "testers'"),
            pgettext("of two ends", "between"),
            pgettext("how many", "testers"),
            _("verdict"),
        ]
    ]
    for gauge in analysis.gauges:
        name = ", ".join([gauge.gauge, _("stitches") if gauge.axis == "st" else _("rows")])
        known = gauge.estimate is not None and gauge.low is not None and gauge.high is not None
        table.append(
            [
                name,
                format_gauge(gauge.stated),
                decimal(gauge.estimate or 0.0, ".1f") if known else "-",
                listed(decimal(end or 0.0, ".1f") for end in (gauge.low, gauge.high)) if known else "-",
                str(gauge.testers),
                VERDICT_WORDS[gauge.verdict],
            ]
        )
    lines = _aligned(table)
    without = sorted({own.tester for own in analysis.own_gauges if own.source != "blocked"})
    if without:
        lines += [
            "",
            *_wrapped(
                _("Without a blocked swatch of every gauge: {testers}.").format(testers=commas(without))
            ),
        ]
    return lines


def _taken(taken: Taken) -> list[str]:
    lines: list[str] = []
    for amount in taken.amounts:
        table = amount.table
        columns = list(amount.typical)
        name = _("yarn, m") if amount.kind == "yarn" else _("hours")
        for start in range(0, len(columns), _SIZES_ABREAST):
            part = columns[start : start + _SIZES_ABREAST]
            lines += _aligned(
                [[name, *map(_head, part)], *([row, *(by.get(c, "-") for c in part)] for row, by in table)]
            )
            lines.append("")
        pieces = ngettext("From {n} piece.", "From {n} pieces.", amount.makers)
        lines += [pieces.format(n=amount.makers), ""]
    for part_pace in taken.parts:
        pace = ngettext(
            "{part}: {stitches} stitches an hour, {share} of the hours ({n} maker).",
            "{part}: {stitches} stitches an hour, {share} of the hours ({n} makers).",
            part_pace.makers,
        )
        lines += _wrapped(
            pace.format(
                part=part_pace.label,
                stitches=f"{part_pace.stitches_an_hour:.0f}",
                share=f"{100 * part_pace.share:.0f} %",
                n=part_pace.makers,
            )
        )
    if taken.parts:
        lines.append("")
    for guess in taken.guesses:
        lines += _wrapped(guess.sentence)
    return lines


def _matrix(cells: Sequence[DeviationCell], units: LengthUnit) -> list[str]:
    sizes = list(dict.fromkeys(cell.size for cell in cells))
    keys = list(dict.fromkeys(cell.dimension for cell in cells))
    at = {(cell.dimension, cell.size): cell for cell in cells}
    table = [["", *(size or pgettext("all sizes", "all") for size in sizes)]]
    for key in keys:
        table.append([key, *(_in_matrix(at[key, size], units) for size in sizes)])
    open_cells = sum(cell.verdict is Verdict.OPEN for cell in cells)
    unmade = [str(s) for s in sizes if s and not any(at[key, s].testers for key in keys)]
    lines = _aligned(table)
    lines += [
        "",
        _(
            "The pattern's own deviation in {unit}: !! to amend, ? to look at, ok holds, . open; in brackets: no tester."
        ).format(unit=units),
    ]
    if open_cells:
        are_open = ngettext("{n} of {cells} are open.", "{n} of {cells} are open.", open_cells)
        lines.append(are_open.format(n=open_cells, cells=len(cells)))
    if unmade:
        lines += _wrapped(
            _("Nobody has measured a piece in size {sizes}: borrowed from the others.").format(
                sizes=commas(unmade)
            )
        )
    return lines


def _in_matrix(cell: DeviationCell, units: LengthUnit) -> str:
    if cell.estimate is None:
        return "-"
    value = cell.estimate / 2.54 if units == "in" else cell.estimate
    value = round(value, 1) or 0.0  # no -0.0
    text = f"{decimal(value, '+.1f')}{MARK[cell.verdict]}"
    return text if cell.testers else f"({text})"
