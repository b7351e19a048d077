"""What the report of a round says beside its analysis: who may be named, what was decided, whom to thank."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, cast

from django.db.models import Exists, OuterRef, QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from testround.errata.models import Decision, Erratum
from testround.errata.selectors.analyses import PRESSING, Read
from testround.errata.selectors.credits import Credits, credits_of
from testround.errata.selectors.results import decisions_of
from testround.errata.wording import name_of, names_of, needs_words, sizes_words, title_of
from testround.kernel.findings import VERDICT_WORDS
from testround.kernel.terms import Terms, translate
from testround.paper.report import Decided, Known, Linked
from testround.people.readers import Reader
from testround.prepared import Prepared
from testround.rounds.models import Consent, Place, Round


@dataclass(frozen=True, slots=True)
class ReportFacts:
    """What the report rests on beside what the analysis reads."""

    round: Round
    names: Mapping[str, str | None]
    """Every place by its key, in order: the name of a tester who lets the report name them, else None."""
    decisions: tuple[Decision, ...]
    errata: tuple[Erratum, ...]
    credits: Credits

    @property
    def state(self) -> tuple[Any, ...]:
        """Plain values that are others once the report would say something else."""
        return (
            tuple(self.names.items()),
            tuple((made.finding_id, made.choice, made.reason, made.finding) for made in self.decisions),
            tuple(
                (one.pk, one.number, one.place, one.sizes, one.text, one.published_at) for one in self.errata
            ),
            (self.credits.names, self.credits.others),
        )


def report_facts(round: Round) -> ReportFacts:
    """What the report of a round rests on beside its analysis, in four queries."""
    return ReportFacts(
        round=round,
        names={
            key: name if named and state != Place.State.GIVEN_BACK else None
            for key, name, named, state in _NAMES.rows(round=round)
        },
        decisions=tuple(decisions_of(round)),
        errata=tuple(_ERRATA.rows(round=round)),
        credits=credits_of(round.edition.pattern, round.edition),
    )


def _names_in(round: Round) -> QuerySet[Place, tuple[str, str, bool, str]]:
    """Key, name, whether the report may name them, and state of every place."""
    allowed = Consent.objects.filter(
        place=OuterRef("pk"), kind=Consent.Kind.REPORT, withdrawn_at=None, place__tester__isnull=False
    )
    places = Place.objects.filter(round=round).order_by("pk").annotate(named=Exists(allowed))
    return places.values_list("key", "name", "named", "state")


_NAMES: Prepared[tuple[str, str, bool, str]] = Prepared(_names_in)
_ERRATA: Prepared[Erratum] = Prepared(
    lambda round: Erratum.objects.filter(round=round).select_related("pattern", "edition")
)


def report_known(facts: ReportFacts, read: Read, reader: Reader) -> Known:
    """The same in the reader's words."""
    source = cast(Terms, facts.round.edition.terms)

    def told(text: str) -> str:
        return translate(text, source=source, target=reader.terms)

    return Known(
        called={
            key: name or _("Tester {n}").format(n=number)
            for number, (key, name) in enumerate(facts.names.items(), 1)
        },
        told=told,
        decided=_Deciding(facts, read, told).decided(),
        thanks=facts.credits.sentence,
    )


class _Deciding:
    """Rows of the report's tables of what was decided."""

    def __init__(self, facts: ReportFacts, read: Read, told: Any) -> None:
        self.facts, self.read, self.told = facts, read, told
        self.named = names_of(read.sheet)
        self.desk = reverse("errata:desk", args=[facts.round.code])
        self.made = {decision.finding_id: decision for decision in facts.decisions}

    def decided(self) -> Decided:
        drafts = [one for one in self.facts.errata if not one.is_published]
        published = sorted(
            (one for one in self.facts.errata if one.is_published), key=lambda one: one.number or 0
        )
        declined = [made for made in self.facts.decisions if made.choice == Decision.Choice.DECLINED]
        return Decided(
            published=tuple(
                (
                    Linked(str(one.number), one.get_absolute_url()),
                    self.told(one.place),
                    self.sizes(one),
                    self.told(one.text),
                    date_format(timezone.localdate(one.published_at), "DATE_FORMAT"),
                )
                for one in published
            ),
            drafted=tuple(
                (
                    Linked(
                        self.told(one.place), reverse("errata:draft", args=[self.facts.round.code, one.pk])
                    ),
                    self.sizes(one),
                    self.told(one.text),
                )
                for one in drafts
            ),
            declined=tuple((*self.about(made.finding), made.reason) for made in declined),
            waiting=(*self.put_off(), *self.undecided()),
        )

    def sizes(self, one: Erratum) -> str:
        """Which copies an erratum is about."""
        words = sizes_words(one.sizes, one.edition.sheet.get("sizes", []))
        return words[:1].upper() + words[1:] if words else _("Every copy")

    def about(self, finding: Mapping[str, Any]) -> tuple[str, str]:
        """What a finding is about, and its verdict."""
        title = title_of(finding, self.named)
        if finding["subject"] in self.named:
            label = name_of(finding["subject"], self.named).label
            title = title.replace(label, self.told(label))
        return title, VERDICT_WORDS.get(finding["verdict"], finding["verdict"])

    def put_off(self) -> list[tuple[str, ...]]:
        """Findings that were neither accepted nor declined, with what is waited for."""
        settled = (Decision.Choice.ACCEPTED, Decision.Choice.DECLINED)
        return [
            (*self.about(made.finding), made.reason or str(made.get_choice_display()))
            for made in self.facts.decisions
            if made.choice not in settled
        ]

    def undecided(self) -> list[tuple[str, ...]]:
        """Findings that ask for a decision and have none."""
        pressing: Sequence[Mapping[str, Any]] = [
            finding
            for finding in self.read.document["findings"]
            if finding["verdict"] in PRESSING and finding["id"] not in self.made
        ]
        rows: list[tuple[str, ...]] = []
        for finding in pressing:
            title, verdict = self.about(finding)
            rows.append(
                (Linked(title, self.desk), verdict, needs_words(finding) or _("The designer’s word."))
            )
        return rows
