from __future__ import annotations

import zoneinfo
from functools import cache
from typing import Any

from allauth.account import forms as account_forms
from django import forms
from django.conf import settings
from django.contrib.auth.hashers import make_password
from django.http import HttpRequest
from django.utils.translation import gettext, pgettext_lazy
from django.utils.translation import gettext_lazy as _

from testround.kernel import units
from testround.outbox.stopping import KINDS
from testround.people.context import reader_for
from testround.people.models import User
from testround.people.readers import Reader, Tools, Units, reader_from
from testround.people.services import newcomer_introduce

PASSWORD_HELP = _(
    "Twelve characters or more, as in four or five words; not a common one, and not about this site or you."
)
EMAIL_HELP = _(
    "For signing in and for mails to you. The designers of the rounds you test in see it; other testers do not."
)
EXAMPLE_CM = 92.5
EXAMPLE_MM = 4.0

# The first part of a time zone's name, and how it is said.
REGIONS: dict[str, str] = {
    "Africa": _("Africa"),
    "America": _("America"),
    "Antarctica": _("Antarctica"),
    "Arctic": _("Arctic"),
    "Asia": _("Asia"),
    "Atlantic": _("Atlantic"),
    "Australia": _("Australia"),
    "Europe": _("Europe"),
    "Indian": pgettext_lazy("the ocean", "Indian"),
    "Pacific": pgettext_lazy("the ocean", "Pacific"),
}

UNIT_WORDS: dict[Units, str] = {"cm": _("Centimetres: {example}"), "in": _("Inches: {example}")}
TOOL_WORDS: dict[Tools, str] = {
    "metric": _("Metric: {example}"),
    "us": _("US: {example}"),
    "uk": _("Old UK: {example}"),
}


def _units() -> list[tuple[str, str]]:
    return [
        (unit, words.format(example=units.format_length(EXAMPLE_CM, unit)))
        for unit, words in UNIT_WORDS.items()
    ]


def _tools() -> list[tuple[str, str]]:
    return [(system, words.format(example=_example_tools(system))) for system, words in TOOL_WORDS.items()]


def _example_tools(system: Tools) -> str:
    """The same hook and needle in one system; said once where they have one name."""
    hook, needle = (units.tool_label(EXAMPLE_MM, craft, system) for craft in ("crochet", "knit"))
    if hook == needle:
        return hook
    return gettext("hook {hook}, needle {needle}").format(hook=hook, needle=needle)


@cache
def _time_zones() -> list[tuple[str, list[tuple[str, str]]]]:
    """Every zone by region, named by its city; UTC stands alone."""
    zones: dict[str, list[tuple[str, str]]] = {region: [] for region in REGIONS}
    for zone in sorted(zoneinfo.available_timezones()):
        region, cut, city = zone.partition("/")
        if region in zones and cut:
            zones[region].append((zone, city.replace("_", " ").replace("/", ", ")))
    return [
        (_("Anywhere"), [("UTC", "UTC")]),
        *((REGIONS[region], cities) for region, cities in zones.items()),
    ]


def _languages(asked_for: str) -> list[tuple[str, str]]:
    """Every language by its own name; first what the browser asks for, a code, and which one that is."""
    names = dict(settings.LANGUAGES)
    asked = gettext("As my browser asks for: {language}").format(language=names.get(asked_for, asked_for))
    return [("", asked), *names.items()]


class ShownForm(forms.Form):
    """How values are shown; enough for a reader without an account."""

    units = forms.ChoiceField(
        label=_("Lengths"),
        choices=_units,
        widget=forms.RadioSelect,
        error_messages={
            "required": _("Choose centimetres or inches."),
            "invalid_choice": _("Lengths are shown in centimetres or in inches; choose one of the two."),
        },
    )
    tools = forms.ChoiceField(
        label=_("Hooks and needles"),
        choices=_tools,
        widget=forms.RadioSelect,
        help_text=_("Millimetres are always shown too, since names differ between makers."),
        error_messages={
            "required": _("Choose metric, US or old UK sizes."),
            "invalid_choice": _("Sizes are shown in metric, US or old UK; choose one of the three."),
        },
    )
    terms = forms.ChoiceField(
        label=_("Crochet terms"),
        choices=[
            ("us", _("US: single crochet, sc")),
            ("uk", _("UK: double crochet, dc, for the same stitch")),
        ],
        widget=forms.RadioSelect,
        error_messages={
            "required": _("Choose US or UK terms."),
            "invalid_choice": _("Crochet terms are US or UK; choose one of the two."),
        },
    )

    language = forms.ChoiceField(
        label=_("Language"),
        required=False,
        error_messages={"invalid_choice": _("That language is not spoken here; choose one of the list.")},
    )

    field_order: tuple[str, ...] = ("language", "units", "terms", "tools")

    def __init__(self, *args: Any, asked_for: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if len(settings.LANGUAGES) < 2:
            del self.fields["language"]
        else:
            self.fields["language"].choices = _languages(asked_for)

    def reader(self) -> Reader:
        """What was chosen, as a reader."""
        return reader_from(self.cleaned_data)


class PreferencesForm(ShownForm):
    """The same, and what only an account can keep."""

    name = forms.CharField(
        label=_("Your name"),
        max_length=120,
        required=False,
        help_text=_("How designers and testers see you. Without it they see your mail address."),
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    time_zone = forms.ChoiceField(
        label=_("Time zone"),
        choices=_time_zones,
        help_text=_("Dates and times are shown as they are there, and reminders come there by day."),
        # Translators: the button that chooses the time zone of the reader's own device.
        widget=forms.Select(attrs={"data-says": _("Use this device’s: {zone}")}),
        error_messages={
            "required": _("Choose a time zone; UTC will do."),
            "invalid_choice": _("That time zone is not known here; choose one of the list."),
        },
    )

    mails = forms.MultipleChoiceField(
        label=_("Mails you want"),
        choices=[*KINDS.items()],
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=_("What you need, such as a code to sign in or an invitation, comes all the same."),
        error_messages={"invalid_choice": _("There is no such kind of mail; choose from the list.")},
    )

    field_order = ("name", "language", "units", "terms", "tools", "time_zone", "mails")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if "language" in self.fields:
            self.fields["language"].help_text = _(
                "Of pages and mails. A mail knows no browser: choose a language to be sure of its."
            )


class _Plain(forms.Form):
    """One of the library's forms without placeholders: what repeats the label looks like something typed already."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            field.widget.attrs.pop("placeholder", None)


class _NewPassword(_Plain):
    """The same where a new password is chosen. What it has to be like is said once, in a sentence."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["password1"].label = _("The new password")
        self.fields["password1"].help_text = PASSWORD_HELP
        self.fields["password2"].label = _("The new password once more")


class LoginForm(_Plain, account_forms.LoginForm):
    pass


class RequestLoginCodeForm(_Plain, account_forms.RequestLoginCodeForm):
    pass


class ConfirmLoginCodeForm(_Plain, account_forms.ConfirmLoginCodeForm):
    pass


class ReauthenticateForm(_Plain, account_forms.ReauthenticateForm):
    pass


class AddEmailForm(_Plain, account_forms.AddEmailForm):
    pass


class ResetPasswordForm(_Plain, account_forms.ResetPasswordForm):
    pass


class ResetPasswordKeyForm(_NewPassword, account_forms.ResetPasswordKeyForm):
    pass


class SetPasswordForm(_NewPassword, account_forms.SetPasswordForm):
    pass


class ChangePasswordForm(_NewPassword, account_forms.ChangePasswordForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["oldpassword"].label = _("The password you have now")


class SignupForm(_Plain, account_forms.SignupForm):
    """Mail address, password, and the name others will see."""

    name = forms.CharField(
        label=_("Your name"),
        max_length=120,
        help_text=_("How designers and testers will see you; a first name is enough."),
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
        error_messages={"required": _("Write the name that designers and testers will see.")},
    )

    field_order = ("name", "email", "password1")

    def signup(self, request: HttpRequest, user: User) -> None:
        newcomer_introduce(user=user, name=self.cleaned_data["name"], shown=reader_for(request))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["email"].help_text = EMAIL_HELP
        self.fields["password1"].help_text = PASSWORD_HELP

    def try_save(self, request: HttpRequest) -> Any:
        if self.account_already_exists:
            # A new account costs the work of a password. Without it, the time of the answer would tell.
            make_password(self.cleaned_data["password1"])
        return super().try_save(request)
