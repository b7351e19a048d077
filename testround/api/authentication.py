"""Who asks: a personal token in the Authorization header, and nothing else (RFC 6750)."""

from __future__ import annotations

from django.utils.translation import gettext as _
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from rest_framework.authentication import BaseAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from testround.api.models import Token
from testround.api.services import token_of
from testround.people.models import User

SCHEME = "personalToken"


class BearerToken(BaseAuthentication):
    """``Authorization: Bearer TOKEN``. Cookies are not looked at, so that no page can send in a person's name."""

    def authenticate(self, request: Request) -> tuple[User, Token] | None:
        given = request.headers.get("Authorization", "")
        if not given:
            return None
        scheme, _space, secret = given.partition(" ")
        if scheme.lower() != "bearer":
            raise AuthenticationFailed(_("Only personal tokens are taken: send Authorization: Bearer TOKEN."))
        token = token_of(secret.strip())
        if token is None:
            raise AuthenticationFailed(
                _(
                    "This token is not known, was revoked, or has run out. Make another on the page of your tokens."
                )
            )
        return token.user, token

    def authenticate_header(self, request: Request) -> str:
        given = request.headers.get("Authorization")
        return 'Bearer realm="Testround", error="invalid_token"' if given else 'Bearer realm="Testround"'


class BearerScheme(OpenApiAuthenticationExtension):
    """The same in the OpenAPI document."""

    target_class = BearerToken
    name = SCHEME

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, str]:
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "A personal token, made on the page /me/tokens/, with the scopes that an operation names.",
        }
