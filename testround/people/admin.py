from __future__ import annotations

from typing import Any

from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.contrib import admin
from django.http import HttpRequest

from testround.people.models import User

# How somebody signs in, and where they are signed in, is theirs to see; support needs neither.
admin.site.unregister([Authenticator, UserSession])


@admin.register(User)
class UserAdmin(admin.ModelAdmin):
    """Who has an account. Passwords are set by their owners, never here."""

    list_display = ("email", "name", "joined", "is_active", "is_staff")
    list_filter = ("is_active", "is_staff")
    search_fields = ("email", "name")
    ordering = ("email",)
    fields = (
        "email",
        "name",
        ("units", "tools", "terms", "language", "time_zone"),
        ("is_active", "is_staff", "is_superuser"),
        "groups",
        ("joined", "last_login"),
    )
    filter_horizontal = ("groups",)

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        fixed = ("joined", "last_login", "is_superuser")
        # Rights are given by a superuser alone, so that nobody can give rights to themselves.
        return fixed if request.user.is_superuser else (*fixed, "is_staff", "groups")

    def has_add_permission(self, request: HttpRequest) -> bool:
        # An account is made by its owner, who chooses the password.
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        # Someone who leaves is made inactive: what they sent stays with its round.
        return False
