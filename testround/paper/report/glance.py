"""The round at a glance, and who tested what."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

from testround.kernel.findings import VERDICT_WORDS, Verdict
from testround.kernel.round import Tester
from testround.kernel.units import format_count
from testround.kernel.words import and_more, commas, ngettext, pgettext
from testround.kernel.words import gettext as _
from testround.paper.document import capital
from testround.paper.method import UNSETTLED
from testround.paper.plots.base import own_size
from testround.paper.report.blocks import Block, BySize, Grid, Section, Text
from testround.paper.report.case import MOST_NAMED, UNKNOWN, Case
from testround.paper.report.findings import kind_words

if TYPE_CHECKING:
    from testround.kernel.analysis import DeviationCell

# Beside a deviation in a cell of the table at a glance; words would not fit nine sizes.
_SIGNS = {"amend": "!", "look-closer": "?", "holds": "=", "open": "…"}


def at_a_glance(case: Case) -> Section:
    """How many took part, how many verdicts of each kind there are, and every dimension in every size."""
    findings = case.analysis.findings.findings
    measured = len({cell.tester for cell in case.analysis.findings.cells})
    by_verdict = Counter(finding.verdict for finding in findings)
    people = len(case.round.testers)
    sent = ngettext(
        "{n} tester, of whom {measured} sent finished measurements.",
        "{n} testers, of whom {measured} sent finished measurements.",
        people,
    ).format(n=people, measured=measured)
    asks = _("{amend} to amend, {closer} to look at more closely.").format(
        amend=by_verdict[Verdict.AMEND], closer=by_verdict[Verdict.LOOK_CLOSER]
    )
    blocks: list[Block] = [Text(f"{sent} {asks}")]
    if not case.analysis.converged:
        blocks.append(Text(_(UNSETTLED)))
    rows = tuple(
        (capital(VERDICT_WORDS[verdict]), str(by_verdict[verdict]), _about(case, verdict))
        for verdict in Verdict
    )
    blocks.append(Grid((_("Verdict"), "", _("About")), rows, (0.16, 0.06, 0.78), right=(1,)))
    return Section("glance", _("At a glance"), (*blocks, *_matrix(case)))


def _about(case: Case, verdict: Verdict) -> str:
    """What has that verdict, each thing once; of very many, the first.

    One thing may hold as it is made and be printed wrongly: what has two verdicts says what each is about.
    """
    findings = case.analysis.findings.findings
    verdicts: dict[str, set[Verdict]] = {}
    for finding in findings:
        verdicts.setdefault(case.name(finding), set()).add(finding.verdict)
    names = list(
        dict.fromkeys(
            name if len(verdicts[name]) == 1 else f"{name} ({kind_words(finding.kind)})"
            for finding, name in ((finding, case.name(finding)) for finding in findings)
            if finding.verdict is verdict
        )
    )
    if not names:
        return pgettext("of findings", "none")
    # Names have commas of their own, as in "Chest, buttoned".
    return and_more(["; ".join(names[:MOST_NAMED])], len(names) - MOST_NAMED)


def _matrix(case: Case) -> list[Block]:
    """Dimensions down, sizes across: the pattern's own deviation and its verdict."""
    cells = {(cell.dimension, cell.size): cell for cell in case.analysis.deviations}
    if not cells:
        return []
    sizes: Sequence[str | None] = case.pattern.sizes or (None,)
    rows = tuple(
        (
            case.label(dimension.key),
            tuple(_matrix_cell(case, cells.get((dimension.key, size))) for size in sizes),
        )
        for dimension in case.pattern.dimensions
    )
    legend = commas(f"{_SIGNS[verdict]} {VERDICT_WORDS[verdict]}" for verdict in _SIGNS)
    said = _("How far off the pattern itself is, in {unit}: what counts and gauges do not explain. {legend}.")
    columns = tuple(size or pgettext("all sizes", "all") for size in sizes)
    return [BySize(columns, rows, caption=said.format(unit=case.unit, legend=legend))]


def _matrix_cell(case: Case, cell: DeviationCell | None) -> str:
    if cell is None:
        return UNKNOWN
    sign = _SIGNS.get(str(cell.verdict), "")
    if cell.estimate is None:
        return sign or UNKNOWN
    # The sign stays with its figure when a narrow column wraps.
    bare = case.bare(cell.estimate, signed=True).replace(" ", "\u00a0")
    return f"{bare}\u00a0{sign}"


def who_tested(case: Case) -> Section:
    """How many made each size, and every tester with size, yarn and what came from them."""
    testers = case.round.testers
    blocks: list[Block] = []
    if not testers:
        blocks.append(Text(_("Nobody is in this round yet.")))
    elif case.pattern.sizes:
        blocks.append(_by_size(case))
    if testers:
        order = {size: rank for rank, size in enumerate(case.pattern.sizes)}
        rows = tuple(
            _tester_row(case, one) for one in sorted(testers, key=lambda one: order.get(one.size or "", -1))
        )
        head = (
            _("Tester"),
            _("Size"),
            _("Yarn"),
            _("Swatch"),
            pgettext("what a tester sent, in figures", "Counts"),
            _("Measured, of {n}").format(n=len(case.pattern.dimensions)),
            _("Hours"),
            _("Metres"),
        )
        blocks.append(Grid(head, rows, (0.2, 0.09, 0.27, 0.1, 0.09, 0.1, 0.07, 0.08), right=(4, 5, 6, 7)))
    return Section("testers", _("Who tested what"), tuple(blocks), room=110)


def _by_size(case: Case) -> BySize:
    made, measured = Counter[str | None](), Counter[str | None]()
    for one in case.round.testers:
        made[one.size] += 1
        measured[one.size] += bool(one.finished)
    sizes = case.pattern.sizes
    rows = (
        (_("testers"), tuple(str(made[size]) for size in sizes)),
        (_("measured"), tuple(str(measured[size]) for size in sizes)),
    )
    return BySize(sizes, rows)


def _tester_row(case: Case, one: Tester) -> tuple[str, ...]:
    hours = sum(sitting.hours for sitting in one.sittings)
    yarn = [one.yarn.label, one.yarn.fibre] if one.yarn else []
    if len(yarn) > 1 and yarn[1] and yarn[1].casefold() in str(yarn[0]).casefold():
        yarn = yarn[:1]
    states = {swatch.state.value for swatch in one.swatches}
    if "blocked" in states:
        swatch = pgettext("a swatch was", "blocked")
    else:
        swatch = pgettext("a swatch was", "unblocked") if states else UNKNOWN
    used = one.yarn_used.metres if one.yarn_used else None
    return (
        case.names[one.id],
        own_size(one.size),
        commas(str(part) for part in yarn if part) or UNKNOWN,
        swatch,
        str(len(one.counts)) if one.counts else UNKNOWN,
        str(len({finished.dimension for finished in one.finished})) if one.finished else UNKNOWN,
        format_count(round(hours, 1)) if hours else UNKNOWN,
        format_count(round(used)) if used else UNKNOWN,
    )
