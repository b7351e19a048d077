"""Who somebody is that writes to a round for the first time: what to call them, and their address."""

from __future__ import annotations

from typing import Any, ClassVar

from django import forms
from django.utils.translation import gettext_lazy

from testround.rounds.forms.fields import LONGEST_ADDRESS


class WhoForm(forms.Form):
    """A name and an address. What the address is for is said by each form that asks for it."""

    EMAIL_HELP: ClassVar[str]
    EMAIL_MISSING: ClassVar[str]

    name = forms.CharField(
        label=gettext_lazy("What should you be called?"),
        max_length=120,
        help_text=gettext_lazy("A first name will do. The designer sees it."),
        widget=forms.TextInput(attrs={"autocomplete": "given-name"}),
        error_messages={"required": gettext_lazy("Write a name to call you by; a first name will do.")},
    )
    email = forms.EmailField(
        label=gettext_lazy("Your email address"),
        max_length=LONGEST_ADDRESS,
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
        error_messages={
            "invalid": gettext_lazy("This is no email address: write it as in name@example.org.")
        },
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["email"].help_text = self.EMAIL_HELP
        self.fields["email"].error_messages["required"] = self.EMAIL_MISSING

    def keep_terms_for(self, craft: str) -> None:
        """Ask for the stitch terms in crochet alone: only there have two dialects words in common."""
        if craft != "crochet":
            self.fields.pop("terms", None)
