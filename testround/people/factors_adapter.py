from __future__ import annotations

import base64
import logging
import secrets
from typing import Any

from allauth.core import context
from allauth.mfa.adapter import DefaultMFAAdapter
from allauth.mfa.models import Authenticator
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from testround.people.models import User
from testround.people.sealed import CannotOpen, seal, unseal

logger = logging.getLogger(__name__)


class FactorsAdapter(DefaultMFAAdapter):
    """Secrets are sealed before they are stored, and what is said is in our words."""

    error_messages = DefaultMFAAdapter.error_messages | {
        "incorrect_code": gettext_lazy(
            "This code does not fit, or has just run out. Wait until the app shows the next one, and type that."
        ),
        "cannot_delete_authenticator": gettext_lazy("This second factor cannot be removed."),
    }

    def encrypt(self, text: str) -> str:
        return seal(text)

    def decrypt(self, encrypted_text: str) -> str:
        try:
            return unseal(encrypted_text)
        except CannotOpen:
            logger.error(
                "A second factor was sealed with a key that is neither SECRET_KEY nor one of SECRET_KEY_FALLBACKS, "
                "so that no code fits it"
            )
            # A secret that nobody knows.
            return base64.b32encode(secrets.token_bytes(20)).decode("ascii")

    def get_totp_label(self, user: User) -> str:
        return user.email

    def generate_authenticator_name(self, user: User, type: Authenticator.Type) -> str:
        count = Authenticator.objects.filter(user=user, type=type).count()
        if not count:
            return _("My passkey")
        # Translators: the name that a further passkey has until its owner calls it something else.
        return _("Passkey {n}").format(n=count + 1)

    def get_public_key_credential_rp_entity(self) -> dict[str, str]:
        # The host is one of ALLOWED_HOSTS, and the browser ties the passkey to it.
        return {"id": context.request.get_host().partition(":")[0], "name": "Testround"}

    def get_public_key_credential_user_entity(self, user: User) -> dict[str, Any]:
        return super().get_public_key_credential_user_entity(user) | {"display_name": str(user)}
