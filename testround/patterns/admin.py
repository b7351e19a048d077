from __future__ import annotations

from django.contrib import admin

from testround.outbox.admin import ReadOnlyAdmin
from testround.patterns.models import Edition, Membership, Pattern, SheetState


@admin.register(Pattern)
class PatternAdmin(ReadOnlyAdmin):
    list_display = ("title", "owner", "code", "created")
    list_select_related = ("owner",)
    search_fields = ("title", "code", "owner__email")


@admin.register(Edition)
class EditionAdmin(ReadOnlyAdmin):
    list_display = ("pattern", "label", "terms", "created", "frozen_at")
    list_select_related = ("pattern",)
    search_fields = ("pattern__title", "pattern__code", "label")


@admin.register(SheetState)
class SheetStateAdmin(ReadOnlyAdmin):
    list_display = ("edition", "revision", "way", "saved_by", "saved_at")
    list_select_related = ("edition__pattern", "saved_by")
    list_filter = ("way",)
    search_fields = ("edition__pattern__title", "edition__pattern__code")


@admin.register(Membership)
class MembershipAdmin(ReadOnlyAdmin):
    list_display = ("pattern", "role", "email", "user", "invited_at", "joined_at", "ended_at")
    list_select_related = ("pattern", "user")
    list_filter = ("role",)
    search_fields = ("pattern__title", "pattern__code", "email")
    exclude = ("secret_hash",)
