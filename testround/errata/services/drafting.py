"""Drafts of errata: made of remarks, made into one, worded, removed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.errata.models import Erratum, RemarkDecision
from testround.errata.selectors import amendments_of, drafts_of, may_correct, published_sheet, stands_in
from testround.errata.services.values import check_values, gauge_stands
from testround.errata.wording import (
    in_order,
    name_of,
    names_of,
    sizes_listed,
)
from testround.kernel.consequences import completed
from testround.kernel.problems import Problem
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.words import commas
from testround.patterns.access import Right, require
from testround.people.models import User
from testround.reports.models import Remark
from testround.rounds.models import Round
from testround.rounds.refusals import Refused
from testround.rounds.services import diary_write

# Of an erratum's words; what is drafted beyond that is cut, for the designer to word.
LONGEST_PLACE: int = Erratum._meta.get_field("place").max_length
LONGEST_TEXT: int = Erratum._meta.get_field("text").max_length


def hold_round(round: Round) -> None:
    """Two decisions on one round wait for each other."""
    Round.objects.select_for_update().only("pk").get(pk=round.pk)


def joined(lists: Iterable[Sequence[dict[str, Any]]]) -> list[dict[str, Any]]:
    """Changes of several findings in one list. Of two that change one number in one size the first holds."""
    joined: list[dict[str, Any]] = []
    taken: set[tuple[str, str, str]] = set()
    kept: dict[tuple[str, str], list[str]] = {}
    lists = [list(changes) for changes in lists]
    for change in (change for changes in lists for change in changes):
        kept.setdefault((change["subject"], change["unit"]), []).extend(change.get("keeps", ()))
    for change in (change for changes in lists for change in changes):
        new = {
            size: value
            for size, value in change["now"].items()
            if (change["subject"], change["unit"], size) not in taken
        }
        taken |= {(change["subject"], change["unit"], size) for size in new}
        if new:
            keeps = list(dict.fromkeys(kept[change["subject"], change["unit"]]))
            was = {s: v for s, v in change["was"].items() if s in new}
            joined.append({**change, "now": new, "was": was, **({"keeps": keeps} if keeps else {})})
    return joined


def joined_sizes(lists: Sequence[Sequence[str]], sizes: Sequence[str]) -> list[str]:
    if not all(lists):
        return []
    return sizes_listed({size for names in lists for size in names}, sizes)


def one_line(places: Iterable[str]) -> str:
    each = dict.fromkeys(place for several in places for place in several.split("; "))
    return "; ".join(each)[:LONGEST_PLACE]


@transaction.atomic
def erratum_from_remarks(*, round: Round, remark_ids: Sequence[int], by: User) -> Erratum:
    """Draft an erratum from what testers remarked. The designer words it; remarks are never published."""
    require(by, Right.EDIT, round.edition.pattern)
    remarks = list(standing_remarks(round).filter(pk__in=remark_ids))
    if not remarks:
        raise Refused.because(_("No remark is ticked; tick one or more, then make a draft of them."))
    places = list(dict.fromkeys(remark.where for remark in remarks if remark.where))
    erratum = Erratum.objects.create(
        pattern=round.edition.pattern,
        edition=round.edition,
        round=round,
        place="; ".join(places)[:LONGEST_PLACE],
        text="",
        why=_testers_say(remarks),
    )
    erratum.remarks.set(remarks)
    RemarkDecision.objects.filter(remark__in=remarks).delete()
    said = ngettext(
        "Draft of an erratum made from one remark.",
        "Draft of an erratum made from {n} remarks.",
        len(remarks),
    )
    diary_write(round=round, by=by, text=said.format(n=len(remarks)))
    return erratum


@transaction.atomic
def remarks_decide(
    *, round: Round, remark_ids: Sequence[int], choice: str, reason: str = "", by: User
) -> list[RemarkDecision]:
    """Decline remarks with a reason, or let them wait until somebody else remarks on the same place.

    Raises
    ------
    Refused
        Nothing is ticked, one is in an erratum, or a remark is declined without a reason.
    """
    require(by, Right.EDIT, round.edition.pattern)
    hold_round(round)
    reason = reason.strip()
    remarks = list(standing_remarks(round).filter(pk__in=remark_ids).prefetch_related("errata"))
    if not remarks:
        raise Refused.because(_("No remark is ticked; tick one or more, then say what becomes of them."))
    if any(remark.errata.all() for remark in remarks):
        raise Refused.because(_("One of the ticked remarks is in an erratum already; leave it out."))
    if choice == RemarkDecision.Choice.DECLINED and not reason:
        said = _("Reason: nothing is written here; say in a few words why these remarks are declined.")
        raise Refused.because(said, "reason")
    most = RemarkDecision._meta.get_field("reason").max_length
    if len(reason) > most:
        said = _("Reason: this has {n} characters; keep it within {most}.")
        raise Refused.because(said.format(n=len(reason), most=most), "reason")
    RemarkDecision.objects.filter(remark__in=remarks).delete()
    made = RemarkDecision.objects.bulk_create(
        [RemarkDecision(remark=remark, choice=choice, reason=reason, by=by) for remark in remarks]
    )
    if choice == RemarkDecision.Choice.DECLINED:
        said = ngettext("{n} remark declined: {places}.", "{n} remarks declined: {places}.", len(made))
    else:
        said = ngettext(
            "{n} remark waits for more evidence: {places}.",
            "{n} remarks wait for more evidence: {places}.",
            len(made),
        )
    places = commas(dict.fromkeys(remark.where or _("no place named") for remark in remarks))
    diary_write(round=round, by=by, text=said.format(n=len(made), places=places), reason=reason)
    return made


@transaction.atomic
def remark_undo(*, round: Round, remark_id: int, by: User) -> None:
    """Take back what was decided of a remark. Raises Refused where nothing was."""
    require(by, Right.EDIT, round.edition.pattern)
    decision = RemarkDecision.objects.filter(remark__in=standing_remarks(round), remark=remark_id).first()
    if decision is None:
        raise Refused.because(_("Nothing was decided of this remark, so there is nothing to undo."))
    where = Remark.objects.get(pk=remark_id).where or _("no place named")
    decision.delete()
    diary_write(round=round, by=by, text=_("A remark is taken up again: {place}.").format(place=where))


def standing_remarks(round: Round) -> QuerySet[Remark]:
    return Remark.objects.filter(place__round=round, superseded_at__isnull=True)


def _testers_say(remarks: Sequence[Remark]) -> str:
    testers = len({remark.place_id for remark in remarks})
    kinds = commas(dict.fromkeys(str(remark.get_kind_display()) for remark in remarks))
    said = ngettext(
        "One tester remarked on this step ({kinds}).", "{n} testers remarked on this step ({kinds}).", testers
    )
    return said.format(n=testers, kinds=kinds)


@transaction.atomic
def errata_merge(*, round: Round, draft_ids: Sequence[int], by: User) -> Erratum:
    """Make one draft of several: the first takes in the others, which are removed."""
    require(by, Right.EDIT, round.edition.pattern)
    hold_round(round)
    drafts = list(drafts_of(round).filter(pk__in=draft_ids).select_related("corrects").order_by("pk"))
    if len(drafts) < 2:
        raise Refused.because(_("Fewer than two drafts are ticked; tick the drafts to be made into one."))
    first, *others = drafts
    corrected = {draft.corrects_id: draft.corrects for draft in drafts if draft.corrects is not None}
    if len(corrected) > 1:
        said = _(
            "These drafts put right different errata ({numbers}), and one erratum says of one other that it does: "
            "leave them apart."
        )
        numbers = commas(str(other.number) for other in corrected.values())
        raise Refused.because(said.format(numbers=numbers))
    first.corrects = next(iter(corrected.values()), None)
    sizes = round.edition.document.sizes
    first.changes = joined([draft.changes for draft in drafts])
    first.sizes = joined_sizes([draft.sizes for draft in drafts], sizes)
    first.place = one_line(draft.place for draft in drafts)
    first.text = "\n".join(draft.text for draft in drafts if draft.text)[:LONGEST_TEXT]
    first.why = " ".join(dict.fromkeys(draft.why for draft in drafts if draft.why))[:LONGEST_TEXT]
    first.save()
    for other in others:
        other.decisions.update(erratum=first)
        first.remarks.add(*other.remarks.all())
        other.delete()
    said = ngettext("{n} draft of errata made into one.", "{n} drafts of errata made into one.", len(drafts))
    diary_write(round=round, by=by, text=said.format(n=len(drafts)))
    return first


@dataclass(frozen=True, slots=True)
class Wording:
    """A draft as its form gives it: ``now`` holds what was typed, by subject and unit, then size."""

    place: str
    text: str
    why: str
    sizes: Sequence[str]
    now: Mapping[tuple[str, str], Mapping[str, float]]
    corrects: int | None = None
    """The published erratum that it puts right, by its number."""


@transaction.atomic
def erratum_reword(*, erratum: Erratum, wording: Wording, by: User) -> Erratum:
    """Change a draft's words, sizes and numbers.

    Raises
    ------
    Refused
        A number that is not whole or does not keep its stitch multiple, or an unknown size; each named.
    """
    locked = (
        Erratum.objects.select_for_update(of=("self",))
        .select_related("pattern", "edition")
        .get(pk=erratum.pk)
    )
    require(by, Right.EDIT, locked.pattern)
    if locked.is_published:
        said = _("Erratum {number} is published and stays as it is.")
        raise Refused.because(said.format(number=locked.number))
    sheet = locked.edition.document
    stands = stands_in(sheet)
    names = names_of(sheet)
    problems = [
        Problem("sizes", _no_such_size(size, sheet)) for size in wording.sizes if size not in sheet.sizes
    ]
    changes = []
    came_from = {(change["subject"], change["unit"]): change for change in locked.changes}
    for (subject, unit), now in wording.now.items():
        problems += check_values(sheet, subject, unit, now)
        before = came_from.get((subject, unit))
        named = name_of(subject, names)
        was = gauge_stands(sheet, subject, unit) or {
            **stands.get(subject, {}),
            **(before["was"] if before else {}),
        }
        # What the edition does not print, and the correction says so that it does not follow from another.
        stays = before["now"].keys() - before["was"].keys() if before else set()
        new = {size: value for size, value in now.items() if value != was.get(size) or size in stays}
        if new:
            changes.append(
                {
                    "subject": subject,
                    "label": named.label,
                    "place": named.place,
                    "unit": unit,
                    "was": {size: was[size] for size in new if size in was and size not in stays},
                    "now": new,
                    "finding": before["finding"] if before else "",
                    **({"keeps": before["keeps"]} if before and before.get("keeps") else {}),
                }
            )
    corrects = None
    if wording.corrects is not None:
        corrects = may_correct(locked).filter(number=wording.corrects).first()
        if corrects is None:
            said = _(
                "This pattern has no erratum {number} that is published; choose one that readers can see."
            )
            problems.append(Problem("corrects", said.format(number=wording.corrects)))
    if problems:
        raise Refused(problems)
    named_sizes = set(wording.sizes)
    if named_sizes:
        named_sizes |= {size for change in changes for size in change["now"] if size in sheet.sizes}
    locked.place, locked.text, locked.why = wording.place.strip(), wording.text.strip(), wording.why.strip()
    locked.sizes = sizes_listed(named_sizes, sheet.sizes)
    locked.changes = changes
    locked.corrects = corrects
    locked.save(update_fields=["place", "text", "why", "sizes", "changes", "corrects"])
    return locked


def _no_such_size(size: str, sheet: SheetDocument) -> str:
    if not sheet.sizes:
        return _("The pattern has no size {size}: it has no sizes.").format(size=size)
    said = _("The pattern has no size {size}: it has {sizes}.")
    return said.format(size=size, sizes=commas(sheet.sizes))


@transaction.atomic
def erratum_complete(*, erratum: Erratum, by: User) -> Erratum:
    """Add to a draft every printed number and measurement that no longer follows from what it corrects.

    Raises
    ------
    Refused
        It is published, or nothing has to be added.
    """
    locked = _draft_held(erratum, by)
    own = amendments_of(locked.changes)
    sheet = locked.edition.document
    whole = completed(published_sheet(locked), own)
    if whole == tuple(own):
        raise Refused.because(
            _("Nothing has to be added: everything printed follows from what is corrected.")
        )
    stands, names = stands_in(sheet), names_of(sheet)
    before = {(change["subject"], change["unit"]): change for change in locked.changes}
    changes = []
    for one in whole:
        change = before.get((one.subject, one.unit))
        named = name_of(one.subject, names)
        was = {**stands.get(one.subject, {}), **(change["was"] if change else {})}
        changes.append(
            {
                "label": named.label,
                "place": named.place,
                "finding": "",
                **(change or {}),
                "subject": one.subject,
                "unit": one.unit,
                "was": {size: was[size] for size in one.now if size in was},
                "now": in_order(one.now, sheet.sizes),
            }
        )
    locked.changes = changes
    if locked.sizes:
        touched = {size for change in changes for size in change["now"] if size in sheet.sizes}
        locked.sizes = sizes_listed({*locked.sizes, *touched}, sheet.sizes)
    locked.save(update_fields=["changes", "sizes"])
    if locked.round is not None:
        said = _("Draft of an erratum: what follows from its numbers was added: {place}.")
        diary_write(round=locked.round, by=by, text=said.format(place=locked.place))
    return locked


def _draft_held(erratum: Erratum, by: User) -> Erratum:
    """The draft's row, held until the transaction ends."""
    locked = (
        Erratum.objects.select_for_update(of=("self",))
        .select_related("pattern", "edition", "round__edition")
        .get(pk=erratum.pk)
    )
    require(by, Right.EDIT, locked.pattern)
    if locked.is_published:
        said = _("Erratum {number} is published and stays as it is.")
        raise Refused.because(said.format(number=locked.number))
    return locked


@transaction.atomic
def erratum_discard(*, erratum: Erratum, by: User) -> None:
    """Remove a draft; the findings and remarks it came from are undecided again."""
    locked = Erratum.objects.select_for_update(of=("self",)).select_related("pattern").get(pk=erratum.pk)
    require(by, Right.EDIT, locked.pattern)
    if locked.is_published:
        said = _("Erratum {number} is published and stays as it is.")
        raise Refused.because(said.format(number=locked.number))
    if locked.round is not None:
        said = _("Draft of an erratum removed: {place}.").format(place=locked.place)
        diary_write(round=locked.round, by=by, text=said)
    locked.decisions.all().delete()
    locked.delete()
