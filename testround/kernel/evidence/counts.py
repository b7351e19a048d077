"""Who arrived at which count."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping

import numpy as np

from testround.kernel.evidence.base import Case, Evidence, Figures, FloatArray, furthest, short_unit, size_of
from testround.kernel.findings import Finding
from testround.kernel.round import Number, Tester
from testround.kernel.verdict import Agreed
from testround.kernel.words import gettext as _
from testround.kernel.words import ngettext, pgettext, spoken
from testround.kernel.worked import plain


class Counts(Case):
    """Evidence for counts that testers agree on against the text."""

    def worked_count(self, finding: Finding) -> Evidence:
        number = next(n for n in self.pattern.numbers if n.key == finding.subject)
        one = self.agreement(finding)
        if one is None:
            return Evidence(finding.id, spoken(finding.why))
        found = self.found
        reported, text = found.reported[number.key], self.in_text(number)
        sizes = found.sizes if self.pattern.is_graded else np.zeros(len(self.testers), dtype=np.intp)
        here = [i for i in np.flatnonzero(~np.isnan(reported)).tolist() if sizes[i] in one.sizes]
        off = {i: round(float(reported[i] - text[i]), 6) for i in here}
        agree = set(one.testers)
        i = min(agree, key=lambda i: (abs(off[i] - one.offset) > 1e-6, self.testers[i].id))
        tester = self.testers[i]
        said, meant = plain(float(reported[i]), 4), plain(float(text[i]), 4)
        unit = short_unit(number.unit)
        steps = [
            self.difference(
                self.reported_where(number, tester).format(
                    tester=self.with_size(tester.id, tester.size), reported=said, meant=meant
                ),
                said,
                meant,
                unit,
            )
        ]
        close = [
            _("The same difference: {testers}.").format(
                testers=self.names(self.testers[j].id for j in sorted(agree))
            )
        ]
        close += self.disagreeing(number, one, off)
        if one.silent:
            n = len(one.silent)
            close.append(
                ngettext(
                    "{n} tester of these sizes did not report it; what their pieces owe to it is set aside.",
                    "{n} testers of these sizes did not report it; what their pieces owe to it is set aside.",
                    n,
                ).format(n=n)
            )
        close.append(
            _(
                "Amend: {votes} of the {reports} who reported it agree, which is most of them and more than one."
            ).format(votes=one.votes, reports=one.reports)
        )
        order, more = furthest(here, lambda j: abs(off[j] - one.offset))
        order = sorted(order, key=lambda j: (int(sizes[j]), self.name(self.testers[j].id)))
        rows = tuple(
            (
                self.name(self.testers[j].id),
                size_of(self.testers[j].size),
                plain(float(text[j]), 4),
                plain(float(reported[j]), 4),
                f"{'+' if off[j] > 0 else ''}{plain(off[j], 4)}",
                _("agrees") if j in agree else _("does not"),
            )
            for j in order
        )
        head = (
            _("Tester"),
            _("Size"),
            pgettext("what the pattern says", "Text"),
            _("Reported"),
            _("Difference"),
            # Translators: a column that says who agrees on that difference, as in "On +2".
            _("On {difference}").format(difference=plain(one.offset, 4)),
        )
        lead = (
            _("{number}, as testers reported it, against the text.")
            if self.pattern.is_graded
            else _("{number}, as testers reported it, against their own numbers.")
        )
        return Evidence(
            finding.id,
            lead.format(number=number.label),
            tuple(steps),
            tuple(close),
            Figures(_("Who arrived at what: {number}").format(number=number.label), head, rows, more=more),
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

    def reported_where(self, number: Number, tester: Tester) -> str:
        if not self.pattern.is_graded:
            return _("{tester} reported {reported} where that tester's own numbers give {meant}")
        if tester.size in (number.printed or {}):
            return _("{tester} reported {reported} where the text prints {meant}")
        return _("{tester} reported {reported} where the formula gives {meant}")

    def disagreeing(self, number: Number, one: Agreed, off: Mapping[int, float]) -> list[str]:
        groups: dict[float, list[int]] = defaultdict(list)
        for i in sorted(off):
            if i not in one.testers:
                groups[off[i]].append(i)
        said = []
        for difference, members in sorted(groups.items(), key=lambda g: (-len(g[1]), g[0])):
            who = self.names(self.testers[i].id for i in members)
            if difference == 0:
                said.append(_("as the text has it: {testers}").format(testers=who))
            elif difference == one.offset:
                said.append(_("as much off, but because of an earlier number: {testers}").format(testers=who))
            else:
                side = _("{n} more: {testers}") if difference > 0 else _("{n} fewer: {testers}")
                said.append(side.format(n=plain(abs(difference), 4), testers=who))
        if not said:
            return [_("Nobody who reported it arrived at anything else.")]
        return [_("Otherwise: {groups}.").format(groups="; ".join(said))]
