"""What several subjects of a round send and are answered: yarns, plans, body measurements, and who is meant by a code."""

from __future__ import annotations

import datetime as dt
import numbers
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from django.utils.translation import gettext as _
from pydantic import BaseModel, ValidationError
from rest_framework import serializers

from testround.api.endpoints import Endpoint
from testround.api.fields import Input
from testround.api.problems import CONFLICT, ApiProblem
from testround.kernel.problems import InputProblems, Problem
from testround.kernel.round import LONGEST_CM, MOST_TESTERS, Yarn
from testround.kernel.roundfile import problems_of
from testround.patterns.access import Right
from testround.rounds.forms.fields import EARLIEST_YEAR, LATEST_YEAR
from testround.rounds.models import Place, Round, SuppliedYarn
from testround.rounds.refusals import Refused
from testround.rounds.selectors import round_for

MOST_ON_A_BAND = 1_000_000
LEAST_ON_A_BAND = 0.001
HEAVIEST = 7


def round_here(at: Endpoint, code: str, right: Right) -> Round:
    """The round that an address names, for someone who may do this with it.

    404 to who does not see it, 403 to who sees it and may not. Where the request changes what it names, the round is
    locked, before anything that belongs to it; a POST leaves that to its service.
    """
    found = round_for(at.user, code, right)
    if at.request.method in ("PUT", "PATCH", "DELETE"):
        at.here(Round.objects.all(), pk=found.pk)
        found = round_for(at.user, code, right)
    return found


@contextmanager
def pointing(**elsewhere: str) -> Iterator[None]:
    """Have a service's refusals point into the body where its form field has another name there: the longest name
    that a path begins with is put in the place of it, as ``measure_="measures."`` does.

    A refusal that is about no field is a conflict with the state of things, unless it means something of its own.
    """
    try:
        yield
    except Refused as refused:
        refused.problems = tuple(
            Problem(_moved(problem.path, elsewhere), problem.sentence) for problem in refused.problems
        )
        if type(refused) is Refused and not any(problem.path for problem in refused.problems):
            raise ApiProblem(CONFLICT, refused.sentence) from None
        raise


def _moved(path: str, elsewhere: Mapping[str, str]) -> str:
    for name in sorted(elsewhere, key=len, reverse=True):
        whole = not name.endswith("_")
        if path == name or (not whole and path.startswith(name)):
            return elsewhere[name] + path.removeprefix(name)
    return path


def read(model: type[BaseModel], data: Any, path: str) -> Any:
    """What the kernel makes of a part of a body. Raises InputProblems that point below ``path``."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        raise InputProblems(problem.under(path) for problem in problems_of(error)) from None


class Number(serializers.FloatField):
    """A JSON number; text that looks like one is refused."""

    def to_internal_value(self, data: Any) -> float:
        if isinstance(data, bool) or not isinstance(data, numbers.Real):
            raise serializers.ValidationError(_("Write a number."))
        value: float = super().to_internal_value(data)
        return value


class Measures(serializers.DictField):
    """Body measurements by the keys of the sheet's measures, in centimetres."""

    child = Number(max_value=LONGEST_CM)


class Whole(serializers.IntegerField):
    """A whole JSON number."""

    def to_internal_value(self, data: Any) -> int:
        is_whole = isinstance(data, numbers.Integral) or (isinstance(data, float) and data.is_integer())
        if isinstance(data, bool) or not is_whole:
            raise serializers.ValidationError(_("Write a whole number."))
        value: int = super().to_internal_value(data)
        return value


class Day(serializers.DateField):
    """A day that can be meant: near the ends of the calendar sums of days and zones leave it."""

    def to_internal_value(self, value: Any) -> dt.date:
        day: dt.date = super().to_internal_value(value)
        if not EARLIEST_YEAR <= day.year <= LATEST_YEAR:
            raise serializers.ValidationError(
                _("Give a day from the year {first} to {last}.").format(first=EARLIEST_YEAR, last=LATEST_YEAR)
            )
        return day


class ManyTesters(serializers.DictField):
    child = Whole(min_value=0, max_value=MOST_TESTERS)


class PlanOut(serializers.Serializer):
    """How many testers each size needs and takes; a size that is not named is not limited."""

    least = ManyTesters(required=False, help_text="By size, how many it needs.")
    most = ManyTesters(required=False, help_text="By size, how many it takes.")


class PlanIn(Input):
    """How many testers each size needs and takes; a size that is not named is not limited."""

    least = ManyTesters(required=False, help_text="By size, how many it needs.")
    most = ManyTesters(required=False, help_text="By size, how many it takes.")


# A refusal of a plan names the half that is wrong.
PLAN_PATHS = {"least": "places.least", "most": "places.most"}

_BAND = {"required": False, "allow_null": True}
_AMOUNT: dict[str, Any] = {**_BAND, "min_value": LEAST_ON_A_BAND, "max_value": MOST_ON_A_BAND}
WEIGHT_SAID = "Standard yarn weight, 0 lace to 7 jumbo."


class YarnOut(serializers.Serializer):
    """A yarn, as its ball band says."""

    label = serializers.CharField()
    weight = serializers.IntegerField(allow_null=True, help_text=WEIGHT_SAID)
    fibre = serializers.CharField(allow_null=True)
    metres_per_ball = serializers.FloatField(allow_null=True)
    grams_per_ball = serializers.FloatField(allow_null=True)


class SuppliedYarnOut(YarnOut):
    """A yarn that the designer supplies."""

    key = serializers.CharField(help_text="Names it in the round.")
    makers = serializers.IntegerField(
        allow_null=True, help_text="How many testers it is enough for; null for any number."
    )


class PlaceYarnOut(YarnOut):
    """The yarn of a place: supplied, or the tester's own."""

    supplied = serializers.CharField(
        allow_null=True,
        help_text="Key of the yarn where the designer supplies it; null for the tester's own.",
    )


class BandIn(Input):
    """What a ball band says."""

    weight = serializers.IntegerField(**_BAND, min_value=0, max_value=HEAVIEST, help_text=WEIGHT_SAID)
    fibre = serializers.CharField(**_BAND, max_length=200)
    metres_per_ball = serializers.FloatField(**_AMOUNT)
    grams_per_ball = serializers.FloatField(**_AMOUNT)


class SuppliedYarnChange(BandIn):
    """A yarn that the designer supplies, whole."""

    label = serializers.CharField(max_length=200)
    makers = serializers.IntegerField(
        **_BAND,
        min_value=0,
        max_value=MOST_TESTERS,
        help_text="How many testers it is enough for; null for any number.",
    )


class SuppliedYarnIn(SuppliedYarnChange):
    """A yarn that the designer supplies."""

    key = serializers.RegexField(
        r"^[a-z][a-z0-9]*(_[a-z0-9]+)*$",
        max_length=60,
        required=False,
        help_text="Names it in the round; left out, it is made of the label.",
    )


class PlaceYarnIn(BandIn):
    """The yarn of a place: one that the designer supplies, by its key, or the tester's own by its label."""

    supplied = serializers.CharField(required=False, max_length=60, help_text="Key of a supplied yarn.")
    label = serializers.CharField(required=False, max_length=200, help_text="Of the tester's own yarn.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "supplied" in attrs and len(attrs) > 1:
            raise serializers.ValidationError(
                {"supplied": [_("A supplied yarn is as it is: send its key alone.")]}
            )
        if "supplied" not in attrs and "label" not in attrs:
            raise serializers.ValidationError(
                {"label": [_("Name the yarn, or send null where nothing is known of it.")]}
            )
        return attrs


def yarn_chosen(
    round: Round, sent: Mapping[str, Any] | None, path: str = "yarn"
) -> Yarn | SuppliedYarn | None:
    """The yarn that a body names for a place. Raises InputProblems where the round supplies none of that key."""
    if sent is None:
        return None
    if "supplied" not in sent:
        own: Yarn = read(Yarn, dict(sent), path)
        return own
    supplied = round.yarns.filter(key=sent["supplied"]).first()
    if supplied is None:
        raise InputProblems(
            [
                Problem(
                    f"{path}.supplied", _("This round does not supply that yarn: name one that it supplies.")
                )
            ]
        )
    return supplied


def yarn_of(place: Place, supplied: Mapping[str, str]) -> dict[str, Any] | None:
    """The yarn of a place; ``supplied`` are the keys of the round's yarns by their labels."""
    if not place.yarn_label:
        return None
    return {
        "label": place.yarn_label,
        "weight": place.yarn_weight,
        "fibre": place.yarn_fibre,
        "metres_per_ball": place.metres_per_ball,
        "grams_per_ball": place.grams_per_ball,
        # A place keeps the yarn's label, as the round file does.
        "supplied": supplied.get(place.yarn_label),
    }


def keys_by_label(round: Round) -> dict[str, str]:
    return {yarn.label: yarn.key for yarn in round.yarns.all()}
