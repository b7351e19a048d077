"""Who is asked to have a part in a pattern."""

from __future__ import annotations

from django import forms

from testround.patterns.access import Role
from testround.rounds.forms.fields import LONGEST_ADDRESS, press_key


class MemberForm(forms.Form):
    """Whom to invite, and to what."""

    email = forms.EmailField(
        label="Email address",
        max_length=LONGEST_ADDRESS,
        help_text="The link goes there, and nobody else can use it.",
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
        error_messages={
            "required": "Write the address that the link is to go to.",
            "invalid": "This is no email address: write it as in name@example.org.",
        },
    )
    role = forms.ChoiceField(
        label="As",
        choices=[
            (Role.EDITOR, "editor: sees and changes everything, publishes and invites nobody"),
            (Role.ONLOOKER, "onlooker: sees how the rounds stand; no measurements, photos or private words"),
            (Role.OWNER, "owner: takes the pattern over from you; you become editor"),
        ],
        widget=forms.RadioSelect,
        error_messages={
            "required": "Choose what they are to be.",
            "invalid_choice": "Choose one of these three.",
        },
    )
    key = press_key()
