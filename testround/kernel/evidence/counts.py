"""Who arrived at which count."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping

import numpy as np

from testround.kernel.evidence.base import SHORT_UNITS, Case, Evidence, Figures, FloatArray, furthest
from testround.kernel.findings import Finding
from testround.kernel.round import Number, Tester
from testround.kernel.verdict import Agreed
from testround.kernel.worked import plain


class Counts(Case):
    """Evidence for counts that testers agree on against the text."""

    def worked_count(self, finding: Finding) -> Evidence:
        number = next(n for n in self.pattern.numbers if n.key == finding.subject)
        one = self.agreement(finding)
        if one is None:
            return Evidence(finding.id, finding.why)
        found = self.found
        reported, text = found.reported[number.key], self.in_text(number)
        sizes = found.sizes if self.pattern.is_graded else np.zeros(len(self.testers), dtype=np.intp)
        here = [i for i in np.flatnonzero(~np.isnan(reported)).tolist() if sizes[i] in one.sizes]
        off = {i: round(float(reported[i] - text[i]), 6) for i in here}
        agree = set(one.testers)
        i = min(agree, key=lambda i: (abs(off[i] - one.offset) > 1e-6, self.testers[i].id))
        tester = self.testers[i]
        where = self.source_of(number, tester)
        said, meant = plain(float(reported[i]), 4), plain(float(text[i]), 4)
        unit = SHORT_UNITS[number.unit]
        steps = [
            self.difference(
                f"{self.with_size(tester.id, tester.size)} reported {said} where {where} {meant}",
                said,
                meant,
                unit,
            )
        ]
        close = [f"The same difference: {self.names(self.testers[j].id for j in sorted(agree))}."]
        close += self.disagreeing(number, one, off)
        if one.silent:
            n = len(one.silent)
            close.append(
                f"{n} tester{'s' if n != 1 else ''} of these sizes did not report it; what their pieces owe to it is "
                "set aside."
            )
        close.append(
            f"Amend: {one.votes} of the {one.reports} who reported it agree, which is most of them and more than one."
        )
        order, more = furthest(here, lambda j: abs(off[j] - one.offset))
        order = sorted(order, key=lambda j: (int(sizes[j]), self.name(self.testers[j].id)))
        rows = tuple(
            (
                self.name(self.testers[j].id),
                self.testers[j].size or "own",
                plain(float(text[j]), 4),
                plain(float(reported[j]), 4),
                f"{'+' if off[j] > 0 else ''}{plain(off[j], 4)}",
                "agrees" if j in agree else "does not",
            )
            for j in order
        )
        head = ("Tester", "Size", "Text", "Reported", "Difference", f"On {plain(one.offset, 4)}")
        return Evidence(
            finding.id,
            f"{number.label}, as testers reported it, against {'the text' if self.pattern.is_graded else 'their own numbers'}.",
            tuple(steps),
            tuple(close),
            Figures(f"Who arrived at what: {number.label}", head, rows, more=more),
        )

    def agreement(self, finding: Finding) -> Agreed | None:
        for one in self.agreed:
            sizes = tuple(self.pattern.sizes[s] for s in one.sizes) if self.pattern.is_graded else None
            if one.number == finding.subject and one.offset == finding.estimate and sizes == finding.sizes:
                return one
        return None

    def in_text(self, number: Number) -> FloatArray:
        printed = self.found.printed[number.key]
        return np.where(np.isnan(printed), self.found.computed[number.key], printed)

    def source_of(self, number: Number, tester: Tester) -> str:
        if not self.pattern.is_graded:
            return "that tester's own numbers give"
        printed = tester.size in (number.printed or {})
        return "the text prints" if printed else "the formula gives"

    def disagreeing(self, number: Number, one: Agreed, off: Mapping[int, float]) -> list[str]:
        groups: dict[float, list[int]] = defaultdict(list)
        for i in sorted(off):
            if i not in one.testers:
                groups[off[i]].append(i)
        said = []
        for difference, members in sorted(groups.items(), key=lambda g: (-len(g[1]), g[0])):
            who = self.names(self.testers[i].id for i in members)
            if difference == 0:
                said.append(f"as the text has it: {who}")
            elif difference == one.offset:
                said.append(f"as much off, but because of an earlier number: {who}")
            else:
                side = "more" if difference > 0 else "fewer"
                said.append(f"{plain(abs(difference), 4)} {side}: {who}")
        if not said:
            return ["Nobody who reported it arrived at anything else."]
        return [f"Otherwise: {'; '.join(said)}."]
