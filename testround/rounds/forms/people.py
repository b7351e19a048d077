"""Who is asked to have a part in a pattern."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as lazy

from testround.patterns.access import Role
from testround.rounds.forms.fields import LONGEST_ADDRESS, press_key


class MemberForm(forms.Form):
    """Whom to invite, and to what."""

    email = forms.EmailField(
        label=lazy("Email address"),
        max_length=LONGEST_ADDRESS,
        help_text=lazy("The link goes there, and nobody else can use it."),
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
        error_messages={
            "required": lazy("Write the address that the link is to go to."),
            "invalid": lazy("This is no email address: write it as in name@example.org."),
        },
    )
    role = forms.ChoiceField(
        label=lazy("As"),
        choices=[
            (Role.EDITOR, lazy("editor: sees and changes everything, publishes and invites nobody")),
            (
                Role.ONLOOKER,
                lazy("onlooker: sees how the rounds stand; no measurements, photos or private words"),
            ),
            (Role.OWNER, lazy("owner: takes the pattern over from you; you become editor")),
        ],
        widget=forms.RadioSelect,
        error_messages={
            "required": lazy("Choose what they are to be."),
            "invalid_choice": lazy("Choose one of these three."),
        },
    )
    key = press_key()
