"""Signatures of posted messages, as the Standard Webhooks specification has them.

References
----------
Standard Webhooks, version 1.0.0, "Verifying webhook authenticity" and "Webhook headers":
https://github.com/standard-webhooks/standard-webhooks/blob/main/spec/standard-webhooks.md
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
from collections.abc import Sequence

PREFIX = "whsec_"
# The specification asks for 24 to 64 bytes.
SECRET_BYTES = 32


def new_secret() -> str:
    """A secret as it is handed to a receiver: base64 after the prefix by which it is known."""
    return PREFIX + base64.b64encode(secrets.token_bytes(SECRET_BYTES)).decode()


def signature(secret: str, message_id: str, timestamp: int, body: bytes) -> str:
    """One signature of the scheme ``v1``: HMAC-SHA256 over id, time and body with full stops between."""
    key = base64.b64decode(secret.removeprefix(PREFIX))
    signed = b".".join((message_id.encode(), str(timestamp).encode(), body))
    return "v1," + base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()


def headers(secrets: Sequence[str], message_id: str, timestamp: int, body: bytes) -> dict[str, str]:
    """What goes with a message: its id, the second of this attempt, and a signature by each secret."""
    return {
        "webhook-id": message_id,
        "webhook-timestamp": str(timestamp),
        "webhook-signature": " ".join(signature(secret, message_id, timestamp, body) for secret in secrets),
    }
