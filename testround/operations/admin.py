from __future__ import annotations

from django.contrib import admin

from testround.operations.models import Act, Backup
from testround.outbox.admin import ReadOnlyAdmin


@admin.register(Backup)
class BackupAdmin(ReadOnlyAdmin):
    list_display = ("finished", "file", "size", "rows", "files", "missing", "problem")


@admin.register(Act)
class ActAdmin(ReadOnlyAdmin):
    """What the support staff did."""

    list_display = ("at", "name", "method", "view", "object_id", "query", "status")
    list_filter = ("view", "method")
    search_fields = ("name", "object_id")
