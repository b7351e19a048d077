"""In words, whether the swatches agree with a stated gauge, and what the pattern stands of them."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.errata.selectors.gauges import GaugeResult
from testround.kernel.analysis import PooledGauge
from testround.kernel.units import GaugeSpan, format_gauge
from testround.paper.plots import gauge_to_a_tenth


def agreement(one: GaugeResult, over: GaugeSpan) -> tuple[str, ...]:
    """A sentence for stitches, one for rows, and one on how far apart swatches lie; none while nobody has sent any."""
    said = (
        _axis(_("Stitches"), one.stitches, one.gauge.stitches, over),
        _axis(_("Rows"), one.rows, one.gauge.rows, over),
        _apart(one, over),
    )
    return tuple(sentence for sentence in said if sentence)


def _axis(name: str, pooled: PooledGauge | None, stated: float, over: GaugeSpan) -> str:
    if pooled is None or not pooled.testers or pooled.estimate is None:
        return ""
    words = {
        "holds": _("%(name)s agree: testers get %(got)s, and %(stated)s is stated."),
        "amend": _("%(name)s do not: testers get %(got)s, and %(stated)s is stated."),
        "look-closer": _("%(name)s may not: testers get %(got)s, and %(stated)s is stated. Look closer."),
    }.get(
        str(pooled.verdict),
        _("%(name)s: too early to say. Testers get %(got)s so far, and %(stated)s is stated."),
    )
    got, meant = gauge_to_a_tenth(pooled.estimate, over), format_gauge(stated, over)
    return words % {"name": name, "got": got, "stated": meant}


def _apart(one: GaugeResult, over: GaugeSpan) -> str:
    """Between which gauges the blocked swatches lie; empty where there are not two."""
    blocked = [own for _name, own in one.own if own.source == "blocked"]
    if len(blocked) < 2:
        return ""
    stitches, rows = sorted(own.st for own in blocked), sorted(own.row for own in blocked)
    ends = {"least": stitches[0], "most": stitches[-1], "fewest": rows[0], "utmost": rows[-1]}
    said = _("From swatch to swatch: %(least)s to %(most)s stitches, %(fewest)s to %(utmost)s rows.")
    return said % {name: gauge_to_a_tenth(end, over) for name, end in ends.items()}


def standing(one: GaugeResult, size: str = "") -> str:
    """How many swatches keep every measurement within its tolerance; empty where nothing can be said."""
    found = one.standing
    if found is None:
        return ""
    said = ngettext(
        "%(own)d of %(all)d swatch keeps every measurement of its maker's size within its tolerance",
        "%(own)d of %(all)d swatches keep every measurement of their makers' sizes within tolerance",
        found.swatches,
    ) % {"own": found.own, "all": found.swatches}
    if len(one.region.boundary if one.region else ()) == 0:
        return f"{said}."
    if size:
        return _("%(said)s, and %(every)d would in size %(size)s.") % {
            "said": said,
            "every": found.every,
            "size": size,
        }
    return _("%(said)s, and %(every)d would in every size.") % {"said": said, "every": found.every}
