"""Body measurements on a form: a field for each that the pattern works with."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext as _

from testround.kernel.plausible import body_doubt
from testround.kernel.round import Measure
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.units import LengthUnit


class BodyForm(forms.Form):
    """A form with body measurements. One that hardly any body has is asked after, once."""

    document: SheetDocument
    has_doubts = False

    def ask_measure(self, measure: Measure, *, help_text: str, **attrs: str) -> None:
        self.fields[f"measure_{measure.key}"] = forms.CharField(
            label=measure.label,
            required=False,
            max_length=40,
            help_text=help_text,
            widget=forms.TextInput(attrs={"inputmode": "text", **attrs}),
        )

    def ask_to_keep(self) -> None:
        self.fields["keep"] = forms.BooleanField(label=_("They are right, keep them"), required=False)

    def measure_fields(self) -> list[forms.BoundField]:
        return [self[f"measure_{measure.key}"] for measure in self.document.measures]

    def question(self, measure: Measure, cm: float, unit: LengthUnit) -> None:
        """Put a question beside a measurement that hardly any body has, unless it was said to be right."""
        sizes = tuple((measure.values or {}).values())
        doubt = body_doubt(measure.key, measure.label, cm, sizes=sizes, unit=unit)
        if doubt is None:
            return
        self.has_doubts = True
        cleaned: dict[str, Any] = self.cleaned_data
        if not cleaned.get("keep"):
            self.add_error(f"measure_{measure.key}", doubt.sentence)
