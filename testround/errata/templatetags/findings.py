"""Findings and deviations as their reader sees them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from django import template

from testround.errata import wording
from testround.kernel.analysis import DeviationCell
from testround.kernel.units import lengths_in
from testround.people.readers import Reader
from testround.people.templatetags import shown

register = template.Library()


# `shown` under other names: its `length` would hide Django's own, which these pages count lists with.
register.filter("off", shown.signed_length)
register.filter("span", shown.length)
register.filter("gauge", shown.gauge)
register.filter("gauge_fine", shown.gauge_fine)
register.filter("gauge_span", shown.gauge_span)


@register.filter
def told(text: str, reader: Reader) -> str:
    """A sentence of the analysis with its lengths in the reader's unit."""
    return lengths_in(text, reader.units)


@register.filter
def titled(finding: Mapping[str, Any], names: Mapping[str, wording.Named]) -> str:
    return wording.title_of(finding, names)


_MEASURED = re.compile(r"(?<=\d) (?=(?:st|rows|reps|cm|in|m|m²|g|h)(?![a-z]))|(?<==) ")


@register.filter
def sum_kept(text: str) -> str:
    """A sum that breaks over lines at its signs alone: no number is left without its unit, no "=" without its result."""
    return _MEASURED.sub("\N{NO-BREAK SPACE}", text)


@register.filter
def under(kept: Mapping[str, Any], key: str) -> Any:
    """What a mapping keeps under a key, None where it keeps nothing."""
    return kept.get(key) if kept else None


@register.filter
def fault(finding: Mapping[str, Any]) -> str:
    return wording.fault_words(finding)


@register.filter
def needs(finding: Mapping[str, Any]) -> str:
    return wording.needs_words(finding)


@register.simple_tag
def headline(
    finding: Mapping[str, Any], names: Mapping[str, wording.Named], sizes: tuple[str, ...], reader: Reader
) -> str:
    return wording.headline(finding, names, sizes, reader.units)


@register.filter
def printed(finding: Mapping[str, Any], sizes: tuple[str, ...]) -> str:
    """That what is printed of a measurement is wrong, and in which sizes."""
    return wording.printed_words(finding, sizes)


@register.simple_tag
def verdict_sentence(verdict: str, estimate: float | None, tolerance: float, reader: Reader) -> str:
    return wording.verdict_sentence(verdict, estimate, tolerance, reader.units)


@register.simple_tag
def proposal(
    finding: Mapping[str, Any], names: Mapping[str, wording.Named], reader: Reader
) -> tuple[wording.ChangeTable, ...]:
    """What a finding proposes, now beside proposed; empty where it proposes nothing."""
    changes = wording.changes_from({**finding, "follows": None}, names, {})
    return wording.change_tables(changes, reader.units)


@register.simple_tag
def brief(
    finding: Mapping[str, Any], names: Mapping[str, wording.Named], sizes: tuple[str, ...], reader: Reader
) -> str:
    """What a finding would print instead of what, in a clause; empty where that takes a table or words."""
    return wording.brief_words(finding, names, sizes, reader.units)


@register.simple_tag
def reason(
    finding: Mapping[str, Any], names: Mapping[str, wording.Named], sizes: tuple[str, ...], reader: Reader
) -> str:
    """Why a finding is made, without what its headline has said; empty where that has said all."""
    return wording.reason_beyond(finding, wording.headline(finding, names, sizes, reader.units), reader.units)


@register.filter
def only_one_tester(cell: DeviationCell) -> bool:
    """Whether a size would hold if a second tester had made it."""
    if cell.low is None or cell.high is None or cell.testers != 1:
        return False
    return -cell.tolerance <= cell.low and cell.high <= cell.tolerance
