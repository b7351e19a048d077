"""What an erratum means to a tester in the middle of it: for their size, and for what they have made already."""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping

from django.utils.translation import gettext as _

from testround.errata.wording.names import AXES, COUNTED, OVER, UNIT_WORDS, Change
from testround.errata.wording.tables import value_words
from testround.kernel.units import LengthUnit, format_count


def means(
    changes: Iterable[Change],
    size: str,
    *,
    sent: Mapping[str, float],
    ticked: Container[str],
    measured: Container[str] = (),
    finished: bool = False,
    units: LengthUnit = "cm",
) -> tuple[str, ...]:
    """A sentence for each number that changes in a tester's size; none where their size is not touched.

    Parameters
    ----------
    changes
        Of the erratum, in its reader's terms.
    size
        The tester's; empty for a pattern made to measure.
    sent
        Counts that the tester sent, by number.
    ticked
        Numbers whose step they ticked off.
    measured
        Dimensions that they measured.
    finished
        Whether the whole piece is made.
    """
    said = []
    for change in changes:
        now = change["now"]
        for axis in (key for key in now if key in AXES):
            said.append(_gauge(change, axis, units, made_to_measure=not size))
        if size not in now:
            continue
        new, old = now[size], change["was"].get(size)
        if change["unit"] in COUNTED:
            said.append(
                _count(change, new, old, sent.get(change["subject"]), change["subject"] in ticked, finished)
            )
        else:
            said.append(_printed(change, new, old, units, measured=change["subject"] in measured))
    return tuple(said)


def _count(
    change: Change, new: float, old: float | None, sent: float | None, ticked: bool, finished: bool
) -> str:
    named = {
        "where": _where(change),
        "new": format_count(new),
        "old": _("what was printed") if old is None else format_count(old),
        "unit": UNIT_WORDS.get(change["unit"], change["unit"]),
        "sent": "" if sent is None else format_count(sent),
    }
    if sent is not None and sent == new:
        said = _("{where}: you sent {sent} {unit}, which is what it should be. Nothing to change.")
    elif sent is not None:
        said = _(
            "{where}: {new} {unit} instead of {old}. You have sent your count for this step: {sent}. It stays as you "
            "made it."
        )
    elif ticked:
        said = _(
            "{where}: {new} {unit} instead of {old}. You have ticked this step off, so it stays as you made it."
        )
    elif finished:
        said = _("{where}: {new} {unit} instead of {old}. Your piece is made, so it stays as it is.")
    else:
        said = _(
            "{where}: work {new} {unit} instead of {old}. As far as you have told, you are not there yet; if you are, "
            "it stays as you made it."
        )
    return said.format(**named)


def _printed(change: Change, new: float, old: float | None, units: LengthUnit, *, measured: bool) -> str:
    unit = "" if change["unit"] == "cm" else f" {UNIT_WORDS.get(change['unit'], change['unit'])}"
    named = {
        "where": _where(change),
        "new": value_words(new, change["unit"], units) + unit,
        "old": value_words(old, change["unit"], units),
    }
    if measured:
        said = _("{where}: {new} is meant, not {old}. What you measured stays as you sent it.")
    else:
        said = _("{where}: {new} instead of {old}.")
    return said.format(**named)


def _gauge(change: Change, axis: str, units: LengthUnit, *, made_to_measure: bool) -> str:
    named = {
        "where": change["label"],
        "new": value_words(change["now"][axis], change["unit"], units),
        "old": value_words(change["was"].get(axis), change["unit"], units),
        "counted": _("stitches") if axis == "stitches" else _("rows"),
        "span": OVER[units],
    }
    said = _("{where}: the gauge is {new} {counted} in {span} instead of {old}.").format(**named)
    if made_to_measure:
        return _("{said} Your own numbers are worked from your own swatch and stay.").format(said=said)
    return _("{said} Your swatch stays as you sent it.").format(said=said)


def _where(change: Change) -> str:
    """ "Back, step 1, Back, cast on"; the place once where the label says it."""
    place, label = change["place"], change["label"]
    return f"{place}, {label}" if place and place not in label else str(label)
