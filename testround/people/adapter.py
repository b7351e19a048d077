from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

from allauth.account.adapter import DefaultAccountAdapter
from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.utils.translation import gettext_lazy as _

from testround.outbox.mail import mail_send
from testround.people.language import speaking_to
from testround.people.models import User

# What the link of such a mail is for, in the words of its button.
ACTIONS = {
    "activate_url": _("Confirm this address"),
    "password_reset_url": _("Choose a new password"),
    "signup_url": _("Make an account"),
}


class AccountAdapter(DefaultAccountAdapter):
    """Account mail goes through the outbox like all other mail."""

    error_messages = DefaultAccountAdapter.error_messages | {
        "email_password_mismatch": _(
            "This email address and this password do not belong together. Check both, or sign in with a code by mail."
        ),
    }

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        # The library makes links from the name that the request bore, which is the sender's to choose.
        ours = {name: _at_site(value) if name.endswith("_url") else value for name, value in context.items()}
        with speaking_to(context.get("user") or User.objects.filter(email__iexact=email).first()):
            message: EmailMultiAlternatives = self.render_mail(template_prefix, email, ours)
            labels = {url: str(ACTIONS[name]) for name, url in ours.items() if name in ACTIONS}
            mail_send(to=email, subject=str(message.subject).strip(), text=str(message.body), labels=labels)


def _at_site(url: str) -> str:
    parts = urlsplit(url)
    return f"{settings.SITE_URL}{parts._replace(scheme='', netloc='').geturl()}"
