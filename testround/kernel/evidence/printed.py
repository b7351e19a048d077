"""What the edition prints against what its formulas give: arithmetic alone."""

from __future__ import annotations

from collections.abc import Mapping

from testround.kernel.evidence.base import Case, Evidence, Figures, short_unit, unit_word
from testround.kernel.findings import Finding, Verdict
from testround.kernel.words import commas, in_sizes, ngettext
from testround.kernel.words import gettext as _
from testround.kernel.worked import MOST_DECIMALS, Step, Unworkable, Value, plain


class Printed(Case):
    """Evidence for printed counts and printed measurements."""

    def printed_count(self, finding: Finding) -> Evidence:
        now = finding.now or {}
        computed = finding.computed or finding.proposed or {}
        number = next(n for n in self.pattern.numbers if n.key == finding.subject)
        size = max(now, key=lambda size: abs(now[size] - computed[size]))
        unit = short_unit(number.unit)
        values = self.of_size(self.pattern.sizes.index(size), self.right)
        steps = self.shown_sum(in_sizes((size,)), number.formula, values, unit)
        printed, should = plain(now[size], MOST_DECIMALS), plain(computed[size], 4)
        steps = (
            *steps,
            self.difference(_("printed is {count}").format(count=printed), printed, should, unit),
        )
        others = [other for other in now if other != size]
        close = [_("Amend: arithmetic alone shows it, and no tester is needed.")]
        if others:
            also = ngettext(
                "The same check finds size {sizes}.", "The same check finds sizes {sizes}.", len(others)
            )
            close.append(also.format(sizes=commas(others)))
        lead = _(
            "{number} is worked by the formula {formula}, with the values of size {size} put in."
        ).format(number=number.label, formula=number.formula, size=size)
        return Evidence(
            finding.id,
            f"{lead} {self.in_cm()}".rstrip(),
            steps,
            (" ".join(close),),
            self.by_size_figures(
                number.label,
                now,
                computed,
                _("Printed"),
                _("By formula"),
                unit_word(number.unit),
                length=False,
            ),
        )

    def schematic(self, finding: Finding) -> Evidence:
        now = finding.now or {}
        dimension = self.dimension(finding.subject)
        stated = self.sheet.stated()
        worked = self.sheet.dimensions(stated, self.right)[dimension.key]
        follows = {size: float(worked[self.pattern.sizes.index(size)]) for size in now}
        size = max(now, key=lambda size: abs(now[size] - follows[size]))
        values = self.of_size(self.pattern.sizes.index(size), self.right)
        steps = self.shown_sum(
            _("what the counts give in size {size}").format(size=size), dimension.formula, values, "cm"
        )
        printed, should = plain(now[size], MOST_DECIMALS), plain(follows[size])
        off = now[size] - follows[size]
        allowed = self.length(dimension.tolerance, signed=False)
        verdict = (
            _(
                "Amend: {off} is beyond the {allowed} that is fine. Arithmetic alone shows it, and no tester is needed."
            )
            if finding.verdict is Verdict.AMEND
            else _(
                "Look closer: {off} is within the {allowed} that is fine, but more than rounding explains. Arithmetic "
                "alone shows it, and no tester is needed."
            )
        )
        lead = _(
            "{dimension} is worked by the formula {formula}, with the printed counts of size {size} at the stated gauge."
        ).format(dimension=dimension.label, formula=dimension.formula, size=size)
        return Evidence(
            finding.id,
            f"{lead} {self.in_cm()}".rstrip(),
            (
                *steps,
                self.difference(_("printed is {count}").format(count=f"{printed} cm"), printed, should, "cm"),
            ),
            (verdict.format(off=self.length(off), allowed=allowed),),
            self.by_size_figures(
                dimension.label, now, follows, _("Printed"), _("From the counts"), self.units, length=True
            ),
        )

    def shown_sum(self, says: str, formula: str, values: Mapping[str, Value], unit: str) -> tuple[Step, ...]:
        try:
            return self.written(says, formula, values, unit).steps
        except Unworkable:
            return (Step(_("the formula cannot be worked by hand with these values")),)

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
            _("{label} by size, {unit}").format(label=label, unit=unit),
            (_("Size"), one, other, _("Difference")),
            tuple(
                (size, said(first[size]), said(second[size]), said(first[size] - second[size], signed=True))
                for size in first
            ),
        )
