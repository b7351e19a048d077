"""Taking a place by the link of an invitation."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from testround.people.models import User
from testround.rounds.forms.fields import press_key
from testround.rounds.forms.who import WhoForm


class JoinForm(WhoForm):
    """What a tester says who takes a place; somebody signed in has said most of it before."""

    EMAIL_HELP = gettext_lazy(
        "For your own way back in, and mails about this round. The other testers do not see it."
    )
    EMAIL_MISSING = gettext_lazy("Write your email address; it is how you come back to your place.")

    units = forms.ChoiceField(
        label=gettext_lazy("Measurements in"),
        choices=User.Units.choices,
        widget=forms.RadioSelect,
        initial="cm",
    )
    tools = forms.ChoiceField(
        label=gettext_lazy("Hook and needle sizes"), choices=User.Tools.choices, initial="metric"
    )
    terms = forms.ChoiceField(label=gettext_lazy("Crochet terms"), choices=User.Terms.choices, initial="us")
    agree = forms.BooleanField(
        label=gettext_lazy("Yes, I have read this page and take the place"),
        error_messages={
            "required": gettext_lazy(
                "Say yes to the terms to take the place. If you would rather not, leave the page."
            )
        },
    )
    key = press_key()

    def __init__(self, *args: Any, signed_in: bool, craft: str, **options: Any) -> None:
        super().__init__(*args, **options)
        if signed_in:
            for name in ("email", "units", "tools", "terms"):
                del self.fields[name]
        self.keep_terms_for(craft)

    def clean_email(self) -> str:
        return str(self.cleaned_data["email"]).lower()
