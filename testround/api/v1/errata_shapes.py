"""Findings, decisions and errata as they are read and sent. Counts in stitches, rows or repeats, lengths in cm."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from testround.api.fields import DocumentField, Input
from testround.api.paging import MOST_ID
from testround.api.v1.reported import Amount
from testround.errata.models import Decision, RemarkDecision
from testround.errata.services import LONGEST_PLACE, LONGEST_TEXT
from testround.patterns.models import Edition
from testround.reports.models import Remark
from testround.talk.models import LONGEST_SAID

LONGEST_REASON: int = Decision._meta.get_field("reason").max_length
LONGEST_FINDING: int = Decision._meta.get_field("finding_id").max_length
MOST_AT_ONCE = 500


def finding_id() -> serializers.CharField:
    return serializers.CharField(
        max_length=LONGEST_FINDING, help_text="`id` of a finding, as in finished-size:back_width."
    )


def row_ids(help_text: str, **options: Any) -> serializers.ListField:
    return serializers.ListField(
        child=serializers.IntegerField(min_value=1, max_value=MOST_ID),
        max_length=MOST_AT_ONCE,
        help_text=help_text,
        **options,
    )


# -- what is sent -------------------------------------------------------------------------------------------


class FindingsAccept(Input):
    """Findings that one draft of an erratum is made of."""

    findings = serializers.ListField(child=finding_id(), min_length=1, max_length=MOST_AT_ONCE)


class FindingDecline(Input):
    finding = finding_id()
    reason = serializers.CharField(
        max_length=LONGEST_REASON, help_text="For whoever asks later; readers never see it."
    )


class FindingWait(Input):
    finding = finding_id()
    reason = serializers.CharField(max_length=LONGEST_REASON, required=False, allow_blank=True)


class FindingUndo(Input):
    finding = finding_id()


class FindingAsk(Input):
    """A question to testers about a finding: each gets it as a private word."""

    finding = finding_id()
    places = row_ids("`id` of the places whose testers are asked.", min_length=1)
    text = serializers.CharField(max_length=LONGEST_SAID)


class RemarksAsk(Input):
    """A question to testers about what they remarked: each gets it as a private word."""

    remarks = row_ids("`id` of the remarks it is about.", min_length=1)
    places = row_ids("`id` of the places whose testers are asked.", min_length=1)
    text = serializers.CharField(max_length=LONGEST_SAID)


class RemarksDraft(Input):
    remarks = row_ids("`id` of the remarks.", min_length=1)


class RemarksDecline(RemarksDraft):
    reason = serializers.CharField(max_length=LONGEST_REASON)


class RemarksWait(RemarksDraft):
    reason = serializers.CharField(max_length=LONGEST_REASON, required=False, allow_blank=True)


class DraftsMerge(Input):
    drafts = row_ids("`id` of two drafts or more of the round.", min_length=2)


class ChangeIn(Input):
    """A number that the erratum changes."""

    subject = serializers.CharField(max_length=200, help_text="Its key on the sheet.")
    unit = serializers.CharField(max_length=20, help_text="st, row, rep, cm, st/10 cm, row/10 cm, m or h.")
    now = serializers.DictField(
        child=Amount(), help_text="What should be printed, by size; by `stitches` or `rows` for a gauge."
    )


class DraftChange(Input):
    """What is left out stays as it is; `changes` and `sizes` are given whole."""

    place = serializers.CharField(max_length=LONGEST_PLACE, required=False, help_text="Section and step.")
    text = serializers.CharField(
        max_length=LONGEST_TEXT, required=False, help_text="The correction, as a reader sees it."
    )
    why = serializers.CharField(
        max_length=LONGEST_TEXT, required=False, allow_blank=True, help_text="Readers see this too."
    )
    sizes = serializers.ListField(
        child=serializers.CharField(max_length=20),
        max_length=60,
        required=False,
        help_text="The sizes that are affected; none for every one.",
    )
    changes = ChangeIn(many=True, required=False)
    corrects = serializers.IntegerField(
        required=False,
        allow_null=True,
        min_value=1,
        max_value=MOST_ID,
        help_text="Number of the published erratum of the pattern that this one puts right.",
    )


class NextEdition(Input):
    label = serializers.CharField(
        max_length=Edition._meta.get_field("label").max_length, help_text="Of the edition that follows."
    )


# -- what is read -------------------------------------------------------------------------------------------


class AnalysisOut(serializers.Serializer):
    """What is known of the analysis of a round."""

    input_hash = serializers.CharField(
        help_text="Names all that was read and the program that read it: another one, another analysis."
    )
    verdicts = serializers.DictField(
        child=serializers.IntegerField(), help_text="How many findings have each verdict."
    )
    kept_at = serializers.DateTimeField(
        allow_null=True, help_text="When this very analysis was kept; null where it was not yet."
    )


class DecisionOut(serializers.Serializer):
    finding = serializers.CharField(source="finding_id")
    choice = serializers.ChoiceField(choices=Decision.Choice.choices)
    reason = serializers.CharField(allow_blank=True)
    at = serializers.DateTimeField()
    draft = serializers.IntegerField(
        source="erratum_id", allow_null=True, help_text="`id` of the erratum made of it."
    )


class RemarkDecisionOut(serializers.Serializer):
    remark = serializers.IntegerField(source="remark_id")
    choice = serializers.ChoiceField(choices=RemarkDecision.Choice.choices)
    reason = serializers.CharField(allow_blank=True)
    at = serializers.DateTimeField()


class AskedOut(serializers.Serializer):
    """That a tester was asked. What was said is for the two it is between; to others it is empty."""

    place = serializers.IntegerField(source="asked.word.place_id")
    at = serializers.DateTimeField(source="asked.at")
    question = serializers.CharField(allow_blank=True)
    answered_at = serializers.DateTimeField(source="answer.at", default=None, allow_null=True)
    answer = serializers.CharField(source="text", allow_blank=True)


class DeskFindingOut(serializers.Serializer):
    """A finding on the desk, and what was decided of it."""

    finding = DocumentField("FileFinding", help_text="As it is now; where it is gone, as it was decided.")
    headline = serializers.CharField(allow_blank=True, help_text="What it says, in your language and unit.")
    decision = DecisionOut(allow_null=True)
    changed = serializers.CharField(allow_blank=True, help_text="What has become of it since it was decided.")
    gone = serializers.BooleanField(help_text="The analysis no longer reports it.")
    asked = AskedOut(many=True)


class DeskRemarkOut(serializers.Serializer):
    """A remark on the desk, and what was decided of it."""

    id = serializers.IntegerField(source="remark.id")
    place = serializers.IntegerField(source="remark.place_id")
    where = serializers.CharField(source="remark.where", allow_null=True)
    kind = serializers.ChoiceField(source="remark.kind", choices=Remark.KINDS)
    text = serializers.CharField(source="remark.text")
    decision = RemarkDecisionOut(allow_null=True)
    errata = serializers.ListField(
        child=serializers.IntegerField(), help_text="`id` of the errata made of it."
    )
    again = serializers.BooleanField(help_text="It waited, and somebody has remarked on the place since.")
    asked = AskedOut(many=True)


class ErratumChangeOut(serializers.Serializer):
    """A number that an erratum changes."""

    subject = serializers.CharField(allow_blank=True, help_text="Its key on the sheet.")
    label = serializers.CharField(allow_blank=True)
    place = serializers.CharField(allow_blank=True, help_text="In the text.")
    unit = serializers.CharField(allow_blank=True)
    was = serializers.DictField(child=serializers.FloatField(), help_text="What is printed, by size.")
    now = serializers.DictField(child=serializers.FloatField(), help_text="What should be, by size.")
    finding = serializers.CharField(
        allow_blank=True, help_text="`id` of the finding it came from; empty where from none."
    )


class ErratumOut(serializers.Serializer):
    """An erratum: a draft while `number` is null, and published for good after."""

    id = serializers.IntegerField()
    number = serializers.IntegerField(allow_null=True)
    edition = serializers.IntegerField(source="edition_id")
    round = serializers.CharField(source="round.code", default=None, allow_null=True)
    place = serializers.CharField(allow_blank=True)
    sizes = serializers.ListField(child=serializers.CharField(), help_text="None for every size.")
    changes = ErratumChangeOut(many=True)
    text = serializers.CharField(allow_blank=True)
    why = serializers.CharField(allow_blank=True)
    corrects = serializers.IntegerField(
        source="corrects.number", default=None, allow_null=True, help_text="The erratum that it puts right."
    )
    findings = serializers.ListField(
        source="shown_findings", child=serializers.CharField(), help_text="`id` of what it came from."
    )
    remarks = serializers.ListField(source="shown_remarks", child=serializers.IntegerField())
    created = serializers.DateTimeField()
    published_at = serializers.DateTimeField(allow_null=True)
    address = serializers.URLField(
        source="shown_address", allow_null=True, help_text="Where readers find it; null for a draft."
    )
    document = serializers.URLField(
        source="shown_document",
        allow_null=True,
        help_text="All published errata of the pattern, as JSON for anybody.",
    )


class DeskOut(serializers.Serializer):
    """The errata desk of a round."""

    undecided = DeskFindingOut(many=True, help_text="New first, then what waited and has changed.")
    waiting = DeskFindingOut(many=True)
    quiet = DeskFindingOut(many=True, help_text="What asks for nothing.")
    decided = DeskFindingOut(many=True, help_text="What has changed since first.")
    remarks = DeskRemarkOut(many=True, help_text="Open, by place in the text.")
    settled_remarks = DeskRemarkOut(many=True)
    drafts = ErratumOut(many=True)
    published = ErratumOut(many=True)


class DraftProblemOut(serializers.Serializer):
    detail = serializers.CharField(allow_blank=True)
    path = serializers.CharField(allow_blank=True, help_text="What it is about; empty for the whole.")


class FollowsOut(serializers.Serializer):
    """What changes beside the corrected numbers, by size."""

    key = serializers.CharField(allow_blank=True)
    kind = serializers.ChoiceField(choices=["number", "dimension", "stitches", "yarn"])
    was = serializers.DictField(child=serializers.FloatField())
    now = serializers.DictField(child=serializers.FloatField())


class AmendmentOut(serializers.Serializer):
    """A printed value that no longer follows, and what would."""

    subject = serializers.CharField(allow_blank=True)
    unit = serializers.CharField(allow_blank=True)
    now = serializers.DictField(child=serializers.FloatField())


class DraftPreviewOut(serializers.Serializer):
    """What publishing a draft would bring with it."""

    problems = DraftProblemOut(
        many=True, help_text="What keeps it from being published; none, and it can be."
    )
    follows = FollowsOut(many=True)
    to_add = AmendmentOut(many=True, help_text="What has to be corrected with it: completing adds it.")
    together = DraftProblemOut(
        many=True, help_text="What would not stand with every other draft of the round."
    )


class UndoneOut(serializers.Serializer):
    draft = ErratumOut(allow_null=True, help_text="The draft it was part of, where that stays.")


class AskedTestersOut(serializers.Serializer):
    places = serializers.ListField(child=serializers.IntegerField(), help_text="Whose testers were asked.")


class EditionMade(serializers.Serializer):
    id = serializers.IntegerField()
    pattern = serializers.CharField(source="pattern.code")
    label = serializers.CharField(allow_blank=True)


class RemarksDecided(serializers.Serializer):
    decisions = RemarkDecisionOut(many=True)
