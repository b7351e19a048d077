from __future__ import annotations

from typing import Any

from django.contrib import admin
from django.http import HttpRequest

from testround.outbox.models import Mail, Stopped, Work


class ReadOnlyAdmin(admin.ModelAdmin):
    """Shows rows that only the program's own services write."""

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(Work)
class WorkAdmin(ReadOnlyAdmin):
    """What waits, what was done, and what failed with which words."""

    list_display = ("kind", "state", "attempts", "created", "finished", "problem")
    list_filter = ("state", "kind")


@admin.register(Mail)
class MailAdmin(ReadOnlyAdmin):
    """What waits, what left, and what failed or may not have arrived. What a mail says is not shown."""

    list_display = ("subject", "to", "kind", "state", "attempts", "created", "finished", "problem")
    list_filter = ("state", "kind")
    exclude = ("letter",)


@admin.register(Stopped)
class StoppedAdmin(ReadOnlyAdmin):
    """Who does not want which kind of mail."""

    list_display = ("person", "kind", "since")
    list_select_related = ("person",)
