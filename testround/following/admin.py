from __future__ import annotations

from django.contrib import admin

from testround.following.models import Follower
from testround.outbox.admin import ReadOnlyAdmin


@admin.register(Follower)
class FollowerAdmin(ReadOnlyAdmin):
    """Which addresses follow which pattern, for whoever answers for the server."""

    list_display = ("pattern", "address", "asked_at", "confirmed_at")
    list_filter = ("confirmed_at",)
    list_select_related = ("pattern",)
    search_fields = ("address", "pattern__title")
    # What the links in its mails name.
    exclude = ("key",)
