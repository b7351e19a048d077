"""Settings of accounts that are the same everywhere: passwords, second factors, sessions, and how often one may try.

What depends on the environment is in ``settings.py``, which takes these in. What the requirements are, and where each
stands, is said in OWASP's Application Security Verification Standard 5.0, chapters 6 (authentication) and 7 (sessions).
"""

from __future__ import annotations

from typing import Any

# -- passwords -----------------------------------------------------------------------------------------------

PASSWORD_MIN_LENGTH = 12
# No rule says of which characters a password is made: length, and that nobody guesses it, are what counts.
AUTH_PASSWORD_VALIDATORS: list[dict[str, Any]] = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": PASSWORD_MIN_LENGTH},
    },
    {"NAME": "testround.people.passwords.NotOneOfMany"},
    {
        "NAME": "testround.people.passwords.NotAboutThisPlace",
        # What somebody who attacks this place would try beside the lists: its name, and what it is about, in the
        # languages spoken here. The address of the installation comes on top.
        "OPTIONS": {
            "words": "testround test round knitting knitter knit purl crochet crocheter stitch stitches pattern "
            "patterns yarn wool cardigan gauge swatch designer tester errata password welcome login signin letmein "
            "admin stricken strickt masche maschen muster anleitung garn wolle probe probestricken maschenprobe "
            "häkeln passwort kennwort willkommen"
        },
    },
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ["email", "name"]},
    },
]
# Seconds for which the link of a forgotten password holds.
PASSWORD_RESET_TIMEOUT = 2 * 60 * 60

# -- signing in ----------------------------------------------------------------------------------------------

LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "home"
ACCOUNT_LOGOUT_REDIRECT_URL = "home"
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*"]
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_EMAIL_SUBJECT_PREFIX = ""
ACCOUNT_LOGIN_BY_CODE_ENABLED = True
ACCOUNT_PREVENT_ENUMERATION = True
ACCOUNT_ADAPTER = "testround.people.adapter.AccountAdapter"
ACCOUNT_FORMS = {
    "login": "testround.people.forms.LoginForm",
    "signup": "testround.people.forms.SignupForm",
    "request_login_code": "testround.people.forms.RequestLoginCodeForm",
    "confirm_login_code": "testround.people.forms.ConfirmLoginCodeForm",
    "reauthenticate": "testround.people.forms.ReauthenticateForm",
    "add_email": "testround.people.forms.AddEmailForm",
    "change_password": "testround.people.forms.ChangePasswordForm",
    "set_password": "testround.people.forms.SetPasswordForm",
    "reset_password": "testround.people.forms.ResetPasswordForm",
    "reset_password_from_key": "testround.people.forms.ResetPasswordKeyForm",
}
# How long a browser stays signed in is said by SESSION_COOKIE_AGE, for everybody.
ACCOUNT_SESSION_REMEMBER = True
# What touches the account itself asks for the password, or a factor, once more; and its owner hears of it by mail.
ACCOUNT_REAUTHENTICATION_REQUIRED = True
ACCOUNT_REAUTHENTICATION_TIMEOUT = 15 * 60
ACCOUNT_EMAIL_NOTIFICATIONS = True
# How often each thing may be tried: by address of the network (ip), by account (key, user); s, m and h are seconds,
# minutes and hours. Those who are locked out by somebody else's attempts come in by a code by mail, or a passkey.
ACCOUNT_RATE_LIMITS = {
    "login": "30/m/ip",
    "login_failed": "10/m/ip,5/5m/key",
    "signup": "20/m/ip",
    "request_login_code": "20/m/ip,3/m/key",
    "reset_password": "20/m/ip,5/m/key",
    "reset_password_from_key": "20/m/ip",
    "reauthenticate": "10/m/user",
    "change_password": "5/m/user",
    "manage_email": "10/m/user",
}

# -- second factors ------------------------------------------------------------------------------------------

# Recovery codes are our own (people.recovery): the library keeps them so that they can be read again.
MFA_SUPPORTED_TYPES = ["totp", "webauthn"]
MFA_PASSKEY_LOGIN_ENABLED = True
MFA_ADAPTER = "testround.people.factors_adapter.FactorsAdapter"
MFA_FORMS = {
    "authenticate": "testround.people.factors_forms.AuthenticateForm",
    "reauthenticate": "testround.people.factors_forms.ReauthenticateForm",
    "activate_totp": "testround.people.factors_forms.ActivateTOTPForm",
    "add_webauthn": "testround.people.factors_forms.AddPasskeyForm",
    "authenticate_webauthn": "testround.people.factors_forms.AuthenticatePasskeyForm",
    "login_webauthn": "testround.people.factors_forms.LoginPasskeyForm",
    "reauthenticate_webauthn": "testround.people.factors_forms.ReauthenticatePasskeyForm",
    "edit_webauthn": "testround.people.factors_forms.NamePasskeyForm",
}
MFA_TOTP_ISSUER = "Testround"
# A code holds for the half minute in which it is shown, and no longer.
MFA_TOTP_PERIOD = 30
MFA_TOTP_TOLERANCE = 0
# The library would refuse another mail address to whoever has a factor. That nobody protects an account with an
# address that is not theirs is asked by people.factors.address_is_confirmed.
MFA_ALLOW_UNVERIFIED_EMAIL = True
