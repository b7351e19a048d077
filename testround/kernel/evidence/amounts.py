"""What a piece took of yarn and of hours."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

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
    testers_said,
)
from testround.kernel.findings import Finding, FindingKind, Verdict
from testround.kernel.pace import Kind, Piece, pieces_of
from testround.kernel.worked import MOST_DECIMALS, Step, added, plain, shown


class Amounts(Case):
    """Evidence for yarn and hours."""

    def amount(self, finding: Finding) -> Evidence:
        kind: Kind = "yarn" if finding.kind is FindingKind.YARN else "hours"
        amount = self.analysis.taken.amount(kind)
        if amount is None:
            return Evidence(finding.id, finding.why)
        unit = amount.unit
        word = "metres" if kind == "yarn" else "hours"
        pieces = {piece.tester: piece for piece in pieces_of(self.sheet, self.testers, self.found)}
        work = {
            took.tester: sum(
                (pieces[took.tester].area if amount.per_m2 else pieces[took.tester].stitches).values()
            )
            for took in amount.took
        }
        each = {took.tester: took.whole / work[took.tester] for took in amount.took}
        per = "their square metres of fabric" if amount.per_m2 else "the stitches in them"
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
        where = "" if amount.per_m2 else f" in size {worst}"
        close = [
            *self.over_printed(amount, unit),
            f"Half of makers take {plain(amount.typical[worst], 1)} {unit}{where}, and "
            f"{plain(amount.printed[worst], MOST_DECIMALS)} {unit} are printed: off by "
            f"{signed(finding.estimate or 0.0)} {unit} (95 % interval {signed(low)} to {signed(high)} {unit}).",
            self.amount_verdict(finding),
            self.needs(finding),
        ]
        return Evidence(
            finding.id,
            f"What the pieces took in {word}, held against {per}. Take "
            f"{self.with_size(one.tester, one.size)}, who is in the middle of them.",
            tuple(steps),
            tuple(filter(None, close)),
            self.amount_figures(finding, amount, work, each, worst),
        )

    def furthest_off(self, finding: Finding, amount: Amount) -> str:
        """The size that the finding's estimate is of."""
        return min(
            amount.printed,
            key=lambda size: abs(amount.typical[size] - amount.printed[size] - (finding.estimate or 0.0)),
        )

    def over_printed(self, amount: Amount, unit: str) -> list[str]:
        taken = [
            (took.value, amount.printed[key])
            for took in amount.took
            if (key := next(iter(amount.printed)) if amount.per_m2 else took.size or "") in amount.printed
        ]
        if not taken:
            return []
        more = sum(value > printed for value, printed in taken)
        return [f"{more} of {testers_said(len(taken))} took more than is printed for theirs."]

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
                Step("what was used, by the ball", f"{grams} g × {metres} m / {weight} g = {said} m")
            )
        elif not yarn and 1 < len(tester.sittings) <= MOST_NAMED:
            hours = [plain(sitting.hours, MOST_DECIMALS) for sitting in tester.sittings]
            said = plain(float(sum(Decimal(text) for text in hours)), MOST_DECIMALS)
            steps.append(Step(f"{len(hours)} sittings together", f"{' + '.join(hours)} = {said} h"))
        else:
            steps.append(Step(f"what it took: {said} {unit}"))
        if took.share < 1:
            share, done = plain(took.share, 4), said
            said = plain(shown(done) / shown(share))
            steps.append(
                Step("for the whole piece, of which that share was done", f"{done} / {share} = {said} {unit}")
            )
        if amount.per_m2:
            area = plain(work, 4)
            if not shown(area):
                return steps
            rate = plain(shown(said) / shown(area), 1)
            printed = plain(next(iter(amount.printed.values())), MOST_DECIMALS)
            says = f"for each square metre of fabric (its stitches at own gauge), where the pattern says {printed} {unit}"
            return [*steps, Step(says, f"{said} {unit} / {area} m² = {rate} {unit}")]
        whole = [plain(n, 0) for n in piece.stitches.values()]
        total = sum(map(int, whole))
        if len(whole) > 1:
            steps.append(Step("stitches in its parts, with the counts worked", f"{added(whole)} = {total}"))
        else:
            steps.append(Step(f"stitches in it, with the counts worked: {total}"))
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
                f"{'metres' if yarn else 'hours'} in a thousand stitches",
                f"{said} {unit} / {thousands} = {each} {unit}",
            ),
            Step(
                f"for size {size} as it is meant, {meant} thousand stitches, where the pattern says {printed} {unit}",
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
        scale, base = (1.0, "m²") if amount.per_m2 else (1000.0, "Stitches")
        order = {size: j for j, size in enumerate(self.pattern.sizes)}
        shown_rows, more = furthest(
            amount.took, lambda t: abs(float(np.log(each[t.tester])) - amount.rate.mean)
        )
        rows = tuple(
            (
                self.name(took.tester),
                took.size or "own",
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
                "Off" if amount.per_m2 else f"Off in size {worst}",
                f"{signed(finding.estimate or 0.0)} {unit}",
            ),
            ("95 % interval", f"{signed(low)} to {signed(high)} {unit}"),
            ("Spread between makers", f"{plain(amount.rate.sd * 100, 1)} %"),
            ("Degrees of freedom", plain(amount.rate.df, 1)),
            ("Makers", str(amount.makers)),
        ]
        enough = amount.enough_for(worst)
        if enough is not None:
            facts.append(("What is printed will do for", f"{plain(enough * 100, 0)} % of makers"))
        return Figures(
            f"{'Yarn' if amount.kind == 'yarn' else 'Hours'} by tester, for the whole piece",
            (
                "Tester",
                "Size",
                f"Took, {unit}",
                "Done",
                base,
                f"{unit} to {'1 m²' if amount.per_m2 else '1000'}",
                "Printed",
            ),
            rows,
            tuple(facts + needs_fact(finding)),
            more,
        )

    def amount_verdict(self, finding: Finding) -> str:
        yarn = finding.kind is FindingKind.YARN
        fine = "a tenth" if yarn else "a quarter"
        match finding.verdict:
            case Verdict.AMEND if yarn and (finding.estimate or 0.0) > 0:
                return "Amend: even the low end of the interval is more than is printed."
            case Verdict.AMEND if yarn:
                return f"Amend: what is printed is more than {fine} above what nine makers in ten need."
            case Verdict.AMEND:
                return f"Amend: even the near end of the interval is off by more than {fine}, which is fine."
            case Verdict.LOOK_CLOSER:
                return f"Look closer: it is off by more than {fine}, which is fine; what is missing: a narrower interval."
            case Verdict.HOLDS:
                return f"Holds: the interval stays within {fine}, which is fine. It rests on {finding.testers} pieces."
        return f"Open: it is off by less than {fine}, which is fine, but the interval reaches beyond it."
