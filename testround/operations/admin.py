from __future__ import annotations

from django.contrib import admin

from testround.operations.models import Backup
from testround.outbox.admin import ReadOnlyAdmin


@admin.register(Backup)
class BackupAdmin(ReadOnlyAdmin):
    list_display = ("finished", "file", "size", "rows", "files", "missing", "problem")
