from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _

from testround.api.scopes import OPENS

DAYS = [
    ("30", _("30 days")),
    ("90", _("90 days")),
    ("180", _("180 days")),
    ("365", _("a year")),
]


class TokenForm(forms.Form):
    """What a token is called, what it may be used for, and for how long."""

    name = forms.CharField(
        label=_("Name of the token"),
        max_length=100,
        help_text=_("What program it is for, as in “Shop”, so that you know it again."),
        error_messages={"required": _("Write which program it is for, so that you know it again.")},
    )
    scopes = forms.MultipleChoiceField(
        label=_("What it allows"),
        help_text=_("No more than the program needs: it can never do more than you can."),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _("Choose what the token may be used for.")},
    )
    days = forms.ChoiceField(label=_("It runs out after"), choices=DAYS, initial="90")

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["scopes"].choices = [
            (str(scope), format_html("<span>{} <code>{}</code></span>", opens, scope))
            for scope, opens in OPENS.items()
        ]

    @property
    def expires(self) -> dt.datetime:
        return timezone.now() + dt.timedelta(days=int(self.cleaned_data["days"]))
