"""What testers said of the text and of the fit, in numbers."""

from __future__ import annotations

from collections import Counter, defaultdict

from testround.kernel.evidence.base import Case, Evidence, testers_said
from testround.kernel.findings import Finding, Verdict
from testround.kernel.round import RemarkKind
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
        kinds = Counter(remark.kind.value.replace("-", " ") for _, remark in said)
        people = {tester.id: tester for tester, _ in said}
        sizes = Counter(tester.size for tester in people.values() if tester.size)
        in_sizes = ", ".join(f"{size} {sizes[size]}" for size in self.pattern.sizes if sizes[size])
        steps = [
            Step(f"remarks by kind: {', '.join(f'{kind} {n}' for kind, n in sorted(kinds.items()))}"),
        ]
        if in_sizes:
            steps.append(Step(f"testers by size: {in_sizes}"))
        amend = finding.verdict is Verdict.AMEND
        verdict = (
            "Amend: so many stumble only where the words can be better."
            if amend
            else "Look closer: two may have stumbled by chance."
        )
        return Evidence(
            finding.id,
            f"{len(people)} of the {testers_said(len(self.testers))} of the round remarked on {finding.subject}.",
            tuple(steps),
            tuple(filter(None, (verdict, self.needs(finding) if finding.needs else ""))),
        )

    def fit(self, finding: Finding) -> Evidence:
        dimension = self.dimension(finding.subject)
        heard: dict[str, Counter[str]] = defaultdict(Counter)
        for tester in self.testers:
            last = {fit.dimension: fit.says for fit in tester.fit}
            if dimension.key in last:
                heard[tester.size or ""][last[dimension.key].value.replace("-", " ")] += 1
        steps = [
            Step(
                f"{f'size {size}: ' if size else ''}"
                + ", ".join(f"{word} {n}" for word, n in sorted(said.items()))
            )
            for size, said in sorted(
                heard.items(),
                key=lambda h: self.pattern.sizes.index(h[0]) if h[0] in self.pattern.sizes else -1,
            )
        ]
        own = self.by_id.get(f"finished-size:{dimension.key}")
        measured = ""
        if own is not None:
            word = own.verdict.value.replace("-", " ")
            measured = f" The measurement itself: {word}."
        return Evidence(
            finding.id,
            f"How {dimension.label} fits, by those who said.",
            tuple(steps),
            (
                "Look closer: at least two of a size, and most of those who said, find it so; whether it is the ease that "
                f"is meant is for the designer to say.{measured}",
            ),
        )


def _folded(place: str) -> str:
    return " ".join(place.split()).casefold().rstrip(".")
