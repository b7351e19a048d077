from __future__ import annotations

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from django.core.mail import EmailMultiAlternatives

from testround.outbox.mail import mail_send


class AccountAdapter(DefaultAccountAdapter):
    """Account mail goes through the outbox like all other mail."""

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        message: EmailMultiAlternatives = self.render_mail(template_prefix, email, context)
        mail_send(to=email, subject=str(message.subject).strip(), text=str(message.body))
