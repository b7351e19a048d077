"""A sheet as errata correct it: what they print instead, and formulas that give it.

A number that testers show to be wrong is wrong in its formula too: were the formula left, the next desk check would
call the corrected count a misprint, and whatever is worked out from the formula (own numbers at an own gauge, numbers
that follow) would go on as before. So a correction reaches the formula: what it lacks is added, inside the rounding
to the stitch multiple, by size where sizes differ.

A finished measurement that came out off is another matter. Its counts are changed so that pieces measure what the
pattern means, which the formula from counts to centimetres did not foresee. What it had foreseen is kept: it is the
formula of the measurement that gets the difference.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from testround.kernel.amounts import PER_M2
from testround.kernel.deskcheck import NOISE, put_right, unlike
from testround.kernel.formula_text import Multiple, read
from testround.kernel.round import Pattern
from testround.kernel.roundfile import plain
from testround.kernel.sheet import Sheet, SheetError, check_pattern

FloatArray = NDArray[np.float64]

GAUGE_UNITS = ("st/10 cm", "row/10 cm")


@dataclass(frozen=True, slots=True)
class Amendment:
    """What is printed instead, of one number, measurement, gauge, or of yarn or hours.

    ``now`` by size, a gauge by "stitches" or "rows", yarn of a made-to-measure pattern by ``per m²``. ``keeps`` are
    finished measurements that the change is to bring back to what the pattern means: these stay as they are.
    """

    subject: str
    unit: str
    now: Mapping[str, float]
    keeps: tuple[str, ...] = ()


def amended(pattern: Pattern, amendments: Sequence[Amendment]) -> Pattern:
    """The sheet with what one erratum prints instead, its formulas mended where they would not give it.

    A formula that cannot be mended, because no measure tells the sizes apart, stays as it is.

    Raises
    ------
    SheetError
        The sheet cannot be computed.
    """
    document = plain(pattern)
    _print(document, pattern.sizes, amendments)
    changed = Pattern.model_validate(document)
    if not pattern.sizes:
        return changed
    before = Sheet(pattern)
    meant = before.dimensions(before.stated(), put_right(before))
    sheet = Sheet(changed)
    counts = {one.subject: one for one in amendments if sheet.has_number(one.subject)}
    for key in sheet.order:
        if key in counts:
            sheet = _mend_number(sheet, key, counts[key])
    return _keep_measurements(sheet, meant, amendments)


def amended_by_each(pattern: Pattern, errata: Iterable[Sequence[Amendment]]) -> Pattern:
    """The sheet after one erratum, then the next; of two that change one value the later holds."""
    for amendments in errata:
        pattern = amended(pattern, amendments)
    return pattern


def _print(document: dict[str, Any], sizes: Sequence[str], amendments: Iterable[Amendment]) -> None:
    printed = {
        entry["key"]: entry for entry in (*document.get("numbers", ()), *document.get("dimensions", ()))
    }
    gauges = {gauge["key"]: gauge for gauge in document["gauges"]}
    for one in amendments:
        gauge = gauges.get(one.subject.removesuffix(".st").removesuffix(".row"))
        if one.unit in GAUGE_UNITS and gauge is not None:
            gauge.update(one.now)
        elif one.subject in printed:
            entry = printed[one.subject]
            entry["printed"] = _in_order({**(entry.get("printed") or {}), **one.now}, sizes)
        elif one.subject == "yarn" and PER_M2 in one.now:
            document["yarn_per_m2"] = one.now[PER_M2]
        elif one.subject in ("yarn", "hours"):
            document[one.subject] = _in_order({**(document.get(one.subject) or {}), **one.now}, sizes)


def _in_order(values: Mapping[str, float], sizes: Sequence[str]) -> dict[str, float]:
    return {size: values[size] for size in sizes if size in values}


def _mend_number(sheet: Sheet, key: str, amendment: Amendment) -> Sheet:
    """The sheet with a formula of this number that gives what is printed in the amended sizes."""
    sizes = sheet.pattern.sizes
    others = {other: value for other, value in put_right(sheet).items() if other != key}
    computed = sheet.numbers(sheet.stated(), others)[key]
    now = np.array([amendment.now.get(size, np.nan) for size in sizes])
    wrong = unlike(now, computed)
    if not wrong.any():
        return sheet
    rounds = sheet.multiple_of(key) is not None
    # A broken result stands for the whole number nearest to it, and stays as broken as it was.
    lacks = np.where(wrong, np.rint(now - computed) if not rounds else now - computed, 0.0)
    for formula in _with_added(sheet, _formula_of(sheet.pattern, "numbers", key), lacks, inside=rounds):
        mended = _with_formula(sheet.pattern, "numbers", key, formula)
        if mended is None:
            continue
        there = Sheet(mended)
        if not unlike(now, there.numbers(there.stated(), others)[key]).any():
            return there
    return sheet


def _keep_measurements(
    sheet: Sheet, meant: Mapping[str, FloatArray], amendments: Iterable[Amendment]
) -> Pattern:
    """Measurements that the counts were changed for stay what they were in the sizes that changed."""
    sizes = sheet.pattern.sizes
    kept: dict[str, set[str]] = {}
    for one in amendments:
        for key in one.keeps:
            kept.setdefault(key, set()).update(one.now)
    for key, names in kept.items():
        if key not in meant:
            continue
        gives = sheet.dimensions(sheet.stated(), put_right(sheet))[key]
        in_question = np.array([size in names for size in sizes])
        lacks = np.where(in_question, np.round(meant[key] - gives, 2), 0.0)
        if np.isnan(lacks).any() or not np.any(np.abs(lacks) > NOISE):
            continue
        for formula in _with_added(sheet, _formula_of(sheet.pattern, "dimensions", key), lacks, inside=False):
            mended = _with_formula(sheet.pattern, "dimensions", key, formula)
            if mended is not None:
                sheet = Sheet(mended)
                break
    return sheet.pattern


def _formula_of(pattern: Pattern, group: str, key: str) -> str:
    return next(str(entry.formula) for entry in getattr(pattern, group) if entry.key == key)


def _with_formula(pattern: Pattern, group: str, key: str, formula: str) -> Pattern | None:
    """The pattern with another formula in one place; None where it cannot stand there."""
    entries = tuple(
        entry.model_copy(update={"formula": formula}) if entry.key == key else entry
        for entry in getattr(pattern, group)
    )
    mended = pattern.model_copy(update={group: entries})
    return None if check_pattern(mended) else mended


def _with_added(sheet: Sheet, formula: str, lacks: FloatArray, *, inside: bool) -> Iterable[str]:
    """Formulas with what is lacking added, the shortest first."""
    added = _by_size(sheet, lacks)
    if not added:
        return
    for more in added:
        said = f"- {more[1:]}" if more.startswith("-") else f"+ {more}"
        if inside:
            root = read(formula)
            assert isinstance(root, Multiple)  # noqa: S101 -- a number with a multiple; this tells the type checker
            yield f"{formula[: root.x.end]} {said}{formula[root.x.end :]}"
        else:
            yield f"{formula} {said}"


def _by_size(sheet: Sheet, lacks: FloatArray) -> Iterable[str]:
    """What is added, as a formula: one literal, or one for each stretch of the sizes by a measure that tells them apart."""
    if np.all(lacks == lacks[0]):
        return (_literal(float(lacks[0])),)
    found = []
    for measure in sheet.pattern.measures:
        values = measure.values or {}
        rising = sorted((values[size], float(lacks[j])) for j, size in enumerate(sheet.pattern.sizes))
        edges = [(low[0], high[0], low[1]) for low, high in itertools.pairwise(rising) if low[1] != high[1]]
        if any(low == high for low, high, _lack in edges):
            # Two sizes with the same body that need different counts.
            continue
        text = _literal(rising[-1][1])
        for low, high, lack in reversed(edges):
            text = f"when({measure.key} < {_between(low, high)}, {_literal(lack)}, {text})"
        found.append(text)
    return sorted(found, key=len)


def _between(low: float, high: float) -> str:
    """A short number above ``low`` and not above ``high``."""
    middle = (low + high) / 2
    for decimals in range(6):
        rounded = round(middle, decimals)
        if low < rounded <= high:
            return _literal(rounded)
    return _literal(high)


def _literal(value: float) -> str:
    return np.format_float_positional(round(value, 6), trim="-")


__all__ = ["Amendment", "SheetError", "amended", "amended_by_each"]
