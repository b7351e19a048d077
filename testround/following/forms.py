from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy

from testround.following.targets import LONGEST_URL
from testround.rounds.forms.fields import LONGEST_ADDRESS, press_key


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


class WebhookForm(forms.Form):
    """To which address of another program errata are to be posted; the service says what is wrong with it."""

    url = forms.CharField(
        label=gettext_lazy("Address"),
        help_text=gettext_lazy("Of a program of yours, as in https://shop.example/errata."),
        widget=forms.URLInput(attrs={"autocomplete": "off", "maxlength": LONGEST_URL}),
        error_messages={"required": gettext_lazy("Write the address that errata are to be posted to.")},
    )
    key = press_key()
