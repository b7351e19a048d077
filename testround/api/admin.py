from __future__ import annotations

from django.contrib import admin

from testround.api.models import Answered, Token
from testround.outbox.admin import ReadOnlyAdmin


@admin.register(Token)
class TokenAdmin(ReadOnlyAdmin):
    """That somebody has a token, what it may do and how long; it is ended by its owner."""

    list_display = ("name", "user", "created", "expires", "last_used", "revoked_at")
    list_select_related = ("user",)
    exclude = ("secret_hash",)


@admin.register(Answered)
class AnsweredAdmin(ReadOnlyAdmin):
    """That a request was answered under a key; what was answered is for who asked."""

    list_display = ("key", "status", "created")
    exclude = ("body", "fingerprint", "location")
