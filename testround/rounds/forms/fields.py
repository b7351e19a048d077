"""Fields and small ways that several forms of a round share."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy

from testround.kernel.round import MOST_TESTERS
from testround.people.kept import fresh_key
from testround.rounds.refusals import Refused

OWN_YARN = "own"
EARLIEST_YEAR, LATEST_YEAR = 1900, 9000
# RFC 5321, section 4.5.3.1.3: a path has at most 256 octets, two of them its angle brackets.
LONGEST_ADDRESS = 254


def add_refusal(form: forms.Form, refused: Refused) -> None:
    """Put each sentence of a service beside its field, or over the form where it belongs to none."""
    for problem in refused.problems:
        form.add_error(problem.path if problem.path in form.fields else None, problem.sentence)


class DateField(forms.DateField):
    """A date from the browser's own picker."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("required", False)
        options.setdefault("widget", forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
        options["error_messages"] = {
            "invalid": gettext_lazy("This is no date: write year, month and day, as in 2027-01-25."),
            **options.get("error_messages", {}),
        }
        super().__init__(**options)

    def to_python(self, value: Any) -> dt.date | None:
        day: dt.date | None = super().to_python(value)
        # Near the ends of the calendar sums of days and zones leave it.
        if day is not None and not EARLIEST_YEAR <= day.year <= LATEST_YEAR:
            raise forms.ValidationError(self.error_messages["invalid"], code="invalid")
        return day


def whole(most: int = MOST_TESTERS) -> forms.IntegerField:
    """A whole number that may be left out."""
    sentence = format_lazy(gettext_lazy("Write a whole number from 0 to {most}."), most=most)
    return forms.IntegerField(
        required=False,
        validators=[MinValueValidator(0, sentence), MaxValueValidator(most, sentence)],
        error_messages={"invalid": sentence},
        widget=forms.TextInput(attrs={"inputmode": "numeric", "size": 4, "autocomplete": "off"}),
    )


def press_key() -> forms.UUIDField:
    """A key of the page's own, by which a second press of the same button is known."""
    return forms.UUIDField(widget=forms.HiddenInput, required=False, initial=fresh_key)
