"""What testers report, as it is sent and as it is read: lengths in cm, yarn in m and g, work in hours."""

from __future__ import annotations

import math
import numbers
from typing import Any

from django.utils.translation import gettext as _
from rest_framework import serializers

from testround.api.fields import Input
from testround.api.paging import MOST_ID
from testround.reports.forms import MOST_REMARK, READINGS
from testround.reports.models import FABRIC_STATES, Fit, Remark
from testround.rounds.models import Place


class Amount(serializers.FloatField):
    """A number, and nothing that could be read as one."""

    def to_internal_value(self, data: Any) -> float:
        if isinstance(data, bool) or not isinstance(data, numbers.Real):
            raise serializers.ValidationError(_("Write a number."))
        try:
            value = float(data)
        except OverflowError:
            value = math.inf
        if not math.isfinite(value):
            raise serializers.ValidationError(_("That is more than can be meant; check the number."))
        return value


def maybe(help_text: str = "") -> Amount:
    return Amount(required=False, allow_null=True, help_text=help_text)


def corrects() -> serializers.IntegerField:
    return serializers.IntegerField(
        required=False,
        allow_null=True,
        min_value=1,
        max_value=MOST_ID,
        help_text="`id` of the report that this one takes the place of.",
    )


def is_right() -> serializers.BooleanField:
    return serializers.BooleanField(
        required=False, help_text="True when you were asked about an odd value and it is right."
    )


class KeepField(serializers.ListField):
    child = serializers.CharField(max_length=60)

    def __init__(self, **options: Any) -> None:
        options.setdefault("required", False)
        options.setdefault("max_length", 500)
        options.setdefault(
            "help_text", "Keys of odd values that you were asked about and that are right as they are."
        )
        super().__init__(**options)


# -- what is sent -------------------------------------------------------------------------------------------


class SwatchIn(Input):
    """Stitches counted over a width, rows counted over a height, or better both."""

    gauge = serializers.CharField(help_text="Key of the gauge on the sheet.")
    state = serializers.ChoiceField(choices=FABRIC_STATES)
    tool_mm = maybe("Needle or hook, mm.")
    width = maybe("cm")
    stitches = maybe("In that width.")
    height = maybe("cm")
    rows = maybe("In that height.")
    keep = is_right()
    corrects = corrects()


class CountsIn(Input):
    """Counts as worked. A number that is left out stays as it was sent."""

    counts = serializers.DictField(
        child=Amount(), help_text="By the key of the number on the sheet: stitches, rows or repeats."
    )
    keep = KeepField()


class FinishedIn(Input):
    """Measurements of the piece, up to three readings of each. A dimension that is left out stays as it was sent."""

    state = serializers.ChoiceField(choices=FABRIC_STATES)
    readings = serializers.DictField(
        child=serializers.ListField(child=Amount(), min_length=1, max_length=len(READINGS)),
        help_text="By the key of the dimension on the sheet, cm, in the order taken.",
    )
    keep = KeepField()


class SittingIn(Input):
    """A stretch of work."""

    part = serializers.CharField(
        required=False, allow_null=True, help_text="Key of the part; none for the whole piece."
    )
    hours = Amount()
    done = maybe("Share of it that was finished when the sitting ended, 0 to 1.")
    corrects = corrects()


class RemarkIn(Input):
    """What made the tester stumble."""

    where = serializers.CharField(
        required=False, allow_null=True, max_length=200, help_text="Place in the text."
    )
    kind = serializers.ChoiceField(choices=Remark.KINDS)
    text = serializers.CharField(max_length=MOST_REMARK)
    corrects = corrects()


class FitIn(Input):
    """How it fits. A dimension that is left out stays as it was said."""

    says = serializers.DictField(
        child=serializers.ChoiceField(choices=Fit.SAYS),
        help_text="By the key of the dimension on the sheet.",
    )


class BodyMeasuresIn(Input):
    """The tester's own body, all of it: a measure that is left out is taken back."""

    measures = serializers.DictField(child=Amount(), help_text="By the key of the measure on the sheet, cm.")
    keep = KeepField()


class GuessIn(Input):
    """What the tester expects before starting."""

    hours = maybe("All sittings together.")
    metres = maybe("Yarn, m.")


class YarnUsedIn(Input):
    """The yarn it took."""

    metres = maybe("m")
    grams = maybe("What the finished piece weighs dry, or what is gone from the balls.")


# -- what is read -------------------------------------------------------------------------------------------


class ReportedOut(serializers.Serializer):
    id = serializers.IntegerField()
    place = serializers.IntegerField(source="place_id", help_text="`id` of the place it came from.")
    sent = serializers.DateTimeField()
    late = serializers.BooleanField(
        source="submission.late", default=False, help_text="It came after its date; it counts all the same."
    )
    superseded_at = serializers.DateTimeField(
        allow_null=True, help_text="Since when a newer report stands in its place; null while it counts."
    )


class SwatchOut(ReportedOut):
    gauge = serializers.CharField()
    state = serializers.ChoiceField(choices=FABRIC_STATES)
    tool_mm = serializers.FloatField(allow_null=True)
    width = serializers.FloatField(allow_null=True, help_text="cm")
    stitches = serializers.FloatField(allow_null=True)
    height = serializers.FloatField(allow_null=True, help_text="cm")
    rows = serializers.FloatField(allow_null=True)


class CountOut(ReportedOut):
    number = serializers.CharField()
    worked = serializers.FloatField()


class FinishedOut(ReportedOut):
    dimension = serializers.CharField()
    state = serializers.ChoiceField(choices=FABRIC_STATES)
    values = serializers.ListField(child=serializers.FloatField(), help_text="cm, in the order taken.")


class SittingOut(ReportedOut):
    part = serializers.CharField(allow_null=True, help_text="None for the whole piece.")
    hours = serializers.FloatField()
    done = serializers.FloatField(allow_null=True, help_text="Share finished when it ended, 0 to 1.")
    day = serializers.DateField(allow_null=True, help_text="On which it was logged, where the tester is.")


class RemarkOut(ReportedOut):
    where = serializers.CharField(allow_null=True, help_text="Place in the text.")
    kind = serializers.ChoiceField(choices=Remark.KINDS)
    text = serializers.CharField()


class FitOut(ReportedOut):
    dimension = serializers.CharField()
    says = serializers.ChoiceField(choices=Fit.SAYS)


class BodyMeasuresOut(serializers.Serializer):
    measures = serializers.DictField(child=serializers.FloatField(), help_text="By key, cm.")


class GuessOut(serializers.Serializer):
    hours = serializers.FloatField(source="guess_hours", allow_null=True)
    metres = serializers.FloatField(source="guess_metres", allow_null=True)


class YarnUsedOut(serializers.Serializer):
    metres = serializers.FloatField(source="used_metres", allow_null=True)
    grams = serializers.FloatField(source="used_grams", allow_null=True)


class ReportOut(serializers.Serializer):
    """That something was sent: once, whatever its sender's network made of it."""

    id = serializers.IntegerField()
    place = serializers.IntegerField(source="place_id")
    kind = serializers.CharField()
    sent = serializers.DateTimeField()
    late = serializers.BooleanField()


class ReceiptOut(serializers.Serializer):
    """What became of a report."""

    report = ReportOut()
    state = serializers.ChoiceField(choices=Place.State.choices, help_text="Of the place, now.")


class SwatchEffectOut(serializers.Serializer):
    dimension = serializers.CharField()
    label = serializers.CharField()
    target = serializers.FloatField(help_text="cm")
    at_own_gauge = serializers.FloatField(help_text="cm")
    difference = serializers.FloatField(help_text="cm")
    tolerance = serializers.FloatField(help_text="cm")
    within = serializers.BooleanField()


class SwatchAnswerOut(serializers.Serializer):
    """Will this swatch do? Worked from all swatches that count."""

    good = serializers.BooleanField()
    measured = serializers.BooleanField(help_text="False while there is nothing to go by.")
    sentence = serializers.CharField(help_text="The answer, in your language and unit.")
    advice = serializers.CharField(allow_null=True, help_text="What to try next.")
    dimensions = SwatchEffectOut(many=True, help_text="What each would come out as.")
