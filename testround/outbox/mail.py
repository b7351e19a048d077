"""Mail as work: it leaves after commit, and again later when the server did not take it."""

from __future__ import annotations

from typing import Any

from django.core.mail import EmailMessage

from testround.outbox.models import Work
from testround.outbox.services import handles, work_add

KIND = "mail"


def mail_send(*, to: str, subject: str, text: str, once_key: str = "") -> Work:
    """Send one plain mail after the current transaction commits."""
    return work_add(kind=KIND, subject={"to": to, "subject": subject, "text": text}, once_key=once_key)


# A mail may hold the secret of a link or a code to sign in with, of which nothing else keeps more than a hash.
@handles(KIND, forget=True)
def _mail(subject: dict[str, Any]) -> None:
    EmailMessage(subject=subject["subject"], body=subject["text"], to=[subject["to"]]).send()
