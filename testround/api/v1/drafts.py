"""Drafts of errata: worded, completed, made into one, looked over, published for good; and the edition that follows."""

from __future__ import annotations

from typing import Any

import django_filters as df
from django.db.models import QuerySet
from django.urls import reverse
from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.filtering import RowFilter
from testround.api.problems import Fault, invalid
from testround.api.scopes import Scope
from testround.api.v1 import errata_shapes as shapes
from testround.api.v1.analysis import Judged
from testround.api.v1.desk import Decide, erratum_shown
from testround.api.v1.examples import errata as examples
from testround.errata.models import Erratum
from testround.errata.selectors import drafts_of, following_of
from testround.errata.services import (
    Wording,
    edition_correct,
    errata_merge,
    erratum_complete,
    erratum_discard,
    erratum_publish,
    erratum_reword,
    problems_before_publishing,
    sentences_of,
)
from testround.kernel.problems import Problem
from testround.patterns.selectors import patterns_of
from testround.rounds.refusals import Refused

TAG = "Errata"


class ErratumFilter(df.FilterSet):
    draft = df.BooleanFilter(
        field_name="published_at", lookup_expr="isnull", label="True: drafts. False: what is published."
    )
    edition = RowFilter(field_name="edition_id", label="`id` of the edition it is out for.")


def errata_loaded(errata: QuerySet[Erratum]) -> QuerySet[Erratum]:
    """Errata with all that is shown of them: three queries for any number."""
    return errata.select_related("pattern", "edition", "round", "corrects").prefetch_related(
        "decisions", "remarks"
    )


class ErrataOfPattern(Endpoint):
    @operation(
        "errata_list",
        "The errata of a pattern",
        tag=TAG,
        scope=Scope.ERRATA_READ,
        answers=shapes.ErratumOut(many=True),
        example=examples.PUBLISHED,
        filters=ErratumFilter,
    )
    def get(self, request: Request, code: str) -> Response:
        """Drafts and published errata of a pattern that you own or edit. Anybody reads what is published at `document`."""
        pattern = self.here(patterns_of(self.user), code=code)
        errata = errata_loaded(Erratum.objects.filter(pattern=pattern))
        return self.paged(errata, erratum_shown, ErratumFilter)


class Drafts(Judged):
    @operation(
        "drafts_list",
        "Drafts on a desk",
        tag=TAG,
        scope=Scope.ERRATA_READ,
        answers=shapes.ErratumOut(many=True),
        example=examples.DRAFT,
    )
    def get(self, request: Request, code: str) -> Response:
        """The drafts of errata on the desk of a round, newest first."""
        return self.paged(errata_loaded(drafts_of(self.round(code))), erratum_shown)


class OfDraft(Judged):
    def draft(self, code: str, pk: int) -> Any:
        """A draft on the desk of a round, or 404; locked where it is changed."""
        return self.here(errata_loaded(drafts_of(self.round(code))), pk=pk)


class OneDraft(OfDraft):
    @operation(
        "drafts_retrieve",
        "One draft",
        tag=TAG,
        scope=Scope.ERRATA_READ,
        answers=shapes.ErratumOut,
        example=examples.DRAFT,
    )
    def get(self, request: Request, code: str, id: int) -> Response:
        """A draft on the desk of a round."""
        return self.shown(erratum_shown(self.draft(code, id)))

    @operation(
        "drafts_edit",
        "Word a draft",
        tag=TAG,
        scope=Scope.ERRATA_WRITE,
        takes=shapes.DraftChange,
        sends=examples.REWORD,
        answers=shapes.ErratumOut,
        example={**examples.DRAFT, "text": examples.REWORD["text"]},
    )
    def patch(self, request: Request, code: str, id: int) -> Response:
        """Change a draft’s words, the sizes it is for, and the numbers it changes."""
        draft = self.draft(code, id)
        self.hold_against(erratum_shown(draft))
        sent = self.body(shapes.DraftChange)
        reword(draft, sent, self.user)
        return self.shown(erratum_shown(self.draft(code, id)))

    @operation("drafts_discard", "Remove a draft", tag=TAG, scope=Scope.ERRATA_WRITE, status=204)
    def delete(self, request: Request, code: str, id: int) -> Response:
        """Remove a draft; the findings and remarks it came from are undecided again."""
        draft = self.draft(code, id)
        self.hold_against(erratum_shown(draft))
        erratum_discard(erratum=draft, by=self.user)
        return self.gone()


def reword(draft: Erratum, sent: dict[str, Any], by: Any) -> Erratum:
    """Change a draft to what was sent. Raises with each fault at its place in the body."""
    now = {(change["subject"], change["unit"]): change["now"] for change in draft.changes}
    if "changes" in sent:
        _check_subjects(draft, sent["changes"], set(now))
        now = {(change["subject"], change["unit"]): change["now"] for change in sent["changes"]}
    corrects = draft.corrects.number if draft.corrects else None
    wording = Wording(
        place=sent.get("place", draft.place),
        text=sent.get("text", draft.text),
        why=sent.get("why", draft.why),
        sizes=sent.get("sizes", draft.sizes),
        now=now,
        corrects=sent.get("corrects", corrects),
    )
    try:
        return erratum_reword(erratum=draft, wording=wording, by=by)
    except Refused as refusal:
        at = {(one["subject"], one["unit"]): index for index, one in enumerate(sent.get("changes", ()))}
        raise invalid(*(Fault(one.sentence, _place_of(one, at)) for one in refusal.problems)) from refusal


def _check_subjects(draft: Erratum, changes: list[dict[str, Any]], known: set[tuple[str, str]]) -> None:
    """As on the page: what the draft changes already, and any number of the sheet, each once."""
    addable = known | {(number.key, number.unit) for number in draft.edition.document.numbers}
    faults = []
    seen: set[tuple[str, str]] = set()
    for index, change in enumerate(changes):
        named = (change["subject"], change["unit"])
        if named not in addable:
            said = _("The sheet has no number {subject} in {unit}.")
            faults.append(Fault(said.format(subject=named[0], unit=named[1]), f"/changes/{index}/subject"))
        elif named in seen:
            faults.append(Fault(_("This number stands here twice."), f"/changes/{index}/subject"))
        seen.add(named)
    if faults:
        raise invalid(*faults)


def _place_of(problem: Problem, at: dict[tuple[str, str], int]) -> str:
    """Where in the body a service's problem is: it names a value as ``subject|unit|size``."""
    subject, bar, rest = problem.path.partition("|")
    unit, _bar, size = rest.rpartition("|")
    if bar and (subject, unit) in at:
        return f"/changes/{at[subject, unit]}/now/{size}"
    return f"/{problem.path}" if problem.path and not bar else ""


class Merge(Decide):
    @operation(
        "drafts_merge",
        "Make one draft of several",
        tag=TAG,
        scope=Scope.ERRATA_WRITE,
        takes=shapes.DraftsMerge,
        sends={"drafts": [17, 18]},
        answers=shapes.ErratumOut,
        example=examples.DRAFT,
    )
    def post(self, request: Request, code: str) -> Response:
        """Make one draft of several: the oldest takes in the others, which are removed."""
        round, sent = self.round(code), self.body(shapes.DraftsMerge)
        merged = errata_merge(round=round, draft_ids=sent["drafts"], by=self.user)
        return self.shown(erratum_shown(errata_loaded(Erratum.objects.all()).get(pk=merged.pk)))


class Complete(OfDraft):
    @operation(
        "drafts_complete",
        "Add what follows to a draft",
        tag=TAG,
        scope=Scope.ERRATA_WRITE,
        answers=shapes.ErratumOut,
        example=examples.DRAFT,
    )
    def post(self, request: Request, code: str, id: int) -> Response:
        """Add every printed number and measurement that no longer follows from what the draft corrects.

        Where nothing has to be added the draft stays as it is.
        """
        draft = self.draft(code, id)
        if draft.changes and following_of(draft).found.to_add:
            erratum_complete(erratum=draft, by=self.user)
        return self.shown(erratum_shown(self.draft(code, id)))


class Preview(OfDraft):
    @operation(
        "drafts_preview",
        "What publishing would bring",
        tag=TAG,
        scope=Scope.ERRATA_READ,
        answers=shapes.DraftPreviewOut,
        example=examples.PREVIEW,
    )
    def get(self, request: Request, code: str, id: int) -> Response:
        """What keeps a draft from being published, what follows from its numbers, and what has to be corrected too."""
        draft = self.draft(code, id)
        found = following_of(draft) if draft.changes else None
        together = sentences_of(found.together, found.sheet) if found and found.together else []
        return self.shown(
            shapes.DraftPreviewOut(
                {
                    "problems": _told(problems_before_publishing(draft)),
                    "follows": found.found.follows if found else [],
                    "to_add": found.found.to_add if found else [],
                    "together": _told(together),
                }
            ).data
        )


def _told(problems: list[Problem]) -> list[dict[str, str]]:
    return [{"detail": problem.sentence, "path": problem.path} for problem in problems]


class Publish(OfDraft):
    @operation(
        "drafts_publish",
        "Publish an erratum",
        tag=TAG,
        scope=Scope.ERRATA_PUBLISH,
        answers=shapes.ErratumOut,
        example=examples.PUBLISHED,
    )
    def post(self, request: Request, code: str, id: int) -> Response:
        """Give a draft the pattern’s next number and publish it, for good. The owner alone may.

        What it lacks is listed by the preview, and refused here.
        """
        published = erratum_publish(erratum=self.draft(code, id), by=self.user)
        return self.shown(erratum_shown(errata_loaded(Erratum.objects.all()).get(pk=published.pk)))


class NextEdition(Judged):
    @operation(
        "editions_correct",
        "Make the corrected edition",
        tag=TAG,
        scope=Scope.PATTERNS_WRITE,
        takes=shapes.NextEdition,
        sends={"label": "1.0"},
        answers=shapes.EditionMade,
        example=examples.EDITION,
        status=201,
    )
    def post(self, request: Request, code: str) -> Response:
        """Make the edition that follows the round’s, with every published correction of that edition in place."""
        round, sent = self.round(code), self.body(shapes.NextEdition)
        edition = edition_correct(round=round, label=sent["label"], by=self.user)
        return self.made(
            shapes.EditionMade(edition).data, reverse("api:pattern", args=[edition.pattern.code])
        )
