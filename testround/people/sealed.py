"""Secrets that have to be read again, sealed before they go into the database.

The key is derived from ``SECRET_KEY``, which is not in the database: whoever gets hold of a copy of that alone has
nothing. Each of ``SECRET_KEY_FALLBACKS`` still opens what was sealed with it, and `reseal` seals it with the present
one.
"""

from __future__ import annotations

import base64
from functools import lru_cache

from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings

# Sets these keys apart from whatever else is derived from the same secret (RFC 5869, section 3.2).
PURPOSE = b"testround: second factors"


class CannotOpen(Exception):
    """It was sealed with a key that is neither the present one nor one of those before it."""


def seal(text: str) -> str:
    """The text, encrypted and authenticated with the present key (Fernet: AES-128-CBC and HMAC-SHA256)."""
    return _keys().encrypt(text.encode()).decode("ascii")


def unseal(sealed: str) -> str:
    """The text that was sealed.

    Raises
    ------
    CannotOpen
        No key opens it, or it was changed.
    """
    try:
        return _keys().decrypt(sealed.encode()).decode()
    except InvalidToken as error:
        raise CannotOpen from error


def reseal(sealed: str) -> str:
    """The same, sealed with the present key.

    Raises
    ------
    CannotOpen
        No key opens it, or it was changed.
    """
    try:
        return _keys().rotate(sealed.encode()).decode("ascii")
    except InvalidToken as error:
        raise CannotOpen from error


def _keys() -> MultiFernet:
    return _derived((settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS))


@lru_cache(maxsize=8)
def _derived(secrets: tuple[str, ...]) -> MultiFernet:
    return MultiFernet([Fernet(_key(secret)) for secret in secrets])


def _key(secret: str) -> bytes:
    """32 bytes by HKDF-SHA256 (RFC 5869), as Fernet wants them written."""
    derived = HKDF(algorithm=SHA256(), length=32, salt=None, info=PURPOSE).derive(secret.encode())
    return base64.urlsafe_b64encode(derived)
