"""How many testers each size has at least and at most: two fields for every size of the pattern."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext as _

from testround.rounds.forms.fields import whole
from testround.rounds.models import Round

WHICH = ("least", "most")


class SizesForm(forms.Form):
    """A form that asks for the least and the most of each size, and gives them as a round's plan."""

    def __init__(
        self,
        *args: Any,
        sizes: Sequence[str],
        round: Round | None,
        initial: Mapping[str, Any],
        **options: Any,
    ) -> None:
        self.sizes = list(sizes)
        plan: Mapping[str, Mapping[str, int]] = (round.places_plan if round is not None else None) or {}
        limits = {
            f"{which}_{at}": (plan.get(which) or {}).get(size)
            for which in WHICH
            for at, size in enumerate(self.sizes)
        }
        super().__init__(*args, initial=limits | dict(initial), **options)
        for at, size in enumerate(self.sizes):
            for which in WHICH:
                self.fields[f"{which}_{at}"] = whole()
                self.fields[f"{which}_{at}"].label = (
                    _("At least, size {size}") if which == "least" else _("At most, size {size}")
                ).format(size=size)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        for at, size in enumerate(self.sizes):
            least, most = cleaned.get(f"least_{at}"), cleaned.get(f"most_{at}")
            if least is not None and most is not None and most < least:
                self.add_error(
                    f"most_{at}",
                    _("Size {size} takes at most {most} but needs at least {least}: raise one.").format(
                        size=size, most=most, least=least
                    ),
                )
        return cleaned

    def size_rows(self) -> list[tuple[str, forms.BoundField, forms.BoundField]]:
        return [(size, self[f"least_{at}"], self[f"most_{at}"]) for at, size in enumerate(self.sizes)]

    def plan(self) -> dict[str, dict[str, int]] | None:
        """The round's plan; None where no size is limited."""
        plan = {}
        for which in WHICH:
            said = {size: self.cleaned_data[f"{which}_{at}"] for at, size in enumerate(self.sizes)}
            if by_size := {size: n for size, n in said.items() if n is not None}:
                plan[which] = by_size
        return plan or None
