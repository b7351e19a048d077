from __future__ import annotations

import zoneinfo
from functools import cache
from typing import Any

from allauth.account import forms as account_forms
from django import forms
from django.conf import settings
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from testround.kernel import units
from testround.outbox.stopping import KINDS
from testround.people.context import reader_for
from testround.people.models import User
from testround.people.readers import Reader, Tools, Units, reader_from
from testround.people.services import newcomer_introduce

EXAMPLE_CM = 92.5
EXAMPLE_MM = 4.0

REGIONS = (
    "Africa",
    "America",
    "Antarctica",
    "Arctic",
    "Asia",
    "Atlantic",
    "Australia",
    "Europe",
    "Indian",
    "Pacific",
)


UNIT_WORDS: dict[Units, str] = {"cm": "Centimetres", "in": "Inches"}
TOOL_WORDS: dict[Tools, str] = {"metric": "Metric", "us": "US", "uk": "Old UK"}


def _units() -> list[tuple[str, str]]:
    return [(unit, f"{word}: {units.format_length(EXAMPLE_CM, unit)}") for unit, word in UNIT_WORDS.items()]


def _tools() -> list[tuple[str, str]]:
    return [(system, f"{word}: {_example_tools(system)}") for system, word in TOOL_WORDS.items()]


def _example_tools(system: Tools) -> str:
    """The same hook and needle in one system; said once where they have one name."""
    hook, needle = (units.tool_label(EXAMPLE_MM, craft, system) for craft in ("crochet", "knit"))
    return hook if hook == needle else f"hook {hook}, needle {needle}"


@cache
def _time_zones() -> list[tuple[str, list[tuple[str, str]]]]:
    """Every zone by region, named by its city; UTC stands alone."""
    zones: dict[str, list[tuple[str, str]]] = {region: [] for region in REGIONS}
    for zone in sorted(zoneinfo.available_timezones()):
        region, _, city = zone.partition("/")
        if region in zones and city:
            zones[region].append((zone, city.replace("_", " ").replace("/", ", ")))
    return [("Anywhere", [("UTC", "UTC")]), *zones.items()]


def _languages() -> list[tuple[str, str]]:
    return [("", _("As my browser asks for")), *settings.LANGUAGES]


class ShownForm(forms.Form):
    """How values are shown; enough for a reader without an account."""

    units = forms.ChoiceField(
        label="Lengths",
        choices=_units,
        widget=forms.RadioSelect,
        error_messages={
            "required": "Choose centimetres or inches.",
            "invalid_choice": "Lengths are shown in centimetres or in inches; choose one of the two.",
        },
    )
    tools = forms.ChoiceField(
        label="Hooks and needles",
        choices=_tools,
        widget=forms.RadioSelect,
        help_text="Millimetres are always shown too, since names differ between makers.",
        error_messages={
            "required": "Choose metric, US or old UK sizes.",
            "invalid_choice": "Sizes are shown in metric, US or old UK; choose one of the three.",
        },
    )
    terms = forms.ChoiceField(
        label="Crochet terms",
        choices=[
            ("us", "US: single crochet, sc"),
            ("uk", "UK: double crochet, dc, for the same stitch"),
        ],
        widget=forms.RadioSelect,
        error_messages={
            "required": "Choose US or UK terms.",
            "invalid_choice": "Crochet terms are US or UK; choose one of the two.",
        },
    )

    language = forms.ChoiceField(
        label=_("Language"),
        choices=_languages,
        required=False,
        error_messages={"invalid_choice": _("That language is not spoken here; choose one of the list.")},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if len(settings.LANGUAGES) < 2:
            del self.fields["language"]

    def reader(self) -> Reader:
        """What was chosen, as a reader."""
        return reader_from(self.cleaned_data)


class PreferencesForm(ShownForm):
    """The same, and what only an account can keep."""

    name = forms.CharField(
        label="Your name",
        max_length=120,
        required=False,
        help_text="How designers and testers see you. Without it they see your mail address.",
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    time_zone = forms.ChoiceField(
        label="Time zone",
        choices=_time_zones,
        help_text="Dates and times are shown as they are there, and reminders come there by day.",
        error_messages={
            "required": "Choose a time zone; UTC will do.",
            "invalid_choice": "That time zone is not known here; choose one of the list.",
        },
    )

    mails = forms.MultipleChoiceField(
        label="Mails you want",
        choices=[*KINDS.items()],
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="What you need, such as a code to sign in or an invitation, comes all the same.",
        error_messages={"invalid_choice": "There is no such kind of mail; choose from the list."},
    )

    field_order = ("name", "language", "units", "tools", "terms", "time_zone", "mails")


class SignupForm(account_forms.SignupForm):
    """Mail address, password, and the name others will see."""

    name = forms.CharField(
        label="Your name",
        max_length=120,
        help_text="How designers and testers will see you; a first name is enough.",
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
        error_messages={"required": "Write the name that designers and testers will see."},
    )

    field_order = ("name", "email", "password1")

    def signup(self, request: HttpRequest, user: User) -> None:
        newcomer_introduce(user=user, name=self.cleaned_data["name"], shown=reader_for(request))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # A placeholder that repeats the label only takes the place of what is typed.
        for field in self.fields.values():
            field.widget.attrs.pop("placeholder", None)
        self.fields[
            "password1"
        ].help_text = "Ten characters or more, not digits alone, and not one that many people use."
