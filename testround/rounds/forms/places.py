"""Places of a round: who, in what size and yarn; the link to each, and taking and giving back."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.round import SuppliedYarn as YarnDocument
from testround.kernel.round import Yarn
from testround.kernel.units import YARN_WEIGHTS, LengthUnit, UnitsError, format_length, parse_length
from testround.rounds.forms.bodies import BodyForm
from testround.rounds.forms.fields import LONGEST_ADDRESS, OWN_YARN, DateField, whole
from testround.rounds.models import Place, SuppliedYarn
from testround.rounds.services import MOST_PLACES_AT_ONCE

LONGEST_NAME: int = Place._meta.get_field("name").max_length


def yarn_weights() -> list[tuple[object, str]]:
    """The weights of yarn to choose from, in the reader's language."""
    return [("", _("not said")), *((weight.category, weight.label) for weight in YARN_WEIGHTS)]


class GiveBackForm(forms.Form):
    cause = forms.CharField(
        label=gettext_lazy("Why"),
        required=False,
        max_length=300,
        help_text=gettext_lazy("Goes into the diary beside your name."),
    )


class YarnDetailFields(forms.Form):
    """What a yarn's ball band says."""

    label = forms.CharField(
        label=gettext_lazy("Yarn"),
        required=False,
        max_length=200,
        help_text=gettext_lazy("As in “Wool, supplied”."),
    )
    weight = forms.TypedChoiceField(
        label=gettext_lazy("Yarn weight"), required=False, choices=yarn_weights, coerce=int, empty_value=None
    )
    fibre = forms.CharField(label=gettext_lazy("Fibre"), required=False, max_length=200)
    metres_per_ball = forms.FloatField(
        label=gettext_lazy("Metres per ball"),
        required=False,
        min_value=0.1,
        max_value=1_000_000,
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
        error_messages={"invalid": gettext_lazy("Write the metres on the ball band as a number, as in 200.")},
    )
    grams_per_ball = forms.FloatField(
        label=gettext_lazy("Grams per ball"),
        required=False,
        min_value=0.1,
        max_value=1_000_000,
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
        error_messages={"invalid": gettext_lazy("Write the grams on the ball band as a number, as in 100.")},
    )

    YARN_FIELDS = ("label", "weight", "fibre", "metres_per_ball", "grams_per_ball")

    def yarn_values(self) -> dict[str, Any]:
        return {
            name: self.cleaned_data.get(name) or None for name in self.YARN_FIELDS if name != "weight"
        } | {"weight": self.cleaned_data.get("weight")}


class SuppliedYarnForm(YarnDetailFields):
    makers = whole()

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["label"].required = True
        self.fields["label"].error_messages["required"] = _("Name the yarn, as in “Wool, supplied”.")
        self.fields["label"].help_text = _("As testers are to read it, as in “Wool, undyed”.")
        self.fields["makers"].label = _("Enough for how many testers")

    def first_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in ("label", "weight", "fibre")]

    def ball_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in ("metres_per_ball", "grams_per_ball", "makers")]

    def yarn(self, taken: Sequence[str]) -> YarnDocument:
        return YarnDocument(
            key=yarn_key(self.cleaned_data["label"], taken),
            makers=self.cleaned_data["makers"],
            **self.yarn_values(),
        )


def yarn_key(label: str, taken: Sequence[str]) -> str:
    """A key for the round file, made of the label's words: lower case, joined by ``_``, unique in the round."""
    words = re.findall(r"[a-z0-9]+", label.lower())
    stem = "_".join(words)[:50].strip("_")
    if not stem or not stem[0].isalpha():
        stem = f"yarn_{stem}".strip("_")
    key, number = stem, 2
    while key in taken:
        key, number = f"{stem}_{number}", number + 1
    return key


class PlaceForm(YarnDetailFields, BodyForm):
    """One place, or several of one size and yarn: a name on each line."""

    names = forms.CharField(
        label=gettext_lazy("Who"),
        widget=forms.Textarea(attrs={"rows": 2, "class": "few-lines", "autocomplete": "off"}),
        # Each with the two characters that end its line.
        max_length=MOST_PLACES_AT_ONCE * (LONGEST_NAME + 2),
        error_messages={
            "required": gettext_lazy("Say how this tester is to be called, a first name or “Tester 5”.")
        },
    )
    size = forms.ChoiceField(
        label=gettext_lazy("Size"),
        error_messages={
            "required": gettext_lazy("Choose a size."),
            "invalid_choice": gettext_lazy("The pattern has no such size: choose one."),
        },
    )
    yarn = forms.ChoiceField(
        label=gettext_lazy("Whose yarn"),
        error_messages={
            "required": gettext_lazy("Choose a yarn, or “the tester's own”."),
            "invalid_choice": gettext_lazy("This round does not supply that yarn: choose one of these."),
        },
    )

    def __init__(
        self,
        *args: Any,
        document: SheetDocument,
        yarns: Sequence[SuppliedYarn],
        units: str,
        place: Place | None = None,
        **options: Any,
    ) -> None:
        self.document, self.supplied, self.units, self.place = document, list(yarns), units, place
        self._stored: dict[str, float] = dict(place.measures) if place else {}
        initial = self._initial(place) | dict(options.pop("initial", None) or {})
        super().__init__(*args, initial=initial, **options)
        if place is not None:
            self.fields["names"].widget = forms.TextInput(attrs={"autocomplete": "off"})
            self.fields["names"].max_length = LONGEST_NAME
        else:
            self.fields["names"].help_text = _(
                "One name on each line: each gets a place, all in this size and yarn."
            )
        if document.is_graded:
            self.fields["size"].choices = [
                ("", _("Choose a size")),
                *((size, size) for size in document.sizes),
            ]
        else:
            del self.fields["size"]
        self.fields["yarn"].choices = [
            (OWN_YARN, _("the tester's own")),
            *((str(yarn.pk), _("supplied: {yarn}").format(yarn=yarn.label)) for yarn in self.supplied),
        ]
        self.fields["label"].help_text = _("If you know it already; the tester can say so later.")
        for measure in document.measures:
            self.ask_measure(measure, help_text=measure.how or "")
        self.ask_to_keep()

    def _initial(self, place: Place | None) -> dict[str, object]:
        if place is None:
            return {"yarn": OWN_YARN}
        supplied = next((yarn for yarn in self.supplied if yarn.label == place.yarn_label), None)
        initial: dict[str, object] = {"names": place.name, "size": place.size}
        if supplied is not None:
            initial["yarn"] = str(supplied.pk)
        else:
            initial |= {
                "yarn": OWN_YARN,
                "label": place.yarn_label,
                "weight": place.yarn_weight,
                "fibre": place.yarn_fibre,
                "metres_per_ball": place.metres_per_ball,
                "grams_per_ball": place.grams_per_ball,
            }
        for key, cm in place.measures.items():
            initial[f"measure_{key}"] = format_length(cm, "in" if self.units == "in" else "cm")
        return initial

    def main_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in ("names", "size", "yarn") if name in self.fields]

    def yarn_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.YARN_FIELDS]

    def yarn_said(self) -> bool:
        """Whether there is something to see among the yarn's details, so that they are shown unfolded."""
        return any(field.value() not in (None, "") or field.errors for field in self.yarn_fields())

    def measures_said(self) -> bool:
        return any(field.value() or field.errors for field in self.measure_fields())

    def clean_names(self) -> list[str]:
        names = [line.strip() for line in self.cleaned_data["names"].splitlines() if line.strip()]
        if not names:
            raise forms.ValidationError(_("Say how this tester is to be called, a first name or “Tester 5”."))
        if len(names) > MOST_PLACES_AT_ONCE:
            raise forms.ValidationError(
                _("These are {n} names: add at most {most} places at once.").format(
                    n=len(names), most=MOST_PLACES_AT_ONCE
                )
            )
        long = next((name for name in names if len(name) > LONGEST_NAME), None)
        if long:
            raise forms.ValidationError(
                _("“{name}…” is too long: a name has at most {most} characters.").format(
                    name=long[:30], most=LONGEST_NAME
                )
            )
        return names

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        measures: dict[str, float] = {}
        unit: LengthUnit = "in" if self.units == "in" else "cm"
        for measure in self.document.measures:
            field = f"measure_{measure.key}"
            typed = (cleaned.get(field) or "").strip()
            if not typed:
                continue
            # A stored length comes back rounded for the eye; untouched, it is kept as it was.
            if typed == self.initial.get(field) and measure.key in self._stored:
                measures[measure.key] = self._stored[measure.key]
                continue
            try:
                measures[measure.key] = parse_length(typed, unit, name=measure.label).cm
            except UnitsError as error:
                self.add_error(field, str(error))
            else:
                self.question(measure, measures[measure.key], unit)
        if measures and len(cleaned.get("names") or []) > 1:
            self.add_error(
                "names",
                _("Body measurements belong to one person: add this place alone, or leave them empty."),
            )
        cleaned["measures"] = measures
        if cleaned.get("yarn") == OWN_YARN and not cleaned.get("label"):
            said = [
                name for name in self.YARN_FIELDS if name != "label" and cleaned.get(name) not in (None, "")
            ]
            if said:
                self.add_error("label", _("Name the yarn too, or leave all of its details empty."))
        return cleaned

    def chosen_yarn(self) -> Yarn | SuppliedYarn | None:
        choice = self.cleaned_data["yarn"]
        if choice != OWN_YARN:
            return next(yarn for yarn in self.supplied if str(yarn.pk) == choice)
        return Yarn(**self.yarn_values()) if self.cleaned_data.get("label") else None

    def chosen_size(self) -> str | None:
        return self.cleaned_data.get("size") or None


class InviteForm(forms.Form):
    """Where the link goes; and where the offer has a last day, until when it stands from now on."""

    email = forms.EmailField(
        label=gettext_lazy("Email address"),
        max_length=LONGEST_ADDRESS,
        required=False,
        help_text=gettext_lazy("The link is mailed there. Left empty, you get the link to pass on yourself."),
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
        error_messages={
            "invalid": gettext_lazy(
                "This is no email address: write it as in name@example.org, or leave it empty."
            )
        },
    )
    until = DateField(
        label=gettext_lazy("The offer stands until"),
        required=True,
        help_text=gettext_lazy("To the end of that day; the place then goes to the next in reserve."),
        error_messages={
            "required": gettext_lazy("Pick the last day of the offer."),
        },
    )

    def __init__(self, *args: Any, ends: bool = False, **options: Any) -> None:
        super().__init__(*args, **options)
        if not ends:
            del self.fields["until"]
