"""The swatches of a round: every gauge stated against what testers get, and what the pattern stands."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.core.cache import cache

from testround.errata.selectors.analyses import CACHED_FOR_SECONDS, Read, read_round
from testround.errata.wording import Named, names_of
from testround.kernel.analysis import OwnGauge, PooledGauge
from testround.kernel.gauge_region import GaugeLimits, GaugeRegion, drawn_region
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.round import StatedGauge
from testround.kernel.roundfile import plain
from testround.kernel.sheet import Sheet
from testround.reports.digest import program_digest
from testround.rounds.models import Round


@dataclass(frozen=True, slots=True)
class Standing:
    """How many swatches of a gauge keep every measurement within its tolerance, the counts worked as printed."""

    swatches: int
    own: int
    """In the size that their tester makes."""
    every: int
    """In every size of the pattern, or in the one that is asked for."""
    outside: tuple[str, ...]
    """Testers whose swatch does not in their own size."""


@dataclass(frozen=True, slots=True)
class GaugeResult:
    """One gauge of the sheet: stated, pooled over testers, and every tester's own."""

    gauge: StatedGauge
    stitches: PooledGauge | None
    rows: PooledGauge | None
    own: tuple[tuple[str, OwnGauge], ...]
    """By name, those who sent no swatch too."""
    findings: tuple[Mapping[str, Any], ...]
    """What is said of it, whatever the verdict."""
    region: GaugeRegion | None
    """None where no finished measurement hangs on it, and where the numbers are made to each tester's gauge."""
    standing: Standing | None
    """None without a region, or without a swatch."""

    @property
    def without(self) -> tuple[str, ...]:
        """Who has sent no swatch of it."""
        return tuple(name for name, own in self.own if own.source == "assumed")


@dataclass(frozen=True, slots=True)
class GaugesResult:
    read: Read
    names: Mapping[str, Named]
    gauges: tuple[GaugeResult, ...]
    size: str = ""
    """The one size that the regions are for; empty for every size."""


def gauges_result(round: Round, size: str = "") -> GaugesResult:
    """The swatches of a round, held against every size or against one; a size that there is not is no size."""
    read = read_round(round)
    size = size if size in read.sheet.sizes else ""
    chosen = (size,) if size else None
    sheet = Sheet(read.sheet)
    called = {tester.id: tester.name for tester in read.round.testers}
    sizes = {tester.id: tester.size for tester in read.round.testers}
    pooled = {(gauge.gauge, gauge.axis): gauge for gauge in read.analysis.gauges}
    regions = _regions(sheet, chosen)

    def one(gauge: StatedGauge) -> GaugeResult:
        own = [own for own in read.analysis.own_gauges if own.gauge == gauge.key]
        region = regions.get(gauge.key)
        return GaugeResult(
            gauge=gauge,
            stitches=pooled.get((gauge.key, "st")),
            rows=pooled.get((gauge.key, "row")),
            own=tuple((called[each.tester], each) for each in own),
            findings=tuple(
                finding
                for axis in ("st", "row")
                for finding in read.document["findings"]
                if finding["id"] == f"stated-gauge:{gauge.key}.{axis}"
            ),
            region=region,
            standing=_standing(sheet, region, own, called, sizes, chosen) if region else None,
        )

    return GaugesResult(read, names_of(read.sheet), tuple(one(gauge) for gauge in read.sheet.gauges), size)


def _standing(
    sheet: Sheet,
    region: GaugeRegion,
    own: list[OwnGauge],
    called: Mapping[str, str],
    sizes: Mapping[str, str | None],
    chosen: tuple[str, ...] | None,
) -> Standing | None:
    sent = [each for each in own if each.source != "assumed"]
    if not sent:
        return None
    # A misprint in any size is not held against the swatch of whoever makes it, whichever size is looked at.
    beyond = GaugeLimits(sheet, region.gauge).beyond()
    misprinted = [(one.limit.dimension, one.limit.size) for one in beyond]
    limits = GaugeLimits(sheet, region.gauge, leaving=misprinted)
    st, row = [each.st for each in sent], [each.row for each in sent]
    good = limits.within_own(st, row, [sizes[each.tester] for each in sent])
    return Standing(
        swatches=len(sent),
        own=int(good.sum()),
        every=int(GaugeLimits(sheet, region.gauge, chosen, leaving=misprinted).within(st, row).sum()),
        outside=tuple(called[each.tester] for each, ok in zip(sent, good, strict=True) if not ok),
    )


def _regions(sheet: Sheet, sizes: tuple[str, ...] | None) -> dict[str, GaugeRegion | None]:
    """The region of every gauge: a matter of the sheet alone, kept as long as nobody changes that."""
    if not sheet.pattern.is_graded:
        return {}
    key = f"gauge-regions:{_digest(sheet.pattern, sizes)}"
    regions = cache.get(key)
    if not isinstance(regions, dict):
        regions = {gauge.key: drawn_region(sheet, gauge.key, sizes) for gauge in sheet.pattern.gauges}
        cache.set(key, regions, CACHED_FOR_SECONDS)
    return regions


def _digest(sheet: SheetDocument, sizes: tuple[str, ...] | None) -> str:
    text = json.dumps([plain(sheet), sizes], sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(program_digest() + text.encode()).hexdigest()
