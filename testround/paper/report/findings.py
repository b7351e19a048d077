"""What asks something of the designer: each finding with its evidence and its correction; and what holds."""

from __future__ import annotations

from reportlab.lib.units import mm

from testround.kernel.evidence import Figures
from testround.kernel.findings import VERDICT_WORDS, Finding, FindingKind, Verdict
from testround.kernel.words import commas, ngettext, pgettext
from testround.kernel.words import gettext as _
from testround.paper.plots.base import counted
from testround.paper.report.blocks import Block, BySize, Check, Grid, Section, Text
from testround.paper.report.case import UNITS, Case, shown_of, unit_in_full
from testround.paper.report.data import column_name, needs_by_size

# Of the others the report has every tester's figures already, or the finding says all there is.
_WITH_TABLE = (FindingKind.WORKED_COUNT, FindingKind.YARN, FindingKind.HOURS)


def kind_words(kind: FindingKind) -> str:
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


def findings(case: Case) -> list[Section]:
    """The findings that press, one by one, and those that hold in one table."""
    found = case.analysis.findings.findings
    pressing = [finding for finding in found if finding.verdict in (Verdict.AMEND, Verdict.LOOK_CLOSER)]
    holding = [finding for finding in found if finding.verdict is Verdict.HOLDS]
    nothing = () if pressing else (Text(_("Nothing to amend and nothing to look at more closely.")),)
    sections = [Section("findings", _("Findings"), nothing)]
    sections += [_finding(case, index, finding) for index, finding in enumerate(pressing, start=1)]
    if holding:
        rows = tuple(
            (
                f"{case.name(finding)} ({kind_words(finding.kind)})",
                f"{case.said(finding.why)} {case.rests_on(finding)}".rstrip(),
            )
            for finding in holding
        )
        table = Grid((_("About"), _("Why")), rows, (0.34, 0.66))
        sections.append(Section("holds", _("What holds"), (table,), level=2))
    return sections


def _finding(case: Case, index: int, finding: Finding) -> Section:
    heading = f"{index}. {case.name(finding)}: {VERDICT_WORDS[finding.verdict]}"
    return Section(
        f"finding-{index}",
        heading,
        (
            *(Text(line) for line in case.said(finding.why).splitlines() if line.strip()),
            Text(in_short(case, finding), "small"),
            *_correction(case, finding),
            _check(case, finding),
        ),
        level=2,
        room=40 * mm,
    )


def _check(case: Case, finding: Finding) -> Check:
    found = case.explained.of(finding.id)
    blocks: tuple[Text | Grid, ...] = ()
    if found.figures is not None and finding.kind in _WITH_TABLE:
        blocks = _figures(case, found.figures)
    return Check(
        case.name(finding),
        case.told(found.lead),
        tuple(case.told(str(step)) for step in found.steps),
        case.told(" ".join(found.close)),
        blocks,
    )


def _figures(case: Case, shown: Figures) -> tuple[Text | Grid, ...]:
    """A table of testers with the single figures below it."""
    blocks: list[Text | Grid] = []
    if shown.rows:
        others = max(len(shown.head) - 1, 1)
        each = min(0.76 / others, 0.19)
        blocks.append(
            Grid(
                shown.head,
                shown.rows,
                (0.24, *[each] * (len(shown.head) - 1)),
                caption=case.told(shown.caption),
                right=tuple(range(2, len(shown.head))),
            )
        )
    more = shown_of(len(shown.rows) + shown.more)
    facts = " · ".join(f"{name} {value}" for name, value in shown.facts)
    blocks += [Text(said, "small") for said in (more, facts) if said]
    return tuple(blocks)


def in_short(case: Case, finding: Finding) -> str:
    """Kind, sizes, estimate, interval, tolerance and testers of a finding, as far as it has them."""
    said = [kind_words(finding.kind)]
    if finding.sizes and case.pattern.sizes:
        every = len(finding.sizes) == len(case.pattern.sizes)
        named = ngettext("size {sizes}", "sizes {sizes}", len(finding.sizes))
        said.append(_("every size") if every else named.format(sizes=commas(finding.sizes)))
    if finding.estimate is not None:
        off = case.amount(finding.estimate, finding, signed=True)
        said.append(_("off by {estimate}").format(estimate=off))
    if finding.interval is not None:
        low, high = (case.amount(end, finding, signed=True) for end in finding.interval)
        said.append(_("95 % interval {low} to {high}").format(low=low, high=high))
    if finding.tolerance is not None:
        fine = case.amount(finding.tolerance, finding)
        said.append(_("tolerance ±{tolerance}").format(tolerance=fine))
    if finding.testers:
        said.append(counted(finding.testers))
    if finding.needs:
        wanted = _("further testers that would settle it: {needs}")
        said.append(wanted.format(needs=needs_by_size(finding.needs)))
    return " · ".join(said)


def _correction(case: Case, finding: Finding) -> list[Block]:
    """What is printed and what should be, size by size, and what follows from it."""
    given = [
        (name, values)
        for name, values in (
            (pgettext("a correction", "was"), finding.now),
            (pgettext("a correction", "now"), finding.proposed),
            (_("by the formula"), finding.computed),
        )
        if values
    ]
    if not given:
        return []
    target = finding.proposed_for or finding.subject
    unit = case.unit_of(target, finding)
    columns = case.in_order(name for _, values in given for name in values)
    place = case.numbers[target].place if target in case.numbers else None
    said = None
    if unit == "gauge":
        said = _("over {span}").format(span=case.span)
    elif unit in UNITS:
        said = unit_in_full(unit)
    caption = ", ".join(part for part in (case.label(target), place and case.told(place), said) if part)
    blocks: list[Block] = [
        BySize(
            tuple(map(column_name, columns)),
            tuple((name, case.values(values, columns, unit)) for name, values in given),
            caption=caption,
        )
    ]
    if finding.follows:
        names = case.in_order(size for values in finding.follows.values() for size in values)
        follows = tuple(
            (case.label(key), case.values(values, names, case.unit_of(key, None)))
            for key, values in finding.follows.items()
        )
        said = _("What the numbers become:")
        blocks.append(BySize(tuple(map(column_name, names)), follows, caption=said))
    return blocks
