from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy

from testround.rounds.forms.fields import LONGEST_ADDRESS


class FollowForm(forms.Form):
    """Where errata are to be sent."""

    email = forms.EmailField(
        label=gettext_lazy("Email address"),
        max_length=LONGEST_ADDRESS,
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
        error_messages={
            "required": gettext_lazy("Write the address that errata are to go to."),
            "invalid": gettext_lazy("This is no email address: write it as in name@example.org."),
        },
    )
