"""What this room holds about a person: their tokens, without the secrets, and answers kept for a day."""

from __future__ import annotations

from django.utils.translation import gettext as _

from testround.api.models import Answered, Token
from testround.people.held import Shelf, erases, keeps
from testround.people.models import User
from testround.prepared import Prepared

_TOKENS: Prepared[Token] = Prepared(lambda user: Token.objects.filter(user=user).order_by("pk"))
_ANSWERS: Prepared[Answered] = Prepared(
    lambda user: Answered.objects.filter(user=user).defer("body").order_by("pk")
)


@keeps
def tokens_held(user: User) -> Shelf:
    rows = [
        {
            "name": token.name,
            "scopes": token.scopes,
            "made": token.created,
            "expires": token.expires,
            "last_used": token.last_used,
            "revoked": token.revoked_at,
        }
        for token in _TOKENS.rows(user=user)
    ]
    return Shelf(
        "tokens", _("Your tokens for other programs"), _("nobody; of each token only a hash is kept"), rows
    )


@keeps
def answers_held(user: User) -> Shelf:
    rows = [{"key": row.key, "sent": row.created, "status": row.status} for row in _ANSWERS.rows(user=user)]
    return Shelf(
        "api_answers",
        _("What your programs sent within a day, and were answered"),
        _("nobody; deleted after a day"),
        rows,
    )


@erases
def tokens_erase(user: User) -> None:
    Answered.objects.filter(user=user).delete()
    Token.objects.filter(user=user).delete()
