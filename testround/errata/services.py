"""What changes on the errata desk, and the work that follows a report."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.db.models import Max, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.errata.models import Analysis, Decision, Erratum
from testround.errata.selectors import Read, drafts_of, may_correct, read_round, stands_in
from testround.errata.wording import (
    GAUGE_UNITS,
    UNIT_WORDS,
    affected_sizes,
    changes_from,
    draft_place,
    draft_text,
    in_order,
    name_of,
    names_of,
    sizes_listed,
    why_for_readers,
)
from testround.kernel.amounts import PER_M2
from testround.kernel.problems import Problem
from testround.kernel.round import LARGEST_COUNT, LONGEST_CM
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.roundfile import plain
from testround.kernel.sheet import Sheet
from testround.kernel.units import format_count
from testround.kernel.words import commas
from testround.outbox.services import handles
from testround.patterns.access import Right, require
from testround.patterns.models import Edition, Pattern
from testround.patterns.services import SheetRefused, edition_create_next
from testround.people.models import User
from testround.reports.models import Remark
from testround.rounds.models import Round
from testround.rounds.refusals import Refused
from testround.rounds.services import diary_write

# Findings files kept of one round, newest first: enough to compare with the last one.
KEPT_ANALYSES = 5
# Of an erratum's words; what is drafted beyond that is cut, for the designer to word.
LONGEST_PLACE: int = Erratum._meta.get_field("place").max_length
LONGEST_TEXT: int = Erratum._meta.get_field("text").max_length


# The analysis ---------------------------------------------------------------------------------------------


@handles("analyse")
def _analyse(subject: Mapping[str, Any]) -> None:
    """The work row that follows a report. A round that is gone by then needs no analysis."""
    round = Round.objects.select_related("edition").filter(pk=subject["round"]).first()
    if round is not None:
        analysis_keep(round=round)


def analysis_keep(*, round: Round) -> Analysis:
    """Analyse a round as it is now and keep the findings file under the hash of what it read."""
    read = read_round(round)
    with transaction.atomic():
        kept, _is_new = Analysis.objects.update_or_create(
            round=round,
            input_hash=read.input_hash,
            defaults={"document": read.document, "made": timezone.now()},
        )
        stale = Analysis.objects.filter(round=round).values_list("pk", flat=True)[KEPT_ANALYSES:]
        Analysis.objects.filter(pk__in=list(stale)).delete()
    return kept


# Findings -------------------------------------------------------------------------------------------------


def finding_accept(*, round: Round, finding_ids: Sequence[str], by: User) -> Erratum:
    """Accept findings: one draft of an erratum for all of them, with what stands, what should, and why.

    Raises
    ------
    Refused
        No finding was named, one is not in the analysis, or one is decided already.
    """
    require(by, Right.EDIT, round.edition.pattern)
    # Analysed before the transaction begins: nobody else's writing waits for arithmetic.
    read = read_round(round)
    with transaction.atomic():
        return _accept(read, round, _undecided(read, round, finding_ids), by)


def _accept(read: Read, round: Round, findings: Sequence[dict[str, Any]], by: User) -> Erratum:
    names, stands = names_of(read.sheet), stands_in(read.sheet)
    changes = _joined([changes_from(finding, names, stands) for finding in findings])
    by_finding = [
        [change for change in changes if change["finding"] == finding["id"]] for finding in findings
    ]
    every_size = [
        affected_sizes(finding, own, read.sheet.sizes)
        for finding, own in zip(findings, by_finding, strict=True)
    ]
    erratum = Erratum.objects.create(
        pattern=round.edition.pattern,
        edition=round.edition,
        round=round,
        place=_one_line(
            draft_place(finding, own, names) for finding, own in zip(findings, by_finding, strict=True)
        ),
        sizes=_joined_sizes(every_size, read.sheet.sizes),
        changes=changes,
        text=draft_text(changes, read.sheet.sizes)[:LONGEST_TEXT],
        why=" ".join(dict.fromkeys(why_for_readers(finding["why"]) for finding in findings))[:LONGEST_TEXT],
    )
    for finding in findings:
        if finding["kind"] == "clarity":
            erratum.remarks.add(*_standing_remarks(round).filter(where=finding["subject"]))
        Decision.objects.create(
            round=round,
            finding_id=finding["id"],
            choice=Decision.Choice.ACCEPTED,
            finding=finding,
            erratum=erratum,
            by=by,
        )
    said = _("Accepted for the errata: {subjects}.").format(subjects=_subjects(findings, names))
    diary_write(round=round, by=by, text=said)
    return erratum


def finding_decline(*, round: Round, finding_id: str, reason: str, by: User) -> Decision:
    """Decline a finding, with the reason that anyone who asks later will want.

    Raises
    ------
    Refused
        No reason was given, or the finding is unknown or decided already.
    """
    require(by, Right.EDIT, round.edition.pattern)
    reason = reason.strip()
    if not reason:
        raise Refused.because(
            _("Reason: nothing is written here; say in a few words why this finding is declined."), "reason"
        )
    most = Decision._meta.get_field("reason").max_length
    if len(reason) > most:
        said = _("Reason: this has {n} characters; keep it within {most}.")
        raise Refused.because(said.format(n=len(reason), most=most), "reason")
    read = read_round(round)
    with transaction.atomic():
        (finding,) = _undecided(read, round, [finding_id])
        decision = Decision.objects.create(
            round=round,
            finding_id=finding_id,
            choice=Decision.Choice.DECLINED,
            reason=reason,
            finding=finding,
            by=by,
        )
        subject = _subjects([finding], names_of(read.sheet))
        said = _("The finding on {subject} is declined.").format(subject=subject)
        diary_write(round=round, by=by, text=said, reason=reason)
    return decision


@transaction.atomic
def decision_undo(*, round: Round, finding_id: str, by: User) -> Erratum | None:
    """Take a decision back while its erratum is not published.

    The changes that came from the finding leave the draft with it; a draft that nothing else stands behind is
    removed. Returns the draft where it remains: its wording is the designer's and is left as it is.
    """
    require(by, Right.EDIT, round.edition.pattern)
    _locked(round)
    decision = round.decisions.select_related("erratum").filter(finding_id=finding_id).first()
    if decision is None:
        raise Refused.because(_("Nothing was decided of this finding, so there is nothing to undo."))
    erratum = decision.erratum
    if erratum is not None and erratum.is_published:
        said = _("Erratum {number} is published, so this decision stays. Publish a further erratum instead.")
        raise Refused.because(said.format(number=erratum.number))
    subjects = _subjects([decision.finding], names_of(round.edition.document))
    if erratum is not None and decision.finding["kind"] == "clarity":
        erratum.remarks.remove(*erratum.remarks.filter(where=decision.finding["subject"]))
    decision.delete()
    diary_write(round=round, by=by, text=_("Decision taken back: {subjects}.").format(subjects=subjects))
    if erratum is None:
        return None
    if not erratum.decisions.exists() and not erratum.remarks.exists():
        erratum.delete()
        return None
    erratum.changes = [change for change in erratum.changes if change["finding"] != finding_id]
    erratum.save(update_fields=["changes"])
    return erratum


def _undecided(read: Read, round: Round, finding_ids: Sequence[str]) -> list[dict[str, Any]]:
    """The findings of these ids as the analysis has them, none of them decided yet."""
    _locked(round)
    if not finding_ids:
        raise Refused.because(_("No finding is ticked; tick one or more, then accept them."))
    current = {finding["id"]: finding for finding in read.document["findings"]}
    wanted = list(dict.fromkeys(finding_ids))
    if any(key not in current for key in wanted):
        raise Refused.because(
            _(
                "The analysis no longer reports this finding: a report came in since you opened the page. "
                "Look at the findings as they are now."
            )
        )
    if round.decisions.filter(finding_id__in=wanted).exists():
        raise Refused.because(_("This finding is decided already; undo that decision first."))
    return [current[key] for key in wanted]


def _locked(round: Round) -> None:
    """Two decisions on one round wait for each other."""
    Round.objects.select_for_update().only("pk").get(pk=round.pk)


def _subjects(findings: Iterable[Mapping[str, Any]], names: Mapping[str, Any]) -> str:
    return commas(dict.fromkeys(name_of(finding["subject"], names).label for finding in findings))


def _joined(lists: Iterable[Sequence[dict[str, Any]]]) -> list[dict[str, Any]]:
    """Changes of several findings in one list. Of two that change one number in one size the first holds."""
    joined: list[dict[str, Any]] = []
    taken: set[tuple[str, str, str]] = set()
    for change in (change for changes in lists for change in changes):
        new = {
            size: value
            for size, value in change["now"].items()
            if (change["subject"], change["unit"], size) not in taken
        }
        taken |= {(change["subject"], change["unit"], size) for size in new}
        if new:
            joined.append({**change, "now": new, "was": {s: v for s, v in change["was"].items() if s in new}})
    return joined


def _joined_sizes(lists: Sequence[Sequence[str]], sizes: Sequence[str]) -> list[str]:
    if not all(lists):
        return []
    return sizes_listed({size for names in lists for size in names}, sizes)


def _one_line(places: Iterable[str]) -> str:
    each = dict.fromkeys(place for several in places for place in several.split("; "))
    return "; ".join(each)[:LONGEST_PLACE]


# Drafts ---------------------------------------------------------------------------------------------------


@transaction.atomic
def erratum_from_remarks(*, round: Round, remark_ids: Sequence[int], by: User) -> Erratum:
    """Draft an erratum from what testers remarked. The designer words it; remarks are never published."""
    require(by, Right.EDIT, round.edition.pattern)
    remarks = list(_standing_remarks(round).filter(pk__in=remark_ids))
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
    said = ngettext(
        "Draft of an erratum made from one remark.",
        "Draft of an erratum made from {n} remarks.",
        len(remarks),
    )
    diary_write(round=round, by=by, text=said.format(n=len(remarks)))
    return erratum


def _standing_remarks(round: Round) -> QuerySet[Remark]:
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
    _locked(round)
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
    first.changes = _joined([draft.changes for draft in drafts])
    first.sizes = _joined_sizes([draft.sizes for draft in drafts], sizes)
    first.place = _one_line(draft.place for draft in drafts)
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
        new = {size: value for size, value in now.items() if value != was.get(size)}
        if new:
            changes.append(
                {
                    "subject": subject,
                    "label": named.label,
                    "place": named.place,
                    "unit": unit,
                    "was": {size: was[size] for size in new if size in was},
                    "now": new,
                    "finding": before["finding"] if before else "",
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


def gauge_stands(sheet: SheetDocument, subject: str, unit: str) -> dict[str, float]:
    """What a stated gauge says now, under "stitches" or "rows"; empty for anything but a gauge."""
    for gauge in sheet.gauges:
        if subject in (gauge.key, f"{gauge.key}.st", f"{gauge.key}.row"):
            return {"stitches": gauge.stitches} if unit == "st/10 cm" else {"rows": gauge.rows}
    return {}


def check_values(sheet: SheetDocument, subject: str, unit: str, now: Mapping[str, float]) -> list[Problem]:
    """What keeps these values from being printed: each a sentence that says what would do instead."""
    label = name_of(subject, names_of(sheet)).label
    multiple = Sheet(sheet).multiple_of(subject) if unit in ("st", "row", "rep") else None
    problems = []
    for size, value in now.items():
        path = f"{subject}|{unit}|{size}"
        where = _("{label}, size {size}").format(label=label, size=size) if size in sheet.sizes else label
        if size not in (*sheet.sizes, "stitches", "rows", PER_M2):
            said = _("{label}: the pattern has no size {size}; leave it out.")
            problems.append(Problem(path, said.format(label=label, size=size)))
        elif unit in ("st", "row", "rep"):
            problems += _check_count(path, where, unit, value, multiple)
        elif unit in ("st/10 cm", "row/10 cm"):
            if not 0 < value <= 500 or (2 * value) % 1:
                said = _("{where}: {value} is no gauge to print; give it to the half, as in {example}.")
                problems.append(
                    Problem(
                        path,
                        said.format(where=where, value=format_count(value), example=format_count(28.5)),
                    )
                )
        elif not 0 < value <= (LONGEST_CM if unit == "cm" else LARGEST_COUNT):
            said = _("{where}: {value} {unit} cannot be meant; write a number above zero.")
            problems.append(Problem(path, said.format(where=where, value=format_count(value), unit=unit)))
    return problems


def _check_count(
    path: str, where: str, unit: str, value: float, multiple: tuple[float, float] | None
) -> Iterable[Problem]:
    word = UNIT_WORDS[unit]
    if not math.isfinite(value) or not 0 <= value <= LARGEST_COUNT or value % 1:
        said = _("{where}: {value} is not a whole number of {units}; write one, as in 104.")
        yield Problem(path, said.format(where=where, value=format_count(value), units=word))
        return
    if multiple is None:
        return
    of, plus = multiple
    over = (value - plus) % of
    if min(over, of - over) < 1e-9:
        return
    below = value - over
    if plus:
        said = _(
            "{where}: {value} is not a multiple of {of} plus {plus}, which the pattern's formula keeps; "
            "the nearest are {below} and {above}."
        )
    else:
        said = _(
            "{where}: {value} is not a multiple of {of}, which the pattern's formula keeps; "
            "the nearest are {below} and {above}."
        )
    yield Problem(
        path,
        said.format(
            where=where,
            value=format_count(value),
            of=format_count(of),
            plus=format_count(plus),
            below=format_count(below),
            above=format_count(below + of),
        ),
    )


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


# Publishing -----------------------------------------------------------------------------------------------


def problems_before_publishing(erratum: Erratum) -> list[Problem]:
    """What a draft still lacks."""
    problems = []
    if not erratum.place.strip():
        problems.append(
            Problem("place", _("Place in the text: nothing is written here; name the section and step."))
        )
    if not erratum.text.strip():
        problems.append(
            Problem("text", _("Correction: nothing is written here; say what a reader has to change."))
        )
    return problems


@transaction.atomic
def erratum_publish(*, erratum: Erratum, by: User) -> Erratum:
    """Give a draft the pattern's next number and publish it, for good.

    Whoever publishes holds the pattern's row until done, so that two at once get two numbers in a row.

    Raises
    ------
    Refused
        It is published already, or lacks its place or its words.
    PermissionDenied
        Only the owner publishes.
    """
    Pattern.objects.select_for_update().only("pk").get(pk=erratum.pattern_id)
    locked = (
        Erratum.objects.select_for_update(of=("self",))
        .select_related("pattern", "edition", "round")
        .get(pk=erratum.pk)
    )
    require(by, Right.PUBLISH, locked.pattern)
    if locked.is_published:
        said = _("This is published already, as erratum {number}.")
        raise Refused.because(said.format(number=locked.number))
    problems = problems_before_publishing(locked)
    if problems:
        raise Refused(problems)
    last = Erratum.objects.filter(pattern_id=locked.pattern_id).aggregate(last=Max("number"))["last"]
    locked.number = (last or 0) + 1
    locked.published_at = timezone.now()
    locked.published_by = by
    locked.save(update_fields=["number", "published_at", "published_by"])
    if locked.round is not None:
        said = _("Erratum {number} published: {place}.").format(number=locked.number, place=locked.place)
        diary_write(round=locked.round, by=by, text=said)
    return locked


# The next edition -----------------------------------------------------------------------------------------


def corrected_sheet(sheet: SheetDocument, errata: Iterable[Erratum]) -> SheetDocument:
    """A sheet with the values that errata print instead; of two that change one value the later holds."""
    document = plain(sheet)
    printed = {
        entry["key"]: entry for entry in (*document.get("numbers", ()), *document.get("dimensions", ()))
    }
    gauges = {gauge["key"]: gauge for gauge in document["gauges"]}
    for change in (change for erratum in errata for change in erratum.changes):
        subject, now = change["subject"], change["now"]
        gauge = gauges.get(subject.removesuffix(".st").removesuffix(".row"))
        if change["unit"] in GAUGE_UNITS and gauge is not None:
            gauge.update(now)
        elif subject in printed:
            entry = printed[subject]
            entry["printed"] = in_order({**entry.get("printed", {}), **now}, sheet.sizes)
        elif subject == "yarn" and PER_M2 in now:
            document["yarn_per_m2"] = now[PER_M2]
        elif subject in ("yarn", "hours"):
            document[subject] = in_order({**document.get(subject, {}), **now}, sheet.sizes)
    return SheetDocument.model_validate(document)


@transaction.atomic
def edition_correct(*, round: Round, label: str, by: User) -> Edition:
    """Make the edition that follows a round's, with the numbers of every published erratum on that edition.

    Formulas and words stay as they are: the desk check of the new edition shows where a formula no longer
    gives what is printed.

    Raises
    ------
    Refused
        Nothing is published on the edition, or the label is taken or missing.
    """
    errata = list(Erratum.objects.published().filter(edition=round.edition).order_by("number"))
    if not errata:
        raise Refused.because(_("Nothing is published on this edition yet; publish an erratum first."))
    try:
        edition = edition_create_next(
            edition=round.edition,
            label=label,
            document=corrected_sheet(round.edition.document, errata),
            by=by,
        )
    except SheetRefused as refusal:
        raise Refused(Problem("label", problem.sentence) for problem in refusal.problems) from None
    said = ngettext(
        "Edition {edition} made with one correction.",
        "Edition {edition} made with {n} corrections.",
        len(errata),
    )
    diary_write(round=round, by=by, text=said.format(edition=edition.label, n=len(errata)))
    return edition
