"""What becomes of findings: accepted, declined, taken back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from testround.errata.models import Decision, Erratum
from testround.errata.selectors import Read, measurements_kept, read_round, stands_in
from testround.errata.services.drafting import (
    LONGEST_TEXT,
    hold_round,
    joined,
    joined_sizes,
    one_line,
    standing_remarks,
)
from testround.errata.wording import (
    Named,
    affected_sizes,
    changes_from,
    draft_place,
    draft_text,
    name_of,
    names_of,
    why_for_readers,
)
from testround.kernel.words import commas
from testround.patterns.access import Right, require
from testround.people.models import User
from testround.rounds.models import Round
from testround.rounds.refusals import Refused
from testround.rounds.services import diary_write


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
    changes = joined([_changes(read, finding, names, stands) for finding in findings])
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
        place=one_line(
            draft_place(finding, own, names) for finding, own in zip(findings, by_finding, strict=True)
        ),
        sizes=joined_sizes(every_size, read.sheet.sizes),
        changes=changes,
        text=draft_text(changes, read.sheet.sizes)[:LONGEST_TEXT],
        why=" ".join(dict.fromkeys(why_for_readers(finding["why"]) for finding in findings))[:LONGEST_TEXT],
    )
    for finding in findings:
        if finding["kind"] == "clarity":
            erratum.remarks.add(*standing_remarks(round).filter(where=finding["subject"]))
        Decision.objects.create(
            round=round,
            finding_id=finding["id"],
            choice=Decision.Choice.ACCEPTED,
            finding=finding,
            erratum=erratum,
            by=by,
        )
    said = _("Accepted for the errata: {subjects}.").format(subjects=subjects_of(findings, names))
    diary_write(round=round, by=by, text=said)
    return erratum


def _changes(
    read: Read, finding: dict[str, Any], names: Mapping[str, Named], stands: Mapping[str, Mapping[str, float]]
) -> list[dict[str, Any]]:
    """What a finding proposes, with the measurements that the first of its changes is to bring back to what is meant."""
    changes = changes_from(finding, names, stands)
    if (
        finding["kind"] == "finished-size"
        and changes
        and changes[0]["subject"] == finding.get("proposed_for")
    ):
        changes[0]["keeps"] = list(measurements_kept(read, finding))
    return changes


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
    reason = checked_reason(reason)
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
        subject = subjects_of([finding], names_of(read.sheet))
        said = _("The finding on {subject} is declined.").format(subject=subject)
        diary_write(round=round, by=by, text=said, reason=reason)
    return decision


def finding_wait(*, round: Round, finding_id: str, reason: str = "", by: User) -> Decision:
    """Set a finding aside until something about it changes, or somebody takes it up again.

    One that waits already waits on, with the finding as it is now.

    Raises
    ------
    Refused
        The finding is unknown or decided, or the reason is too long.
    """
    require(by, Right.EDIT, round.edition.pattern)
    reason = checked_reason(reason)
    read = read_round(round)
    with transaction.atomic():
        (finding,) = _undecided(read, round, [finding_id])
        decision = Decision.objects.create(
            round=round,
            finding_id=finding_id,
            choice=Decision.Choice.WAITING,
            reason=reason,
            finding=finding,
            by=by,
        )
        subject = subjects_of([finding], names_of(read.sheet))
        said = _("The finding on {subject} waits for more evidence.").format(subject=subject)
        diary_write(round=round, by=by, text=said, reason=reason)
    return decision


def checked_reason(reason: str) -> str:
    """A reason without spaces around it. Raises Refused when it is longer than can be kept."""
    reason = reason.strip()
    most = Decision._meta.get_field("reason").max_length
    if len(reason) > most:
        said = _("Reason: this has {n} characters; keep it within {most}.")
        raise Refused.because(said.format(n=len(reason), most=most), "reason")
    return reason


@transaction.atomic
def decision_undo(*, round: Round, finding_id: str, by: User) -> Erratum | None:
    """Take a decision back while its erratum is not published.

    The changes that came from the finding leave the draft with it; a draft that nothing else stands behind is
    removed. Returns the draft where it remains: its wording is the designer's and is left as it is.
    """
    require(by, Right.EDIT, round.edition.pattern)
    hold_round(round)
    decision = round.decisions.select_related("erratum").filter(finding_id=finding_id).first()
    if decision is None:
        raise Refused.because(_("Nothing was decided of this finding, so there is nothing to undo."))
    erratum = decision.erratum
    if erratum is not None and erratum.is_published:
        said = _("Erratum {number} is published, so this decision stays. Publish a further erratum instead.")
        raise Refused.because(said.format(number=erratum.number))
    subjects = subjects_of([decision.finding], names_of(round.edition.document))
    if erratum is not None and decision.finding["kind"] == "clarity":
        erratum.remarks.remove(*erratum.remarks.filter(where=decision.finding["subject"]))
    said = _("Decision taken back: {subjects}.")
    if decision.choice == Decision.Choice.WAITING:
        said = _("Taken up again: {subjects}.")
    decision.delete()
    diary_write(round=round, by=by, text=said.format(subjects=subjects))
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
    hold_round(round)
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
    made = round.decisions.filter(finding_id__in=wanted)
    if made.exclude(choice=Decision.Choice.WAITING).exists():
        raise Refused.because(_("This finding is decided already; undo that decision first."))
    # What waits is undecided: whatever is decided now takes its place.
    made.delete()
    return [current[key] for key in wanted]


def subjects_of(findings: Iterable[Mapping[str, Any]], names: Mapping[str, Any]) -> str:
    return commas(dict.fromkeys(name_of(finding["subject"], names).label for finding in findings))
