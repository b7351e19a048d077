"""What has become of a finding since it was decided."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import pgettext_lazy

from testround.errata.wording.names import Finding
from testround.kernel.findings import VERDICT_WORDS
from testround.kernel.units import (
    decimal,
)
from testround.kernel.words import commas

COMPARED = {
    "verdict": pgettext_lazy("what has changed", "verdict"),
    "estimate": pgettext_lazy("what has changed", "estimate"),
    "testers": pgettext_lazy("what has changed", "testers"),
    "now": pgettext_lazy("what has changed", "printed values"),
    "proposed": pgettext_lazy("what has changed", "proposed values"),
}


def changed_since(then: Finding, now: Finding | None) -> str:
    """What has become of a finding since it was decided; empty when nothing has."""
    if now is None:
        return _("The analysis no longer reports this. Your decision stands until you undo it.")
    parts = []
    for key, word in COMPARED.items():
        before, after = then.get(key), now.get(key)
        if before != after:
            # Translators: {what} is as in "verdict" or "printed values".
            said = _("{what} {before} then, {after} now")
            parts.append(said.format(what=word, before=_short(before), after=_short(after)))
    if not parts:
        return ""
    return _("Changed since you decided: {changes}. Your decision stands until you undo it.").format(
        changes="; ".join(parts)
    )


def _short(value: Any) -> str:
    if value is None:
        return _("none")
    if isinstance(value, Mapping):
        return commas(f"{key} {_short(entry)}" for key, entry in value.items()) or _("none")
    if isinstance(value, float):
        return decimal(value, ".4g")
    return str(VERDICT_WORDS.get(value, value)) if isinstance(value, str) else str(value)
