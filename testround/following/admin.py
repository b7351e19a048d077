from __future__ import annotations

from django.contrib import admin

from testround.following.models import Attempt, Delivery, Follower, Webhook
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


@admin.register(Webhook)
class WebhookAdmin(ReadOnlyAdmin):
    """Where errata are posted. The secrets by which they are signed are not shown."""

    list_display = ("url", "pattern", "created", "failing_since", "paused")
    list_filter = ("paused",)
    list_select_related = ("pattern",)
    exclude = ("key", "secret", "former_secret")


@admin.register(Delivery)
class DeliveryAdmin(ReadOnlyAdmin):
    """What was posted, what waits, and what was given up."""

    list_display = ("message_id", "webhook", "kind", "state", "attempts_made", "created", "finished")
    list_filter = ("state", "kind")
    list_select_related = ("webhook",)


@admin.register(Attempt)
class AttemptAdmin(ReadOnlyAdmin):
    list_display = ("delivery", "at", "status", "problem", "milliseconds")
    list_filter = ("problem",)
    list_select_related = ("delivery",)
