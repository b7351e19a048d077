"""What the results of a round say beside the findings: yarn and hours, and the gauges at which a pattern works."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import operation
from testround.api.problems import Fault, invalid
from testround.api.scopes import Scope
from testround.api.v1.analysis import TAG, Judged
from testround.api.v1.examples import results as examples
from testround.errata.selectors.amounts import amounts_result
from testround.errata.selectors.gauges import GaugeResult, gauges_result
from testround.kernel.amounts import Amount, Guesses, Taken
from testround.kernel.analysis import OwnGauge
from testround.kernel.gauge_region import Edge, GaugeRegion, Limit

PER_TEN = "Per 10 cm."


# -- yarn and hours -------------------------------------------------------------------------------------------


class AmountTook(serializers.Serializer):
    """What one tester's piece took, brought to a whole piece."""

    tester = serializers.CharField(help_text="The key of their place.")
    size = serializers.CharField(allow_null=True)
    share = serializers.FloatField(help_text="How much of the piece was done when it was said, 0 to 1.")
    whole = serializers.FloatField(help_text="Of the whole piece.")


class AmountOfSize(serializers.Serializer):
    """One size; without sizes, each square metre of fabric."""

    size = serializers.CharField()
    printed = serializers.FloatField(allow_null=True, help_text="As the edition says it.")
    enough_for = serializers.FloatField(allow_null=True, help_text="Share of makers whom that will do.")
    typical = serializers.FloatField(allow_null=True, help_text="What half of makers take.")
    low = serializers.FloatField(allow_null=True, help_text="`typical` is above this with 97.5 %,")
    high = serializers.FloatField(allow_null=True, help_text="and below this with 97.5 %.")
    least = serializers.FloatField(allow_null=True, help_text="One new maker in ten takes less,")
    most = serializers.FloatField(allow_null=True, help_text="and one in ten takes more.")
    proposed = serializers.FloatField(allow_null=True, help_text="What to print.")
    balls = serializers.IntegerField(allow_null=True, help_text="Whole balls of it, where the ball is known.")


class AmountGuessed(serializers.Serializer):
    """What testers guessed before they began, against what it took."""

    testers = serializers.IntegerField(help_text="Who guessed and finished.")
    over = serializers.IntegerField(help_text="Who took more than they guessed.")
    ratio = serializers.FloatField(allow_null=True, help_text="Taken over guessed, in the middle.")
    low = serializers.FloatField(allow_null=True, help_text="95 % interval of it.")
    high = serializers.FloatField(allow_null=True)


class AmountOut(serializers.Serializer):
    """Yarn or hours, against what the edition says."""

    kind = serializers.ChoiceField(choices=[("yarn", "yarn"), ("hours", "hours")])
    unit = serializers.ChoiceField(choices=[("m", "m"), ("h", "h")])
    makers = serializers.IntegerField(help_text="How many testers it rests on.")
    ball = serializers.FloatField(allow_null=True, help_text="Metres of a ball.")
    sizes = AmountOfSize(many=True)
    took = AmountTook(many=True)
    guesses = AmountGuessed(allow_null=True)


class AmountsOut(serializers.Serializer):
    """Yarn and hours of a round; a kind of which nobody has said anything is not there."""

    amounts = AmountOut(many=True)


def _finite(value: float | None) -> float | None:
    """JSON has no number for what cannot be told."""
    return None if value is None or not math.isfinite(value) else float(value)


_BY_SIZE = ("printed", "typical", "low", "high", "least", "most", "proposed")


def _of_size(amount: Amount, size: str) -> dict[str, Any]:
    values: Mapping[str, float | None] = {name: getattr(amount, name).get(size) for name in _BY_SIZE}
    proposed = values["proposed"]
    return {
        "size": size,
        **{name: _finite(value) for name, value in values.items()},
        "enough_for": _finite(amount.enough_for(size)),
        "balls": None if proposed is None else amount.balls(proposed),
    }


def _guessed(guesses: Guesses | None) -> dict[str, Any] | None:
    if guesses is None:
        return None
    numbers = {name: _finite(getattr(guesses, name)) for name in ("ratio", "low", "high")}
    return {"testers": len(guesses.pairs), "over": guesses.over, **numbers}


def amounts_shown(taken: Taken) -> dict[str, Any]:
    shown: dict[str, Any] = AmountsOut(
        {
            "amounts": [
                {
                    "kind": amount.kind,
                    "unit": amount.unit,
                    "makers": amount.makers,
                    "ball": amount.ball,
                    "sizes": [_of_size(amount, size) for size in amount.typical],
                    "took": amount.took,
                    "guesses": _guessed(taken.guess(amount.kind)),
                }
                for amount in taken.amounts
            ]
        }
    ).data
    return shown


class Amounts(Judged):
    @operation(
        "amounts_retrieve",
        "Yarn and hours of a round",
        tag=TAG,
        scope=Scope.ERRATA_READ,
        answers=AmountsOut,
        example=examples.AMOUNTS,
    )
    def get(self, request: Request, code: str) -> Response:
        """What the pieces of a round took by size, against what the edition says, and what to print."""
        return self.shown(amounts_shown(amounts_result(self.round(code)).taken))


# -- gauges ---------------------------------------------------------------------------------------------------


class GaugeAt(serializers.Serializer):
    """Stitches and rows per 10 cm."""

    st = serializers.FloatField(allow_null=True)
    row = serializers.FloatField(allow_null=True)


class GaugeOwn(GaugeAt):
    """A tester's own gauge."""

    tester = serializers.CharField(help_text="The key of their place.")
    source = serializers.CharField(help_text="Where it comes from; `assumed` without a swatch.")


class GaugeLimit(serializers.Serializer):
    """A finished measurement in a size that comes out beyond its tolerance."""

    dimension = serializers.CharField(help_text="Its key.")
    size = serializers.CharField()
    too_large = serializers.BooleanField()


class GaugeEdge(GaugeAt):
    """A place on the boundary, and what ends the region there."""

    limit = GaugeLimit(allow_null=True, help_text="Null where nothing does, as far as is looked.")


class GaugeBeyond(GaugeLimit):
    """What is out at the stated gauge already, cm."""

    difference = serializers.FloatField()
    tolerance = serializers.FloatField()


class GaugeRegionOut(serializers.Serializer):
    """The gauges at which everything stays within its tolerance."""

    boundary = GaugeEdge(many=True, help_text="In order round the region; empty when no gauge will do.")
    few_st = GaugeEdge(allow_null=True, help_text="Where it ends when only stitches change,")
    many_st = GaugeEdge(allow_null=True)
    few_row = GaugeEdge(allow_null=True, help_text="and when only rows do.")
    many_row = GaugeEdge(allow_null=True)
    beyond = GaugeBeyond(many=True, help_text="Worst first.")


class GaugeStanding(serializers.Serializer):
    """How many swatches keep every measurement within its tolerance."""

    swatches = serializers.IntegerField()
    own = serializers.IntegerField(help_text="In the size that their tester makes.")
    every = serializers.IntegerField(help_text="In every size, or in the one that is asked for.")


class GaugeOut(serializers.Serializer):
    """One gauge of the sheet: as stated, as testers knit or crochet it, and where it works."""

    key = serializers.CharField()
    label = serializers.CharField()
    stated = GaugeAt()
    own = GaugeOwn(many=True)
    region = GaugeRegionOut(
        allow_null=True, help_text="Null where nothing hangs on it, or numbers are made to each tester’s own."
    )
    standing = GaugeStanding(allow_null=True, help_text="Null without a region, or without a swatch.")


class GaugesOut(serializers.Serializer):
    gauges = GaugeOut(many=True)


def _at(st: float, row: float) -> dict[str, Any]:
    return {"st": _finite(st), "row": _finite(row)}


def _limit(limit: Limit) -> dict[str, Any]:
    return {"dimension": limit.dimension, "size": limit.size, "too_large": limit.too_large}


def _edge(edge: Edge | None) -> dict[str, Any] | None:
    if edge is None:
        return None
    return {**_at(edge.st, edge.row), "limit": edge.limit and _limit(edge.limit)}


def _region(region: GaugeRegion | None) -> dict[str, Any] | None:
    if region is None:
        return None
    return {
        "boundary": [_edge(edge) for edge in region.boundary],
        **{name: _edge(getattr(region, name)) for name in ("few_st", "many_st", "few_row", "many_row")},
        "beyond": [
            {**_limit(one.limit), "difference": one.difference, "tolerance": one.tolerance}
            for one in region.beyond
        ],
    }


def _own(own: OwnGauge) -> dict[str, Any]:
    return {"tester": own.tester, "source": own.source, **_at(own.st, own.row)}


def gauge_shown(one: GaugeResult) -> dict[str, Any]:
    return {
        "key": one.gauge.key,
        "label": one.gauge.label,
        "stated": _at(one.gauge.stitches, one.gauge.rows),
        "own": [_own(own) for _name, own in one.own],
        "region": _region(one.region),
        "standing": one.standing,
    }


class Gauges(Judged):
    @operation(
        "gauges_retrieve",
        "The gauges of a round",
        tag=TAG,
        scope=Scope.ERRATA_READ,
        answers=GaugesOut,
        example=examples.GAUGES,
        parameters=[OpenApiParameter("size", str, description="The size it is for; every size if left out.")],
    )
    def get(self, request: Request, code: str) -> Response:
        """At which gauges every finished measurement stays within its tolerance, and where the swatches lie."""
        round, size = self.round(code), request.query_params.get("size", "")
        sizes = round.edition.document.sizes
        if size and size not in sizes:
            said = _("The pattern has no size {size}: it has {sizes}.")
            raise invalid(Fault(said.format(size=size, sizes=", ".join(sizes)), parameter="size"))
        result = gauges_result(round, size)
        return self.shown(GaugesOut({"gauges": [gauge_shown(one) for one in result.gauges]}).data)
