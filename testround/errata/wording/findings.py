"""Findings in sentences."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from fractions import Fraction

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext_lazy

from testround.errata.wording.names import OVER, Finding, Named, in_order, name_of, sizes_words
from testround.kernel.units import (
    GaugeSpan,
    LengthUnit,
    decimal,
    format_count,
    format_gauge,
    format_length,
    gauge_over,
    lengths_in,
    rounded,
)
from testround.kernel.words import commas, in_sizes, ngettext

KIND_WORDS = {
    "printed-count": pgettext_lazy("kind of finding", "Printed number"),
    "schematic": pgettext_lazy("kind of finding", "Printed measurement"),
    "worked-count": pgettext_lazy("kind of finding", "Counts worked"),
    "stated-gauge": pgettext_lazy("kind of finding", "Stated gauge"),
    "finished-size": pgettext_lazy("kind of finding", "Finished size"),
    "yarn": pgettext_lazy("kind of finding", "Yarn"),
    "hours": pgettext_lazy("kind of finding", "Hours"),
    "clarity": pgettext_lazy("kind of finding", "Text"),
    "fit": pgettext_lazy("kind of finding", "Fit"),
}


_AT_FAULT = {
    "printed-count": gettext_lazy("a printed number"),
    "schematic": gettext_lazy("the pattern’s printed measurement, not its counts"),
    "worked-count": gettext_lazy("the text, or its count"),
    "stated-gauge": gettext_lazy("the stated gauge"),
    "finished-size": gettext_lazy("the pattern’s numbers, not gauge or making"),
    "yarn": gettext_lazy("the printed yarn"),
    "hours": gettext_lazy("the printed hours"),
    "clarity": gettext_lazy("the text"),
    "fit": gettext_lazy("the shape, as testers feel it"),
}


def fault_words(finding: Finding) -> str:
    """Whose fault a finding is: "Fault: the stated gauge"; empty where nothing is wrong."""
    if finding["verdict"] not in ("amend", "look-closer"):
        return ""
    if finding.get("testers") == 1:
        return _("Fault: not known, by one tester alone")
    whose = _AT_FAULT.get(finding["kind"])
    if not whose:
        return ""
    if finding["verdict"] == "look-closer":
        # Translators: {whose} is as in "the stated gauge".
        return _("Fault: perhaps {whose}").format(whose=whose)
    # Translators: {whose} is as in "the stated gauge".
    return _("Fault: {whose}").format(whose=whose)


def title_of(finding: Finding, names: Mapping[str, Named]) -> str:
    """What a finding is about: "Finished size: Hem to underarm"."""
    kind = str(KIND_WORDS.get(finding["kind"]) or _("Finding"))
    label: str = name_of(finding["subject"], names).label
    if finding["subject"].endswith(".st"):
        label = _("{label}, stitches").format(label=label)
    elif finding["subject"].endswith(".row"):
        label = _("{label}, rows").format(label=label)
    if finding["kind"] in ("yarn", "hours") or label.lower() == kind.lower():
        # "Yarn needed" says what kind of thing it is.
        return label
    return f"{kind}: {label}"


def headline(
    finding: Finding, names: Mapping[str, Named], every: Sequence[str], units: LengthUnit = "cm"
) -> str:
    """One sentence that says what is the matter, in the reader's unit."""
    named = name_of(finding["subject"], names)
    where = sizes_words(finding.get("sizes") or [], every)
    estimate = finding.get("estimate")
    now, proposed = (in_order(finding.get(side) or {}, every) for side in ("now", "proposed"))
    match finding["kind"]:
        case "finished-size" if estimate is not None and finding["verdict"] in ("amend", "look-closer"):
            return _finished(finding, named.label, where, units)
        case "stated-gauge" if now and proposed:
            axis = next(iter(proposed))
            span: GaugeSpan = "4in" if units == "in" else "10cm"
            stated = format_gauge(now[axis], span)
            # What testers get is known to a tenth, finer than what is proposed for print.
            found = (
                format_gauge(proposed[axis], span)
                if estimate is None
                else decimal(float(rounded(gauge_over(now[axis] + estimate, span), Fraction(1, 10))), ".1f")
            )
            if axis == "stitches":
                said = _("Testers get {found} stitches in {span}; the pattern states {stated}.")
            else:
                said = _("Testers get {found} rows in {span}; the pattern states {stated}.")
            return said.format(found=found, span=OVER[units], stated=stated)
        case "printed-count" if now and proposed:
            return _("{place} prints {printed}; its formula gives {proposed}.").format(
                place=named.place, printed=_by_size(now), proposed=_by_size(proposed, beside=now)
            )
        case "worked-count" if now and proposed:
            return _("{place}: testers arrive at {proposed}; the pattern prints {printed}.").format(
                place=named.place, proposed=_by_size(proposed), printed=_by_size(now)
            )
        case "yarn" if now and proposed:
            why: str = lengths_in(finding.get("why") or "", units)
            short = [size for size in now if size in every and proposed.get(size, 0) > now[size]]
            if len(short) < 2:
                return why
            # Translators: {where} is as in "in sizes M to XL".
            also = _("The printed yarn falls short {where}.").format(where=sizes_words(short, every))
            return f"{why} {also}"
        case "schematic":
            # The reason speaks of the size that is off furthest.
            return _of_more_sizes(
                lengths_in(finding.get("why") or "", units), finding.get("sizes") or [], every
            )
        case _:
            return lengths_in(finding.get("why") or "", units)


def _finished(finding: Finding, label: str, where: str, units: LengthUnit) -> str:
    estimate = finding["estimate"]
    # Translators: {where} is as in "in sizes M to XL".
    if estimate > 0 and where:
        said = _("{label} comes out {off} larger than the pattern means {where}")
    elif estimate > 0:
        said = _("{label} comes out {off} larger than the pattern means")
    elif where:
        said = _("{label} comes out {off} smaller than the pattern means {where}")
    else:
        said = _("{label} comes out {off} smaller than the pattern means")
    said = said.format(label=label, off=format_length(abs(estimate), units), where=where)
    # Translators: from here on {said} is the sentence so far, to which something is added.
    if finding.get("interval"):
        low, high = (format_length(end, units, signed=True) for end in finding["interval"])
        said = _("{said} (95 % interval {low} to {high})").format(said=said, low=low, high=high)
    if finding.get("extent") == "with-size":
        said = _("{said}, more so towards one end of the sizes").format(said=said)
    tolerance = finding.get("tolerance")
    if not tolerance:
        return f"{said}."
    return _("{said}; up to {tolerance} is fine.").format(
        said=said, tolerance=format_length(tolerance, units)
    )


def _of_more_sizes(why: str, sizes: Sequence[str], every: Sequence[str]) -> str:
    if len(sizes) == 1 or len(every) == 1:
        return why
    # Translators: {where} is as in "in sizes M to XL".
    also = _("What is printed is off {where}.").format(where=sizes_words(sizes, every))
    return f"{why} {also}"


def printed_words(finding: Finding, every: Sequence[str]) -> str:
    """That a measurement is printed wrongly, and in which sizes; without its figures."""
    where = sizes_words(finding.get("sizes") or [], every)
    if finding["verdict"] == "amend":
        # Translators: {where} is as in "in sizes M to XL".
        return _("What is printed {where} is wrong.").format(where=where)
    # Translators: {where} is as in "in sizes M to XL".
    return _("What is printed {where} is perhaps wrong.").format(where=where)


def _by_size(values: Mapping[str, float], beside: Mapping[str, float] | None = None) -> str:
    """Values with their sizes; the sizes are left out where ``beside`` has just named the same ones."""
    distinct = set(values.values())
    if len(distinct) == 1:
        value = format_count(distinct.pop())
        if beside is not None and set(beside) == set(values) and len(set(beside.values())) == 1:
            return value
        return f"{value} {in_sizes(list(values))}"
    return commas(f"{size} {format_count(value)}" for size, value in values.items())


def reason_beyond(finding: Finding, headline: str, units: LengthUnit = "cm") -> str:
    """Why a finding is made, without what its headline has said already; empty where that said it all."""
    why: str = lengths_in(finding.get("why") or "", units)
    if headline.startswith(why):
        return ""
    n, verdict = finding.get("testers"), finding["verdict"]
    if finding["kind"] != "finished-size" or not n or verdict not in ("amend", "look-closer"):
        return why
    if verdict == "amend":
        said = ngettext(
            "The piece of {n} tester says so, beyond what the counts worked and its gauge explain.",
            "The pieces of {n} testers say so, beyond what the counts worked and their own gauge explain.",
            n,
        )
    else:
        said = ngettext(
            "The piece of {n} tester says so, which is not enough to be sure.",
            "The pieces of {n} testers say so, which is not enough to be sure.",
            n,
        )
    # The first sentence of the reason is the headline in other words.
    rest = _SENTENCE_END.split(why, maxsplit=1)[1:]
    return " ".join([said.format(n=n), *rest])


_SENTENCE_END = re.compile(r"(?<=\.)\s+(?=[^\W\d_])")


def needs_words(finding: Finding) -> str:
    """How many more testers would settle a finding; empty when nothing is asked."""
    needs = finding.get("needs")
    if not needs:
        return ""
    if isinstance(needs, Mapping):
        # Translators: how many testers in which size.
        each = _("{n} in {size}")
        asked = commas(each.format(n=count, size=size) for size, count in needs.items() if count)
    else:
        asked = str(needs)
    return _("To settle it, more testers: {asked}.").format(asked=asked) if asked else ""


def verdict_sentence(verdict: str, estimate: float | None, tolerance: float, units: LengthUnit = "cm") -> str:
    """The verdict on one size of one dimension."""
    allowed = format_length(tolerance, units)
    if estimate is None:
        return _("Nobody has measured this yet.")
    larger = estimate > 0
    if verdict == "amend" and larger:
        said = _(
            "{off} larger than meant, beyond the {allowed} that is fine: the pattern needs a correction."
        )
    elif verdict == "amend":
        said = _(
            "{off} smaller than meant, beyond the {allowed} that is fine: the pattern needs a correction."
        )
    elif verdict == "look-closer" and larger:
        said = _("Perhaps {off} larger than meant, beyond the {allowed} that is fine; not yet certain.")
    elif verdict == "look-closer":
        said = _("Perhaps {off} smaller than meant, beyond the {allowed} that is fine; not yet certain.")
    elif verdict == "holds":
        said = _("Within the {allowed} that is fine.")
    else:
        said = _("Too little evidence to say.")
    return said.format(off=format_length(abs(estimate), units), allowed=allowed)
