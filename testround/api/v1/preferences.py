"""How the person whose token it is likes things shown, and which mails they want."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.conf import settings
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.fields import Input
from testround.api.scopes import Scope
from testround.api.v1.account import TAG
from testround.api.v1.examples import account as examples
from testround.api.v1.sending import refused
from testround.outbox.stopping import KINDS, choices_of
from testround.people.forms import PreferencesForm
from testround.people.models import User
from testround.people.readers import reader_of
from testround.people.services import preferences_save

MAILS = [*KINDS]
LANGUAGES = [code for code, _name in settings.LANGUAGES]
_OPTIONAL: dict[str, Any] = {"required": False}
LANGUAGE_SAID = "Of the pages and of mails to you; empty for what the browser asks for."
MAILS_SAID = "Of the mails that you can do without, those that you want."


class PreferencesOut(serializers.Serializer):
    """How you are called, how you like things shown, and which mails you want."""

    name = serializers.CharField(allow_blank=True, help_text="How designers and testers see you.")
    language = serializers.ChoiceField(choices=LANGUAGES, allow_blank=True, help_text=LANGUAGE_SAID)
    units = serializers.ChoiceField(choices=User.Units.choices, help_text="Of lengths on pages and paper.")
    tools = serializers.ChoiceField(choices=User.Tools.choices, help_text="Names of hooks and needles.")
    terms = serializers.ChoiceField(choices=User.Terms.choices, help_text="Dialect of crochet terms.")
    time_zone = serializers.CharField(help_text="As in Europe/London.")
    mails = serializers.ListField(child=serializers.ChoiceField(choices=MAILS), help_text=MAILS_SAID)


class PreferencesChange(Input):
    """What is to be otherwise; what is left out stays."""

    name = serializers.CharField(**_OPTIONAL, allow_blank=True, max_length=120)
    language = serializers.ChoiceField(**_OPTIONAL, choices=LANGUAGES, allow_blank=True)
    units = serializers.ChoiceField(**_OPTIONAL, choices=User.Units.choices)
    tools = serializers.ChoiceField(**_OPTIONAL, choices=User.Tools.choices)
    terms = serializers.ChoiceField(**_OPTIONAL, choices=User.Terms.choices)
    time_zone = serializers.CharField(**_OPTIONAL, max_length=64, help_text="As in Europe/London.")
    mails = serializers.ListField(
        **_OPTIONAL,
        child=serializers.ChoiceField(choices=MAILS),
        max_length=len(MAILS),
        help_text=f"{MAILS_SAID} What is not named is not sent.",
    )


def represent(person: User) -> dict[str, Any]:
    shown: dict[str, Any] = PreferencesOut(
        {
            **asdict(reader_of(person)),
            "name": person.name,
            "time_zone": person.time_zone,
            "mails": [choice.kind for choice in choices_of(person) if choice.wanted],
        }
    ).data
    return shown


class Preferences(Endpoint):
    @operation(
        "preferences_retrieve",
        "How you like things shown",
        tag=TAG,
        scope=Scope.ACCOUNT_READ,
        answers=PreferencesOut,
        example=examples.PREFERENCES,
    )
    def get(self, request: Request) -> Response:
        """Your name, your language, units and terms, your time zone, and which mails you want."""
        return self.shown(represent(self.user))

    @operation(
        "preferences_edit",
        "Say how you like things shown",
        tag=TAG,
        scope=Scope.ACCOUNT_WRITE,
        takes=PreferencesChange,
        sends={"units": "in", "mails": []},
        answers=PreferencesOut,
        example={**examples.PREFERENCES, "units": "in", "mails": []},
    )
    def patch(self, request: Request) -> Response:
        """Change how things are shown to you, and which mails you want. What the API itself gives stays in cm."""
        person = self.here(User.objects.all(), pk=self.user.pk)
        now = represent(person)
        self.hold_against(now)
        sent = self.body(PreferencesChange)
        form = PreferencesForm({**now, **sent}, asked_for="")
        if not form.is_valid():
            raise refused(form.errors, lambda name: f"/{name}")
        preferences_save(
            user=person,
            name=form.cleaned_data["name"],
            time_zone=form.cleaned_data["time_zone"],
            shown=form.reader(),
            mails=set(form.cleaned_data["mails"]) if "mails" in sent else None,
        )
        return self.shown(represent(person))
