"""What the edition prints against what its formulas give: arithmetic alone."""

from __future__ import annotations

from collections.abc import Mapping

from testround.kernel.evidence.base import SHORT_UNITS, UNIT_WORDS, Case, Evidence, Figures
from testround.kernel.findings import Finding, Verdict
from testround.kernel.worked import MOST_DECIMALS, Step, Unworkable, Value, plain


class Printed(Case):
    """Evidence for printed counts and printed measurements."""

    def printed_count(self, finding: Finding) -> Evidence:
        now = finding.now or {}
        computed = finding.computed or finding.proposed or {}
        number = next(n for n in self.pattern.numbers if n.key == finding.subject)
        size = max(now, key=lambda size: abs(now[size] - computed[size]))
        unit = SHORT_UNITS[number.unit]
        values = self.of_size(self.pattern.sizes.index(size), self.right)
        steps = self.shown_sum(f"in size {size}", number.formula, values, unit)
        printed, should = plain(now[size], MOST_DECIMALS), plain(computed[size], 4)
        steps = (*steps, self.difference(f"printed is {printed}", printed, should, unit))
        others = [other for other in now if other != size]
        also = (
            f" The same check finds size{'s' if len(others) > 1 else ''} {', '.join(others)}."
            if others
            else ""
        )
        return Evidence(
            finding.id,
            f"{number.label} is worked by the formula {number.formula}, with the values of size {size} put in."
            + self.in_cm(),
            steps,
            (f"Amend: arithmetic alone shows it, and no tester is needed.{also}",),
            self.by_size_figures(number.label, now, computed, "Printed", "By formula", unit, length=False),
        )

    def schematic(self, finding: Finding) -> Evidence:
        now = finding.now or {}
        dimension = self.dimension(finding.subject)
        stated = self.sheet.stated()
        worked = self.sheet.dimensions(stated, self.right)[dimension.key]
        follows = {size: float(worked[self.pattern.sizes.index(size)]) for size in now}
        size = max(now, key=lambda size: abs(now[size] - follows[size]))
        values = self.of_size(self.pattern.sizes.index(size), self.right)
        steps = self.shown_sum(f"what the counts give in size {size}", dimension.formula, values, "cm")
        printed, should = plain(now[size], MOST_DECIMALS), plain(follows[size])
        off = now[size] - follows[size]
        allowed = self.length(dimension.tolerance, signed=False)
        side = "beyond" if finding.verdict is Verdict.AMEND else "within"
        word = "Amend" if finding.verdict is Verdict.AMEND else "Look closer"
        rounding = "" if finding.verdict is Verdict.AMEND else ", but more than rounding explains"
        return Evidence(
            finding.id,
            f"{dimension.label} is worked by the formula {dimension.formula}, with the printed counts of size "
            f"{size} at the stated gauge.{self.in_cm()}",
            (*steps, self.difference(f"printed is {printed} cm", printed, should, "cm")),
            (
                f"{word}: {self.length(off)} is {side} the {allowed} that is fine{rounding}. Arithmetic alone "
                "shows it, and no tester is needed.",
            ),
            self.by_size_figures(
                dimension.label, now, follows, "Printed", "From the counts", "cm", length=True
            ),
        )

    def shown_sum(self, says: str, formula: str, values: Mapping[str, Value], unit: str) -> tuple[Step, ...]:
        try:
            return self.written(says, formula, values, unit).steps
        except Unworkable:
            return (Step("the formula cannot be worked by hand with these values"),)

    def by_size_figures(
        self,
        label: str,
        first: Mapping[str, float],
        second: Mapping[str, float],
        one: str,
        other: str,
        unit: str,
        *,
        length: bool,
    ) -> Figures:
        def said(value: float, *, signed: bool = False) -> str:
            if length:
                return self.length(value, signed=signed)
            return f"{'+' if signed and value > 0 else ''}{plain(value, 4)}"

        return Figures(
            f"{label} by size, {UNIT_WORDS.get(unit.rstrip('s'), 'stitches') if not length else self.units}",
            ("Size", one, other, "Difference"),
            tuple(
                (size, said(first[size]), said(second[size]), said(first[size] - second[size], signed=True))
                for size in first
            ),
        )
