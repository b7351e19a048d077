"""The doors of an account: the library's views at addresses of our own choosing, those that we use and no others."""

from allauth.account import views as account_views
from allauth.account.decorators import reauthentication_required
from allauth.account.urls import urlpatterns as account_patterns
from allauth.mfa.base import views as mfa_views
from allauth.mfa.totp import views as totp_views
from allauth.mfa.webauthn import views as webauthn_views
from django.urls import URLPattern, URLResolver, include, path
from django.views.generic import RedirectView

from testround.people import views_factors

# Looking at one's addresses is free; changing them asks who it is.
changes_ask_again = reauthentication_required(allow_get=True, app="allauth.account")

factors: list[URLPattern | URLResolver] = [
    path("", views_factors.index, name="mfa_index"),
    path("authenticate/", mfa_views.authenticate, name="mfa_authenticate"),
    path("reauthenticate/", mfa_views.reauthenticate, name="mfa_reauthenticate"),
    path("app/add/", views_factors.add_app, name="mfa_activate_totp"),
    path("app/remove/", totp_views.deactivate_totp, name="mfa_deactivate_totp"),
    path("passkeys/add/", views_factors.add_passkey, name="mfa_add_webauthn"),
    path("passkeys/sign-in/", webauthn_views.login_webauthn, name="mfa_login_webauthn"),
    path(
        "passkeys/reauthenticate/",
        webauthn_views.reauthenticate_webauthn,
        name="mfa_reauthenticate_webauthn",
    ),
    path("passkeys/<int:pk>/remove/", webauthn_views.remove_webauthn, name="mfa_remove_webauthn"),
    path("passkeys/<int:pk>/name/", webauthn_views.edit_webauthn, name="mfa_edit_webauthn"),
    # Where the library goes back to; the passkeys stand with the other factors.
    path("passkeys/", RedirectView.as_view(pattern_name="mfa_index"), name="mfa_list_webauthn"),
    path("recovery-codes/", views_factors.recovery_codes, name="mfa_recovery_codes"),
]

urlpatterns: list[URLPattern | URLResolver] = [
    path("email/", changes_ask_again(account_views.email), name="account_email"),
    *(pattern for pattern in account_patterns if pattern.name != "account_email"),
    path("second-factor/", include(factors)),
]
