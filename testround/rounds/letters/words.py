"""Words that several mails of a round share."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from functools import reduce

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import pgettext_lazy

from testround.patterns.access import Role
from testround.rounds.models import Place

ROLES = {
    Role.OWNER: pgettext_lazy("part in a pattern", "owner"),
    Role.EDITOR: pgettext_lazy("part in a pattern", "editor"),
    Role.ONLOOKER: pgettext_lazy("part in a pattern", "onlooker"),
}


def day(date: dt.date) -> str:
    """A date without doubt about which figure is the month: 25 January 2027."""
    return str(date_format(date, "DATE_FORMAT"))


def role_word(role: str) -> str:
    """A part in a pattern: "editor"."""
    return str(ROLES[Role(role)])


def size_of(place: Place) -> str:
    return _("size {size}").format(size=place.size) if place.size else _("made to measure")


def one_line(text: str) -> str:
    return " ".join(text.split())


def in_turn(names: Sequence[str]) -> str:
    """Sizes in the order that somebody wishes for: "S, then M"; empty for none."""
    # Translators: sizes that somebody wishes for, one after the other.
    return _joined(names, _("{first}, then {next}"))


def or_else(names: Sequence[str]) -> str:
    """Yarns of which each would do: "the blue wool, or my own"."""
    # Translators: yarns that somebody would work in.
    return _joined(names, _("{first}, or {next}"))


def _joined(names: Sequence[str], between: str) -> str:
    return (
        reduce(lambda first, following: between.format(first=first, next=following), names) if names else ""
    )
