"""Answers that tell a secret, kept so that only the program they were told to can read them again.

Such an answer is kept for a day under its Idempotency-Key, like any other. It is encrypted under the personal token
that asked, of which the server keeps nothing but a hash: who reads the database learns no secret from it.
"""

from __future__ import annotations

import base64
import hashlib

from cryptography.fernet import Fernet, InvalidToken


def _cipher(bearer: str, key: str) -> Fernet:
    # The token has 256 random bits, so that one hash of it makes a key; a key serves one answer.
    told = hashlib.sha256(f"answer\n{key}\n{bearer}".encode()).digest()
    return Fernet(base64.urlsafe_b64encode(told))


def sealed(body: str, *, bearer: str, key: str) -> str:
    """A body encrypted under a bearer token, for the answer to one Idempotency-Key."""
    return _cipher(bearer, key).encrypt(body.encode()).decode()


def opened(body: str, *, bearer: str, key: str) -> str | None:
    """The body that was sealed; None where it was sealed under another token."""
    try:
        return _cipher(bearer, key).decrypt(body.encode()).decode()
    except InvalidToken:
        return None
