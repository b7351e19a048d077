from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from testround.errata.models import Erratum
from testround.errata.selectors.readers import EditionForOwner
from testround.patterns.models import Pattern
from testround.patterns.origins import LONGEST_ORIGIN, MOST_ORIGINS, OriginRefused, origin_of


class FramesForm(forms.Form):
    """The sites that may show the errata in a frame, one a line."""

    origins = forms.CharField(
        label=gettext_lazy("Sites that may show the errata in a frame"),
        help_text=gettext_lazy(
            "One a line, as in https://www.example.org; a shop with and without www is two sites. Left empty, no site may."
        ),
        required=False,
        max_length=(LONGEST_ORIGIN + 2) * MOST_ORIGINS,
        widget=forms.Textarea(attrs={"rows": 4, "spellcheck": "false", "autocapitalize": "none"}),
    )

    @classmethod
    def of(cls, pattern: Pattern) -> FramesForm:
        return cls(initial={"origins": "\n".join(pattern.frame_origins)})

    def clean_origins(self) -> list[str]:
        found, refused = [], []
        for typed in self.cleaned_data["origins"].split():
            try:
                found.append(origin_of(typed))
            except OriginRefused as refusal:
                refused.append(str(refusal))
        if len(found) > MOST_ORIGINS:
            said = _("These are {n} sites; keep the list within {most}.")
            refused.append(said.format(n=len(found), most=MOST_ORIGINS))
        if refused:
            raise forms.ValidationError(refused)
        return found


class ReleaseForm(forms.Form):
    """Which changes of words an edition has already, as its designer says."""

    corrected = forms.TypedMultipleChoiceField(
        label=gettext_lazy("Its text has these corrections already"),
        required=False,
        coerce=int,
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, *args: Any, words: Sequence[Erratum], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["corrected"].choices = [
            (each.number, _("Erratum {number}: {place}").format(number=each.number, place=each.place))
            for each in words
        ]

    @classmethod
    def of(cls, one: EditionForOwner) -> ReleaseForm:
        return cls(
            words=one.words,
            initial={"corrected": one.corrected},
            prefix=None,
            auto_id=f"id_{one.edition.pk}_%s",
        )
