"""What a piece took of yarn and of hours."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from testround.kernel.amounts import Amount, Took
from testround.kernel.evidence.base import (
    MOST_NAMED,
    Case,
    Evidence,
    Figures,
    furthest,
    needs_fact,
    signed,
    size_of,
    span_said,
)
from testround.kernel.findings import Finding, FindingKind, Verdict
from testround.kernel.pace import Kind, Piece, pieces_of
from testround.kernel.words import gettext as _
from testround.kernel.words import ngettext, pgettext, spoken
from testround.kernel.worked import MOST_DECIMALS, Step, added, exact, plain, shown


class Amounts(Case):
    """Evidence for yarn and hours."""

    def amount(self, finding: Finding) -> Evidence:
        kind: Kind = "yarn" if finding.kind is FindingKind.YARN else "hours"
        amount = self.analysis.taken.amount(kind)
        if amount is None:
            return Evidence(finding.id, spoken(finding.why))
        unit = amount.unit
        pieces = {piece.tester: piece for piece in pieces_of(self.sheet, self.testers, self.found)}
        work = {
            took.tester: sum(
                (pieces[took.tester].area if amount.per_m2 else pieces[took.tester].stitches).values()
            )
            for took in amount.took
        }
        each = {took.tester: took.whole / work[took.tester] for took in amount.took}
        typical = float(np.exp(amount.rate.mean))
        one = min(
            amount.took,
            key=lambda took: (
                took.share < 1,
                not amount.per_m2 and took.size not in amount.printed,
                round(abs(each[took.tester] - typical), 12),
                took.tester,
            ),
        )
        steps = self.of_maker(one, pieces[one.tester], work[one.tester], amount)
        low, high = finding.interval or (np.nan, np.nan)
        worst = self.furthest_off(finding, amount)
        half = (
            _(
                "Half of makers take {typical} {unit}, and {printed} {unit} are printed: off by {off} {unit} (95 % "
                "interval {low} to {high} {unit})."
            )
            if amount.per_m2
            else _(
                "Half of makers take {typical} {unit} in size {size}, and {printed} {unit} are printed: off by {off} "
                "{unit} (95 % interval {low} to {high} {unit})."
            )
        )
        verdict = self.amount_verdict(finding)
        close = [
            *self.over_printed(amount),
            half.format(
                typical=plain(amount.typical[worst], 1),
                printed=plain(amount.printed[worst], MOST_DECIMALS),
                unit=unit,
                size=worst,
                off=signed(finding.estimate or 0.0),
                low=signed(low),
                high=signed(high),
            ),
            verdict,
            self.needs(finding),
        ]
        if amount.per_m2:
            lead = _("What the pieces took in metres, held against their square metres of fabric.")
        elif kind == "yarn":
            lead = _("What the pieces took in metres, held against the stitches in them.")
        else:
            lead = _("What the pieces took in hours, held against the stitches in them.")
        middle = _("Take {tester}, who is in the middle of them.").format(
            tester=self.with_size(one.tester, one.size)
        )
        return Evidence(
            finding.id,
            f"{lead} {middle}",
            tuple(steps),
            tuple(filter(None, close)),
            self.amount_figures(finding, amount, work, each, worst),
            self.rests(finding, verdict),
        )

    def furthest_off(self, finding: Finding, amount: Amount) -> str:
        """The size that the finding's estimate is of."""
        return min(
            amount.printed,
            key=lambda size: abs(amount.typical[size] - amount.printed[size] - (finding.estimate or 0.0)),
        )

    def over_printed(self, amount: Amount) -> list[str]:
        taken = [
            (took.value, amount.printed[key])
            for took in amount.took
            if (key := next(iter(amount.printed)) if amount.per_m2 else took.size or "") in amount.printed
        ]
        if not taken:
            return []
        more = sum(value > printed for value, printed in taken)
        return [
            ngettext(
                "{more} of {n} tester took more than is printed for theirs.",
                "{more} of {n} testers took more than is printed for theirs.",
                len(taken),
            ).format(more=more, n=len(taken))
        ]

    def of_maker(self, took: Took, piece: Piece, work: float, amount: Amount) -> list[Step]:
        """One tester's rate, scaled to a size as the pattern means it."""
        yarn, unit = amount.kind == "yarn", amount.unit
        tester = next(t for t in self.testers if t.id == took.tester)
        used = tester.yarn_used
        steps: list[Step] = []
        said = plain(took.whole * took.share, MOST_DECIMALS if yarn else 4)
        if yarn and used is not None and used.metres is None and tester.yarn is not None:
            grams, metres, weight = (
                plain(value or 0.0, MOST_DECIMALS)
                for value in (used.grams, tester.yarn.metres_per_ball, tester.yarn.grams_per_ball)
            )
            said = plain(shown(grams) * shown(metres) / shown(weight))
            steps.append(
                Step(_("what was used, by the ball"), f"{grams} g × {metres} m / {weight} g = {said} m")
            )
        elif not yarn and 1 < len(tester.sittings) <= MOST_NAMED:
            hours = [plain(sitting.hours, MOST_DECIMALS) for sitting in tester.sittings]
            said = plain(float(sum(exact(text) for text in hours)), MOST_DECIMALS)
            together = ngettext("{n} sitting together", "{n} sittings together", len(hours))
            steps.append(Step(together.format(n=len(hours)), f"{' + '.join(hours)} = {said} h"))
        else:
            steps.append(Step(_("what it took: {amount}").format(amount=f"{said} {unit}")))
        if took.share < 1:
            share, done = plain(took.share, 4), said
            said = plain(shown(done) / shown(share))
            steps.append(
                Step(
                    _("for the whole piece, of which that share was done"),
                    f"{done} / {share} = {said} {unit}",
                )
            )
        if amount.per_m2:
            area = plain(work, 4)
            if not shown(area):
                return steps
            rate = plain(shown(said) / shown(area), 1)
            printed = plain(next(iter(amount.printed.values())), MOST_DECIMALS)
            says = _(
                "for each square metre of fabric (its stitches at own gauge), where the pattern says {printed}"
            ).format(printed=f"{printed} {unit}")
            return [*steps, Step(says, f"{said} {unit} / {area} m² = {rate} {unit}")]
        whole = [plain(n, 0) for n in piece.stitches.values()]
        total = sum(map(int, whole))
        if len(whole) > 1:
            steps.append(
                Step(_("stitches in its parts, with the counts worked"), f"{added(whole)} = {total}")
            )
        else:
            steps.append(Step(_("stitches in it, with the counts worked: {n}").format(n=total)))
        size = took.size if took.size in amount.printed else next(iter(amount.printed), None)
        thousands = plain(total / 1000, 3)
        if size is None or not shown(thousands):
            return steps
        meant = plain(amount.typical[size] / float(np.exp(amount.rate.mean)) / 1000, 3)
        each = plain(shown(said) / shown(thousands), 3)
        printed = plain(amount.printed[size], MOST_DECIMALS)
        return [
            *steps,
            Step(
                _("metres in a thousand stitches") if yarn else _("hours in a thousand stitches"),
                f"{said} {unit} / {thousands} = {each} {unit}",
            ),
            Step(
                _(
                    "for size {size} as it is meant, {thousands} thousand stitches, where the pattern says {printed}"
                ).format(size=size, thousands=meant, printed=f"{printed} {unit}"),
                f"{each} {unit} × {meant} = {plain(shown(each) * shown(meant), 1)} {unit}",
            ),
        ]

    def amount_figures(
        self,
        finding: Finding,
        amount: Amount,
        work: Mapping[str, float],
        each: Mapping[str, float],
        worst: str,
    ) -> Figures:
        unit = amount.unit
        scale, base = (1.0, "m²") if amount.per_m2 else (1000.0, _("Stitches"))
        order = {size: j for j, size in enumerate(self.pattern.sizes)}
        shown_rows, more = furthest(
            amount.took, lambda t: abs(float(np.log(each[t.tester])) - amount.rate.mean)
        )
        rows = tuple(
            (
                self.name(took.tester),
                size_of(took.size),
                plain(took.whole, 1),
                plain(took.share * 100, 0) + " %",
                plain(work[took.tester], 3 if amount.per_m2 else 0),
                plain(each[took.tester] * scale, 3),
                plain(amount.printed[took.size or ""], 1) if took.size in amount.printed else "–",
            )
            for took in sorted(shown_rows, key=lambda t: (order.get(t.size or "", 0), self.name(t.tester)))
        )
        low, high = finding.interval or (np.nan, np.nan)
        facts = [
            (
                pgettext("by how much", "Off")
                if amount.per_m2
                else _("Off in size {size}").format(size=worst),
                f"{signed(finding.estimate or 0.0)} {unit}",
            ),
            (_("95 % interval"), f"{span_said(signed(low), signed(high))} {unit}"),
            (_("Spread between makers"), f"{plain(amount.rate.sd * 100, 1)} %"),
            (_("Degrees of freedom"), plain(amount.rate.df, 1)),
            (_("Makers"), str(amount.makers)),
        ]
        enough = amount.enough_for(worst)
        if enough is not None:
            share = _("{share} of makers").format(share=f"{plain(enough * 100, 0)} %")
            facts.append((_("What is printed will do for"), share))
        return Figures(
            _("Yarn by tester, for the whole piece")
            if amount.kind == "yarn"
            else _("Hours by tester, for the whole piece"),
            (
                _("Tester"),
                _("Size"),
                _("Took, {unit}").format(unit=unit),
                pgettext("share of the piece", "Done"),
                base,
                _("{unit} to {base}").format(unit=unit, base="1 m²" if amount.per_m2 else "1000"),
                _("Printed"),
            ),
            rows,
            tuple(facts + needs_fact(finding)),
            more,
        )

    def amount_verdict(self, finding: Finding) -> str:
        yarn = finding.kind is FindingKind.YARN
        match finding.verdict:
            case Verdict.AMEND if yarn and (finding.estimate or 0.0) > 0:
                return _("Amend: even the low end of the interval is more than is printed.")
            case Verdict.AMEND if yarn:
                return _("Amend: what is printed is more than a tenth above what nine makers in ten need.")
            case Verdict.AMEND:
                return _(
                    "Amend: even the near end of the interval is off by more than a quarter, which is fine."
                )
            case Verdict.LOOK_CLOSER if yarn:
                return _(
                    "Look closer: it is off by more than a tenth, which is fine; what is missing: a narrower interval."
                )
            case Verdict.LOOK_CLOSER:
                return _(
                    "Look closer: it is off by more than a quarter, which is fine; what is missing: a narrower interval."
                )
            case Verdict.HOLDS:
                said = (
                    ngettext(
                        "Holds: the interval stays within a tenth, which is fine. It rests on {n} piece.",
                        "Holds: the interval stays within a tenth, which is fine. It rests on {n} pieces.",
                        finding.testers,
                    )
                    if yarn
                    else ngettext(
                        "Holds: the interval stays within a quarter, which is fine. It rests on {n} piece.",
                        "Holds: the interval stays within a quarter, which is fine. It rests on {n} pieces.",
                        finding.testers,
                    )
                )
                return said.format(n=finding.testers)
        if yarn:
            return _(
                "Open: it is off by less than a tenth, which is fine, but the interval reaches beyond it."
            )
        return _("Open: it is off by less than a quarter, which is fine, but the interval reaches beyond it.")
