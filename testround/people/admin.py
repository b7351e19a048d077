from __future__ import annotations

from typing import Any

from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.contrib import admin, messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.template.response import TemplateResponse
from django.urls import URLPattern, path
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.people.models import User
from testround.people.services import sessions_end_for
from testround.security import Event, done

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

    def save_model(self, request: HttpRequest, obj: User, form: Any, change: bool) -> None:
        super().save_model(request, obj, form, change)
        done(Event.ACCOUNT_CHANGED, account=obj.pk, by=request.user.pk, fields=",".join(form.changed_data))

    def get_urls(self) -> list[URLPattern]:
        # The site's own wrapper asks who it is, and keeps that they were here.
        ends = self.admin_site.admin_view(self.end_sessions)
        return [
            path("<int:object_id>/end-sessions/", ends, name="people_user_end_sessions"),
            *super().get_urls(),
        ]

    def end_sessions(self, request: HttpRequest, object_id: int) -> HttpResponse:
        """Sign somebody out everywhere, once it is confirmed, and leave the account open."""
        person = get_object_or_404(User, pk=object_id)
        if not self.has_change_permission(request, person):
            raise PermissionDenied
        if request.method == "POST":
            count = sessions_end_for(user=person, by=request.user)
            said = ngettext(
                "{n} browser of this account is signed out. Its owner is told by mail.",
                "{n} browsers of this account are signed out. Its owner is told by mail.",
                count,
            )
            messages.success(
                request, said.format(n=count) if count else _("This account was signed in nowhere.")
            )
            return redirect("admin:people_user_change", person.pk)
        context = {**self.admin_site.each_context(request), "opts": self.opts, "person": person}
        return TemplateResponse(request, "admin/people/user/end_sessions.html", context)
