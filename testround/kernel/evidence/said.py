"""What testers said of the text and of the fit, in numbers."""

from __future__ import annotations

from collections import Counter, defaultdict

from testround.kernel.evidence.base import Case, Evidence
from testround.kernel.findings import VERDICT_WORDS, Finding, Verdict
from testround.kernel.round import FitSays, RemarkKind
from testround.kernel.words import commas, ngettext, pgettext
from testround.kernel.words import gettext as _
from testround.kernel.worked import Step


class Said(Case):
    """Evidence for remarks and fit."""

    def clarity(self, finding: Finding) -> Evidence:
        place = _folded(finding.subject)
        said = [
            (tester, remark)
            for tester in self.testers
            for remark in tester.remarks
            if remark.place and remark.kind is not RemarkKind.FIT and _folded(remark.place) == place
        ]
        kinds = Counter(_of_remark(remark.kind) for _tester, remark in said)
        people = {tester.id: tester for tester, _remark in said}
        sizes = Counter(tester.size for tester in people.values() if tester.size)
        by_size = commas(f"{size} {sizes[size]}" for size in self.pattern.sizes if sizes[size])
        by_kind = commas(f"{kind} {n}" for kind, n in sorted(kinds.items()))
        steps = [Step(_("remarks by kind: {counts}").format(counts=by_kind))]
        if by_size:
            steps.append(Step(_("testers by size: {counts}").format(counts=by_size)))
        amend = finding.verdict is Verdict.AMEND
        verdict = (
            _("Amend: so many stumble only where the words can be better.")
            if amend
            else _("Look closer: two may have stumbled by chance.")
        )
        lead = ngettext(
            "{n} of the {testers} tester of the round remarked on {place}.",
            "{n} of the {testers} testers of the round remarked on {place}.",
            len(self.testers),
        )
        return Evidence(
            finding.id,
            lead.format(n=len(people), testers=len(self.testers), place=finding.subject),
            tuple(steps),
            (verdict, *self.rests(finding)),
            rests=self.rests(finding),
        )

    def fit(self, finding: Finding) -> Evidence:
        dimension = self.dimension(finding.subject)
        heard: dict[str, Counter[str]] = defaultdict(Counter)
        for tester in self.testers:
            last = {fit.dimension: fit.says for fit in tester.fit}
            if dimension.key in last:
                heard[tester.size or ""][_of_fit(last[dimension.key])] += 1
        steps = [
            Step(_heard(size, commas(f"{word} {n}" for word, n in sorted(said.items()))))
            for size, said in sorted(
                heard.items(),
                key=lambda h: self.pattern.sizes.index(h[0]) if h[0] in self.pattern.sizes else -1,
            )
        ]
        own = self.by_id.get(f"finished-size:{dimension.key}")
        close = [
            _(
                "Look closer: at least two of a size, and most of those who said, find it so; whether it is the ease "
                "that is meant is for the designer to say."
            )
        ]
        if own is not None:
            close.append(_("The measurement itself: {verdict}.").format(verdict=VERDICT_WORDS[own.verdict]))
        return Evidence(
            finding.id,
            _("How {dimension} fits, by those who said.").format(dimension=dimension.label),
            tuple(steps),
            (" ".join(close),),
        )


def _heard(size: str, counts: str) -> str:
    return _("size {size}: {counts}").format(size=size, counts=counts) if size else counts


def _of_remark(kind: RemarkKind) -> str:
    return {
        RemarkKind.WRONG_NUMBER: pgettext("kind of remark", "wrong number"),
        RemarkKind.UNCLEAR: pgettext("kind of remark", "unclear"),
        RemarkKind.MISSING: pgettext("kind of remark", "missing"),
        RemarkKind.TYPO: pgettext("kind of remark", "typo"),
        RemarkKind.FIT: pgettext("kind of remark", "fit"),
    }[kind]


def _of_fit(says: FitSays) -> str:
    return {
        FitSays.TOO_SMALL: pgettext("how it fits", "too small"),
        FitSays.RIGHT: pgettext("how it fits", "right"),
        FitSays.TOO_LARGE: pgettext("how it fits", "too large"),
    }[says]


def _folded(place: str) -> str:
    return " ".join(place.split()).casefold().rstrip(".")
