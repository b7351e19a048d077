from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from testround.errata.models import Decision, Erratum
from testround.errata.selectors import may_correct, stands_in
from testround.errata.services import LONGEST_PLACE, LONGEST_TEXT, Wording, gauge_stands
from testround.errata.wording import UNIT_WORDS, name_of, names_of, value_words
from testround.kernel.problems import InputProblems
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.units import (
    LengthUnit,
    UnitsError,
    format_count,
    format_length,
    parse_count,
    parse_length,
)
from testround.patterns.models import Edition
from testround.rounds.models import Place
from testround.talk.forms import SaidForm
from testround.talk.models import LONGEST_SAID


class DeclineForm(forms.Form):
    reason = forms.CharField(
        label=_("Why it is declined"),
        max_length=Decision._meta.get_field("reason").max_length,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": _("Say in a few words why this finding is declined.")},
    )


class AskForm(SaidForm):
    """A question to testers, in private, made once by its key."""

    place = forms.MultipleChoiceField(
        label=_("Whom to ask"),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _("Tick one tester or more.")},
    )
    text = forms.CharField(
        label=_("Question"),
        max_length=LONGEST_SAID,
        widget=forms.Textarea(attrs={"rows": 5}),
        help_text=_(
            "Each of them gets it as a private word, and a mail that there is one. No other tester sees it."
        ),
        error_messages={"required": _("Ask what you want to know.")},
    )

    def __init__(self, *args: Any, places: Sequence[Place], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["place"]
        assert isinstance(field, forms.MultipleChoiceField)  # noqa: S101 -- for the type checker
        field.choices = [
            (
                str(place.pk),
                _("{name}, size {size}").format(name=place.name, size=place.size)
                if place.size
                else place.name,
            )
            for place in places
        ]
        if len(places) == 1:
            field.initial = [str(places[0].pk)]


class NextEditionForm(forms.Form):
    label = forms.CharField(
        label=_("The next edition is called"),
        max_length=Edition._meta.get_field("label").max_length,
        help_text=_("It starts as this edition with every published correction in place."),
    )


@dataclass(frozen=True, slots=True)
class ChangeFields:
    """One number of a draft on its form: what stands by size, beside the field for what should."""

    label: str
    unit: str
    rows: tuple[tuple[str, str, forms.BoundField], ...]


class DraftForm(forms.Form):
    """A draft's words, the sizes it is for, and the numbers it changes, one field for each size.

    A field named ``subject|unit|size`` holds what should be printed; empty is no change.
    """

    place = forms.CharField(
        label=_("Place in the text"),
        max_length=LONGEST_PLACE,
        help_text=_("As a reader finds it: the section and the step."),
    )
    text = forms.CharField(
        label=_("Correction"),
        max_length=LONGEST_TEXT,
        widget=forms.Textarea(attrs={"rows": 6}),
        help_text=_("What a reader has to change, in the pattern's own terms."),
    )
    why = forms.CharField(
        label=_("Why"),
        max_length=LONGEST_TEXT,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("Readers see this too. Name no tester."),
    )

    def __init__(self, *args: Any, erratum: Erratum, units: LengthUnit, **kwargs: Any) -> None:
        super().__init__(
            *args, initial={"place": erratum.place, "text": erratum.text, "why": erratum.why}, **kwargs
        )
        self.units = units
        self.sheet: SheetDocument = erratum.edition.document
        self.changes: dict[tuple[str, str], dict[str, Any]] = {
            (change["subject"], change["unit"]): change for change in erratum.changes
        }
        added = self.data.get("add", "") if self.is_bound else ""
        named = names_of(self.sheet)
        addable = [number for number in self.sheet.numbers if (number.key, number.unit) not in self.changes]
        for number in addable:
            # A number added by the last send of this form has its fields on it already.
            if number.key == added or any(
                key.startswith(f"{number.key}|{number.unit}|") for key in self.data
            ):
                self.changes[number.key, number.unit] = {"was": {}, "now": {}}
        published = list(may_correct(erratum).values_list("number", "place"))
        if published:
            self.fields["corrects"] = forms.TypedChoiceField(
                label=_("It puts right another erratum"),
                required=False,
                coerce=int,
                empty_value=None,
                choices=[
                    ("", pgettext_lazy("an erratum that is put right", "None")),
                    *(
                        (number, _("Erratum {number}: {place}").format(number=number, place=place))
                        for number, place in published
                    ),
                ],
                initial=erratum.corrects.number if erratum.corrects else "",
                help_text=_("A published erratum stays as it is; readers of it are led to this one."),
            )
        if self.sheet.sizes:
            every = set(erratum.sizes) == set() or set(erratum.sizes) == set(self.sheet.sizes)
            self.fields["sizes"] = forms.MultipleChoiceField(
                label=_("Sizes that are affected"),
                choices=[(size, size) for size in self.sheet.sizes],
                initial=list(self.sheet.sizes) if every else erratum.sizes,
                widget=forms.CheckboxSelectMultiple,
                error_messages={
                    "required": _("Tick at least one size; tick all of them when every copy is affected.")
                },
            )
        self.stands = stands_in(self.sheet)
        self.names = named
        self.value_fields: list[tuple[tuple[str, str], list[tuple[str, str, str]]]] = []
        for (subject, unit), change in self.changes.items():
            self._add_value_fields(subject, unit, change)
        self.fields["add"] = forms.ChoiceField(
            label=_("Add a number that changes"),
            required=False,
            choices=[
                ("", pgettext_lazy("a number to add", "None")),
                *((n.key, f"{n.label} ({n.place or n.key})") for n in addable),
            ],
        )

    def _add_value_fields(self, subject: str, unit: str, change: Mapping[str, Any]) -> None:
        was = gauge_stands(self.sheet, subject, unit) or {**self.stands.get(subject, {}), **change["was"]}
        keys = [key for key in was if key not in self.sheet.sizes] or list(self.sheet.sizes)
        label = name_of(subject, self.names).label
        rows = []
        for key in keys:
            name = f"{subject}|{unit}|{key}"
            value = change["now"].get(key)
            self.fields[name] = forms.CharField(
                label=f"{label}, {key}",
                required=False,
                max_length=40,
                initial="" if value is None else self._typed(value, unit),
                widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
            )
            rows.append((key, value_words(was.get(key), unit, self.units), name))
        self.value_fields.append(((subject, unit), rows))

    def _typed(self, value: float, unit: str) -> str:
        return format_length(value, self.units) if unit == "cm" else format_count(value)

    def change_fields(self) -> list[ChangeFields]:
        return [
            ChangeFields(
                label=name_of(subject, self.names).label,
                unit="" if unit == "cm" else str(UNIT_WORDS.get(unit, unit)),
                rows=tuple((key, was, self[name]) for key, was, name in rows),
            )
            for (subject, unit), rows in self.value_fields
        ]

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        self.now: dict[tuple[str, str], dict[str, float]] = {}
        for (subject, unit), rows in self.value_fields:
            values = self.now.setdefault((subject, unit), {})
            for key, _was, name in rows:
                typed = (cleaned.get(name) or "").strip()
                if not typed:
                    continue
                field = self.fields[name]
                if typed == field.initial:
                    # Not touched: the value as it is kept, not as it is rounded for show.
                    values[key] = self.changes[subject, unit]["now"][key]
                    continue
                try:
                    label = str(field.label)
                    if unit == "cm":
                        values[key] = parse_length(typed, self.units, name=label).cm
                    else:
                        values[key] = parse_count(typed, name=label)
                except UnitsError as error:
                    self.add_error(name, str(error))
        return cleaned

    def wording(self) -> Wording:
        return Wording(
            place=self.cleaned_data["place"],
            text=self.cleaned_data["text"],
            why=self.cleaned_data["why"],
            sizes=self.cleaned_data.get("sizes", []),
            now=self.now,
            corrects=self.cleaned_data.get("corrects"),
        )

    def refuse(self, refusal: InputProblems) -> None:
        """Show what a service refused, each sentence at its field."""
        for problem in refusal.problems:
            self.add_error(problem.path if problem.path in self.fields else None, problem.sentence)
