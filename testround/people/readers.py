"""Who reads, and in which units, tool sizes and stitch terms."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, cast

from django.conf import settings
from django.utils.translation import gettext as _

from testround.people.models import User

Units = Literal["cm", "in"]
Tools = Literal["metric", "us", "uk"]
Terms = Literal["us", "uk"]


@dataclass(frozen=True, slots=True)
class Reader:
    """A person's choices; a stranger gets these defaults until they choose."""

    units: Units = "cm"
    tools: Tools = "metric"
    terms: Terms = "us"
    language: str = ""
    """The code of the language that was chosen; without one, what the browser asks for."""

    @property
    def words(self) -> str:
        """The choices in a few words, for the link that changes them."""
        lengths = {"cm": _("centimetres"), "in": _("inches")}[self.units]
        tools = {"metric": _("metric tools"), "us": _("US tools"), "uk": _("old UK tools")}[self.tools]
        terms = {"us": _("US terms"), "uk": _("UK terms")}[self.terms]
        return f"{lengths}, {tools}, {terms}"


def reader_of(user: User) -> Reader:
    """The reader a signed-in person chose to be."""
    return Reader(
        units=cast(Units, user.units),
        tools=cast(Tools, user.tools),
        terms=cast(Terms, user.terms),
        language=user.language,
    )


def reader_from(kept: Mapping[str, Any] | None) -> Reader:
    """The reader kept in a session; what is missing or unknown there falls back to the default."""
    kept = kept or {}
    return Reader(
        units=cast(Units, _known(kept.get("units"), User.Units.values, Reader().units)),
        tools=cast(Tools, _known(kept.get("tools"), User.Tools.values, Reader().tools)),
        terms=cast(Terms, _known(kept.get("terms"), User.Terms.values, Reader().terms)),
        language=_known(kept.get("language"), list(dict(settings.LANGUAGES)), Reader().language),
    )


def _known(value: Any, choices: list[str], otherwise: str) -> str:
    return value if value in choices else otherwise
