"""What a person is told of their tokens."""

from __future__ import annotations

from django.conf import settings
from django.utils import formats, timezone
from django.utils.translation import gettext as _

from testround.api.models import Token
from testround.outbox.letters import Action, Facts, Letter, letter


def token_made(*, token: Token) -> Letter:
    day = formats.date_format(timezone.localtime(token.expires), "DATE_FORMAT")
    return letter(
        _("A token for your account was made"),
        _(
            "A personal token was made for your account. With it a program can act for you, within its scopes."
        ),
        Facts(
            (
                (_("Name"), token.name),
                (_("Ends with"), token.hint),
                (_("Scopes"), ", ".join(token.scopes)),
                (_("Runs out on"), day),
            )
        ),
        _("If it was not you, revoke it at once and change your password."),
        Action(_("See my tokens"), f"{settings.SITE_URL}/me/tokens/"),
        why=_("You get this mail because it concerns the safety of your account."),
    )
