"""Who is asked to have a part in a pattern."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy

from testround.patterns.access import Role
from testround.rounds.forms.fields import LONGEST_ADDRESS, press_key


class MemberForm(forms.Form):
    """Whom to invite, and to what."""

    email = forms.EmailField(
        label=gettext_lazy("Email address"),
        max_length=LONGEST_ADDRESS,
        help_text=gettext_lazy("The link goes there, and nobody else can use it."),
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
        error_messages={
            "required": gettext_lazy("Write the address that the link is to go to."),
            "invalid": gettext_lazy("This is no email address: write it as in name@example.org."),
        },
    )
    role = forms.ChoiceField(
        label=gettext_lazy("As"),
        choices=[
            (Role.EDITOR, gettext_lazy("editor: sees and changes everything, but cannot publish or invite")),
            (
                Role.ONLOOKER,
                gettext_lazy("onlooker: sees how the rounds stand; no measurements, photos or private words"),
            ),
            (Role.OWNER, gettext_lazy("owner: takes the pattern over from you; you become editor")),
        ],
        widget=forms.RadioSelect,
        error_messages={
            "required": gettext_lazy("Choose what they are to be."),
            "invalid_choice": gettext_lazy("Choose one of these three."),
        },
    )
    key = press_key()
