"""More time for a tester, and a friendly word to one."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy

from testround.rounds.forms.fields import DateField, press_key
from testround.rounds.services.reminders import LONGEST_WORD


class UntilForm(forms.Form):
    """Until when a tester needs: one of the days on the buttons, or another."""

    until = DateField(widget=forms.HiddenInput)
    other = DateField(
        label=gettext_lazy("Or another day"),
        required=True,
        error_messages={
            "required": gettext_lazy("Choose one of the days, or write another."),
        },
    )

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        if cleaned.get("until"):
            # One of the days on the buttons: no other is asked for.
            self.errors.pop("other", None)
        return cleaned

    def chosen(self) -> dt.date:
        date: dt.date = self.cleaned_data.get("until") or self.cleaned_data["other"]
        return date


class NudgeForm(forms.Form):
    """A designer's own words to one tester."""

    text = forms.CharField(
        label=gettext_lazy("What you write"),
        max_length=LONGEST_WORD,
        widget=forms.Textarea(attrs={"rows": 12}),
        help_text=gettext_lazy(
            "An empty line begins a paragraph. Links to the place and to more time follow."
        ),
        error_messages={
            "required": gettext_lazy("Write a few words, or leave it."),
            "max_length": format_lazy(
                gettext_lazy("That is long: say it in {most} characters."), most=LONGEST_WORD
            ),
        },
    )
    key = press_key()
