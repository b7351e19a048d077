"""What an analysis said of a trial, held against what was planted; and the table of figures."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from testround.kernel.analysis import Analysis, analyse
from testround.kernel.correction import gauges_to_print
from testround.kernel.findings import Finding, FindingKind, Verdict
from testround.kernel.sheet import Sheet
from tests.battery.generator import WHOLE_PIECE, LevelName, Planted, Trial, trial
from tests.battery.oracle import DESK_KINDS, Oracle

JUDGED_KINDS = frozenset(
    [
        FindingKind.PRINTED_COUNT,
        FindingKind.SCHEMATIC,
        FindingKind.WORKED_COUNT,
        FindingKind.STATED_GAUGE,
        FindingKind.FINISHED_SIZE,
    ]
)


@dataclass
class Score:
    """Counts that add up over rounds. ``of`` and ``hit`` by figure; ``notes`` say what went wrong where."""

    of: Counter[str] = field(default_factory=Counter)
    hit: Counter[str] = field(default_factory=Counter)
    count_errors: list[tuple[str, float]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def add(self, figure: str, hit: bool) -> bool:
        self.of[figure] += 1
        self.hit[figure] += bool(hit)
        return hit

    def __iadd__(self, other: Score) -> Score:
        self.of += other.of
        self.hit += other.hit
        self.count_errors += other.count_errors
        self.notes += other.notes
        return self

    def share(self, figure: str) -> float:
        return self.hit[figure] / self.of[figure] if self.of[figure] else float("nan")

    def mean_count_error(self, kind: str = "") -> float:
        errors = [error for of_kind, error in self.count_errors if kind in ("", of_kind)]
        return float(np.mean(errors)) if errors else float("nan")


def score(trial: Trial, analysis: Analysis | None = None) -> Score:
    """Everything there is to count in one round."""
    work = _Scorer(trial, analysis or analyse(trial.round))
    return work.score()


class _Scorer:
    def __init__(self, trial: Trial, analysis: Analysis) -> None:
        self.trial, self.analysis = trial, analysis
        self.pattern = trial.round.pattern
        self.sizes = self.pattern.sizes or ("",)
        self.dimensions = [d.key for d in self.pattern.dimensions]
        self.amended = [
            f for f in analysis.findings.findings if f.verdict is Verdict.AMEND and f.kind in JUDGED_KINDS
        ]
        self.result = Score()

    def score(self) -> Score:
        self.faults()
        self.false_alarms()
        self.slips()
        self.coverage()
        return self.result

    def note(self, what: str) -> None:
        self.result.notes.append(f"seed {self.trial.seed}: {what}")

    # Faults

    def faults(self) -> None:
        oracle = Oracle(self.trial)
        for fault in self.trial.truth.faults:
            desk = fault.kind in DESK_KINDS
            if not desk and not oracle.detectable(fault):
                continue
            found = [f for f in self.amended if self.says(f, fault)]
            extent = fault.extent or "no sizes"
            name = f"{fault.kind}, {extent}"
            if fault.kind == "schematic":
                # A printed measurement is a fault of the desk check, whatever the verdict.
                self.result.add(
                    "desk", any(f.id == f"schematic:{fault.subject}" for f in self.analysis.findings.findings)
                )
                continue
            hit = self.result.add("desk" if desk else "found", bool(found))
            if not desk:
                self.result.add(name, hit)
            if not hit:
                self.note(f"missed {name} {fault.subject} {fault.sizes} at {fault.tolerances:.2f} tolerances")
                continue
            self.counts(fault, found[0])
            if not desk and fault.extent and self.tellable(fault):
                right = str(found[0].extent) == fault.extent
                if not self.result.add("extent", right):
                    self.note(
                        f"{name} {fault.subject} {fault.sizes} said as {found[0].extent} {found[0].sizes}"
                    )

    def says(self, finding: Finding, fault: Planted) -> bool:
        if str(finding.kind) != fault.kind or finding.subject != fault.subject:
            return False
        if fault.sizes is None:
            return True
        return bool(set(finding.sizes or ()) & set(fault.sizes))

    def tellable(self, fault: Planted) -> bool:
        """Whether the extent could be told: somebody made a size that is not concerned, or three sizes."""
        made = {t.size for t in self.trial.round.testers if t.finished}
        if fault.extent == "some-sizes":
            return bool(made - set(fault.sizes or ()))
        return len(made) >= 3

    def counts(self, fault: Planted, finding: Finding) -> None:
        """How far the proposed counts lie from those that the planted truth asks for."""
        if finding.proposed is None or finding.proposed_for is None or fault.kind == "schematic":
            return
        wanted = self.ideal(fault, finding) if fault.kind == "finished-size" else fault.counts
        errors = [abs(finding.proposed[size] - wanted[size]) for size in finding.proposed if size in wanted]
        if errors:
            self.result.count_errors.append((fault.kind, float(np.mean(errors))))

    def ideal(self, fault: Planted, finding: Finding) -> Mapping[str, float]:
        """The count, keeping its multiple, that takes the planted deviation away by the number chosen."""
        sheet = Sheet(self.pattern)
        key = str(finding.proposed_for)
        of, plus = sheet.multiple_of(key) or (1.0, 0.0)
        stated = sheet.stated()
        now = sheet.numbers(stated, sheet.printed_numbers())
        for size, value in (finding.now or {}).items():
            now[key][self.sizes.index(size)] = value
        found = [gauge for gauge in self.analysis.gauges if gauge.verdict is Verdict.AMEND]
        new = gauges_to_print(sheet, {(one.gauge, one.axis): one.estimate or one.stated for one in found})
        for gauge, axis in ((one.gauge, one.axis) for one in found):
            moved = sheet.follows(f"{gauge}.{axis}")
            if fault.subject in moved:
                # The count for the gauge that is to be printed as well.
                stated = sheet.with_gauges(stated, {gauge: new[gauge]})
                now = sheet.numbers(stated, {k: value for k, value in now.items() if k not in moved})
        more = dict(now) | {key: now[key] + of}
        lever = (
            sheet.dimensions(stated, more)[fault.subject] - sheet.dimensions(stated, now)[fault.subject]
        ) / of
        wanted = {}
        for s, size in enumerate(self.sizes):
            off = fault.deviation.get(size, 0.0)
            if off and lever[s]:
                wanted[size] = float(np.round((now[key][s] - off / lever[s] - plus) / of) * of + plus)
        return wanted

    # False alarms

    def false_alarms(self) -> None:
        faults = self.trial.truth.faults
        clean = {(size, key) for key in self.dimensions for size in self.sizes}
        for fault in faults:
            if fault.kind in ("finished-size", "schematic"):
                clean -= {(size, fault.subject) for size in fault.sizes or self.sizes}
        wrong: set[tuple[str, str]] = set()
        others = 0
        for finding in self.amended:
            if finding.kind in (FindingKind.FINISHED_SIZE, FindingKind.SCHEMATIC):
                mine = {(size, finding.subject) for size in finding.sizes or self.sizes} & clean
                if mine - wrong:
                    self.note(f"false {finding.id} {finding.sizes}, {finding.over_tolerance:.2f} tolerances")
                wrong |= mine
            elif not any(self.says(finding, fault) for fault in faults):
                self.note(f"false {finding.id} {finding.sizes}")
                others += 1
        self.result.of["clean"] += len(clean)
        self.result.hit["clean"] += len(wrong) + others
        if not faults:
            self.result.add("faultless", bool(self.amended))

    # Slips

    def slips(self) -> None:
        asked = {
            (q.tester, WHOLE_PIECE if q.cause == "unblocked" else q.subject): q.cause
            for q in self.analysis.questions
        }
        for slip in self.trial.truth.slips:
            cause = asked.get((slip.tester, slip.dimension))
            if not self.result.add("slips named", cause in slip.causes):
                self.note(
                    f"slip of {slip.tester} in {slip.dimension} ({', '.join(sorted(slip.causes))}) said {cause}"
                )
            places = self.dimensions if slip.dimension == WHOLE_PIECE else [slip.dimension]
            kept_out = not any(self.moved(slip.tester, place) for place in places)
            if not self.result.add("slips kept out", kept_out):
                self.note(f"slip of {slip.tester} in {slip.dimension or 'the whole piece'} in an amend")

    def moved(self, tester: str, dimension: str) -> bool:
        """Whether an amend about the slip's size and dimension is not what was planted there."""
        size = self.trial.round.tester(tester).size or ""
        for finding in self.amended:
            if finding.kind is not FindingKind.FINISHED_SIZE or finding.subject != dimension:
                continue
            if size not in (finding.sizes or self.sizes):
                continue
            if not any(
                self.says(finding, f) and size in (f.sizes or self.sizes) for f in self.trial.truth.faults
            ):
                return True
        return False

    # Intervals

    def coverage(self) -> None:
        truth = self.trial.truth.deviation
        for cell in self.analysis.deviations:
            if cell.testers and cell.low is not None and cell.high is not None:
                s = self.sizes.index(cell.size or "")
                true = float(truth[s, self.dimensions.index(cell.dimension)])
                self.result.add("covered", cell.low <= true <= cell.high)


def run(level: LevelName, seeds: Iterable[int]) -> Score:
    """The score of these rounds together."""
    total = Score()
    for seed in seeds:
        total += score(trial(level, seed))
    return total


FIGURES: tuple[tuple[str, str, str, str], ...] = (
    ("found", "detectable faults reported with the right kind, subject and sizes", ">= 0.97", ">= 0.92"),
    ("desk", "faults of the desk check found", "1", "1"),
    ("clean", "amend on a clean size and dimension", "<= 0.001", "<= 0.002"),
    ("faultless", "rounds without any fault that get any amend", "<= 0.03", "<= 0.06"),
    ("extent", "right extent among those found", ">= 0.96", ">= 0.90"),
    ("slips kept out", "gross slips kept out of every amend", ">= 0.998", ">= 0.998"),
    ("slips named", "gross slips named with the likely cause", ">= 0.95", ">= 0.90"),
    ("covered", "95 % intervals that cover the truth", "0.93-0.97", "0.93-0.97"),
)


def table(level: LevelName, score: Score) -> str:
    """The figures as text: share, how many of how many, and what is aimed at."""
    aim = 2 if level == "plain" else 3
    lines = [f"{'figure':<70} {'share':>7} {'':>13}  aim"]
    for row in FIGURES:
        key, label = row[:2]
        of = f"{score.hit[key]}/{score.of[key]}"
        lines.append(f"{label:<70} {score.share(key):7.4f} {of:>13}  {row[aim]}")
    aim_count = "<= 0.5" if level == "plain" else "<= 0.7"
    label = "proposed count from the planted truth, mean, stitches or rows"
    lines.append(f"{label:<70} {score.mean_count_error():7.3f} {len(score.count_errors):>13}  {aim_count}")
    label = "  of finished sizes alone"
    lines.append(f"{label:<70} {score.mean_count_error('finished-size'):7.3f}")
    lines.append("")
    lines.append("detectable faults found, by kind and extent")
    for name in sorted(key for key in score.of if ", " in key):
        lines.append(f"  {name:<68} {score.share(name):7.4f} {score.hit[name]:>6}/{score.of[name]}")
    return "\n".join(lines)
