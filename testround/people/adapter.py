from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.internal.userkit import filter_users_by_email
from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.mail import EmailMultiAlternatives
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from testround.outbox.mail import mail_send
from testround.people.clock import zone_of_person
from testround.people.devices import device_of, network_of, network_words
from testround.people.language import speaking_to
from testround.people.models import User
from testround.security import Event, refused

# What the link of such a mail is for, in the words of its button.
ACTIONS = {
    "activate_url": _("Confirm this address"),
    "password_reset_url": _("Choose a new password"),
    "signup_url": _("Make an account"),
}

# Who somebody is, once more, by another way than the one on the page.
AGAIN = {
    "reauthenticate": _("Use your password"),
    "mfa_reauthenticate": _("Use a code of your app"),
    "mfa_reauthenticate:webauthn": _("Use a passkey"),
}

# What the library refuses by a sentence on the page, and as what that is noted.
REFUSALS = {
    "too_many_login_attempts": Event.THROTTLED,
    "rate_limited": Event.THROTTLED,
    "enter_current_password": Event.REAUTHENTICATION_FAILED,
}


class AccountAdapter(DefaultAccountAdapter):
    """Account mail goes through the outbox like all other mail."""

    error_messages = DefaultAccountAdapter.error_messages | {
        "email_password_mismatch": _(
            "This email address and this password do not belong together. Check both, or sign in with a code by mail."
        ),
        "too_many_login_attempts": _(
            "That was tried too often. Wait five minutes, or come in another way: with a code by mail, or with a passkey."
        ),
        "rate_limited": _("That was tried too often. Wait a few minutes, then try again."),
        "incorrect_code": _("This is not the code that was sent, or it has run out."),
        "incorrect_password": _("This is not the password of your account."),
        "enter_current_password": _("This is not the password that the account has now."),
    }

    def validation_error(self, code: str, *args: Any) -> ValidationError:
        """The library's refusal in our words; those that say that somebody tries are noted."""
        if code in REFUSALS:
            refused(REFUSALS[code])
        return super().validation_error(code, *args)

    def authentication_failed(self, request: HttpRequest, **credentials: Any) -> None:
        """Note that a password was wrong: by the account it was tried at, and by none where there is no such one."""
        if request.user.is_authenticated:
            refused(Event.REAUTHENTICATION_FAILED, account=request.user.pk, method="password")
            return
        # Looked for whether there is one or not, so that the time of the answer does not tell.
        tried = filter_users_by_email(credentials.get("email", ""), prefer_verified=True, for_login=True)
        refused(Event.SIGN_IN_FAILED, account=tried[0].pk if tried else None, method="password")

    def respond_user_inactive(self, request: HttpRequest, user: User) -> HttpResponse:
        refused(Event.SIGN_IN_FAILED, account=user.pk, reason="account_closed")
        return super().respond_user_inactive(request, user)

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        # The library makes links from the name that the request bore, which is the sender's to choose.
        ours = {name: _at_site(value) if name.endswith("_url") else value for name, value in context.items()}
        with speaking_to(context.get("user") or User.objects.filter(email__iexact=email).first()):
            message: EmailMultiAlternatives = self.render_mail(template_prefix, email, ours)
            labels = {url: str(ACTIONS[name]) for name, url in ours.items() if name in ACTIONS}
            mail_send(to=email, subject=str(message.subject).strip(), text=str(message.body), labels=labels)

    def send_notification_mail(
        self,
        template_prefix: str,
        user: User,
        context: dict[str, Any] | None = None,
        email: str | None = None,
    ) -> None:
        """Tell somebody that something of their account has changed: when it was on their clock, and from where."""
        device = device_of(self.request.META.get("HTTP_USER_AGENT", ""))
        network = network_words(network_of(self.get_client_ip(self.request)))
        said = {"user": user, "device": device, "network": network, **(context or {})}
        with timezone.override(zone_of_person(user)):
            super().send_notification_mail(template_prefix, user, said, email)

    def get_reauthentication_methods(self, user: Any) -> list[dict[str, Any]]:
        """The ways in which somebody can say once more who they are, in our words."""
        return [
            {**method, "description": AGAIN[method["id"]]}
            for method in super().get_reauthentication_methods(user)
        ]


def _at_site(url: str) -> str:
    parts = urlsplit(url)
    return f"{settings.SITE_URL}{parts._replace(scheme='', netloc='').geturl()}"
