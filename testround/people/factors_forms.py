"""The library's forms of second factors, with our words, and with recovery codes that are kept as hashes."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from allauth.account.adapter import get_adapter as get_account_adapter
from allauth.account.internal.flows.login import record_authentication
from allauth.core import context
from allauth.mfa.adapter import get_adapter
from allauth.mfa.app_settings import TOTP_PERIOD
from allauth.mfa.base import forms as base_forms
from allauth.mfa.base.internal.flows import check_rate_limit
from allauth.mfa.models import Authenticator
from allauth.mfa.totp import forms as totp_forms
from allauth.mfa.webauthn import forms as webauthn_forms
from django import forms
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from testround.people.models import User
from testround.people.recovery import code_use, codes_left, is_like_a_code
from testround.security import Event, refused

NAME_LENGTH = 60


def _code_field(label: Any, help_text: Any, **attrs: str) -> forms.CharField:
    return forms.CharField(
        label=label,
        help_text=help_text,
        max_length=40,
        widget=forms.TextInput(attrs={"autocomplete": "one-time-code", "autocapitalize": "none", **attrs}),
        error_messages={"required": _("Type the code that the app shows now.")},
    )


@contextmanager
def failures_noted(user: User | None, *, again: bool = False) -> Iterator[None]:
    """What does not fit in here is noted as a factor that failed; nobody is known yet who comes by a passkey alone."""
    try:
        yield
    except forms.ValidationError as error:
        # Too many tries are refused, and noted, as such.
        if error.code != "too_many_login_attempts":
            event = Event.SECOND_FACTOR_FAILED if user else Event.SIGN_IN_FAILED
            refused(
                Event.REAUTHENTICATION_FAILED if again else event,
                account=user.pk if user else None,
                method="factor" if user else "passkey",
            )
        raise


class _Code(forms.Form):
    """A code of the app, or a recovery code; each is taken once."""

    user: User
    authenticator: Authenticator | None = None
    again = False

    code = _code_field(_("Code"), _("The six digits that your app shows now, or one of your recovery codes."))

    def clean_code(self) -> str:
        with failures_noted(self.user, again=self.again):
            return self._clean_code()

    def _clean_code(self) -> str:
        typed = str(self.cleaned_data["code"])
        if is_like_a_code(typed):
            return self._clean_recovery_code(typed)
        code = str(super().clean_code())
        if not (self.authenticator and _is_its_first_use(self.authenticator)):
            raise get_adapter().validation_error("incorrect_code")
        return code

    def _clean_recovery_code(self, typed: str) -> str:
        succeeded = check_rate_limit(self.user)
        if not code_use(user=self.user, typed=typed):
            raise forms.ValidationError(
                _("This is none of your recovery codes, or it has been used. Each works once."),
                code="incorrect_code",
            )
        succeeded()
        return typed

    def save(self) -> None:
        if self.authenticator is not None:
            super().save()
            return
        how = {"reauthenticated": True} if self.again else {}
        record_authentication(context.request, self.user, "mfa", type="recovery_codes", **how)
        get_account_adapter().send_notification_mail(
            "mfa/email/recovery_code_used", self.user, {"left": codes_left(self.user)}
        )


def _is_its_first_use(app: Authenticator) -> bool:
    """Whether no code of the app came in since the present one began to hold; notes that one has.

    The library notes in the cache which codes were used; that is as good as gone while Redis is away, and what was
    seen over a shoulder must not open anything then either.
    """
    now = dt.datetime.fromtimestamp(time.time(), tz=dt.UTC)
    began = dt.datetime.fromtimestamp(now.timestamp() // TOTP_PERIOD * TOTP_PERIOD, tz=dt.UTC)
    before = Q(last_used_at=None) | Q(last_used_at__lt=began)
    return Authenticator.objects.filter(before, pk=app.pk).update(last_used_at=now) == 1


class AuthenticateForm(_Code, base_forms.AuthenticateForm):
    """After the password, at the sign-in."""


class ReauthenticateForm(_Code, base_forms.ReauthenticateForm):
    """Before what touches the account."""

    again = True


class ActivateTOTPForm(totp_forms.ActivateTOTPForm):
    code = _code_field(
        _("Code that the app shows"), _("Six digits; a new one comes every half minute."), inputmode="numeric"
    )


def _name_field() -> forms.CharField:
    return forms.CharField(
        label=_("What you call it"),
        max_length=NAME_LENGTH,
        help_text=_("To tell it from others: “my phone”, “key on the key ring”."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        error_messages={"required": _("Give it a name, so that you know it again.")},
    )


class AddPasskeyForm(webauthn_forms.AddWebAuthnForm):
    # Whether it stands in for a password is decided as it is made; see passkeys.js.
    passwordless = None
    name = _name_field()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # A passkey that was made is not refused for want of a name.
        self.fields["name"].required = False
        self.fields["credential"].error_messages["required"] = _(
            "The browser has made no passkey. Press the button, and follow what it asks."
        )


class _Passkey(forms.Form):
    """The answer of a passkey; one that does not fit is noted."""

    user: User | None
    reauthenticated: bool

    def clean_credential(self) -> Authenticator:
        with failures_noted(self.user, again=self.reauthenticated):
            return super().clean_credential()


class AuthenticatePasskeyForm(_Passkey, webauthn_forms.AuthenticateWebAuthnForm):
    """After the password, at the sign-in."""


class LoginPasskeyForm(_Passkey, webauthn_forms.LoginWebAuthnForm):
    """In the place of the password."""


class ReauthenticatePasskeyForm(_Passkey, webauthn_forms.ReauthenticateWebAuthnForm):
    """Before what touches the account."""


class NamePasskeyForm(webauthn_forms.EditWebAuthnForm):
    name = _name_field()
