"""Where in the program a page is, for the navigation, and which page comes after one that asks who is there."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

from django import template
from django.contrib.auth import REDIRECT_FIELD_NAME
from django.template.context import Context
from django.urls import Resolver404, resolve
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext_lazy

register = template.Library()


@register.simple_tag(takes_context=True)
def here(context: Context, url: str) -> SafeString:
    """``<a href="{{ url }}"{% here url %}>``: marks the link to this very page, or to the part it lies in.

    That is what its address begins with, unless the page gives another part as ``lies_in``.
    """
    lies_in = context.get("lies_in")
    if lies_in and url != lies_in:
        return mark_safe("")
    request: Any = context.get("request")
    path = request.path if request is not None else ""
    if path == url:
        return mark_safe(' aria-current="page"')
    if lies_in or (url != "/" and path.startswith(url)):
        return mark_safe(' aria-current="true"')
    return mark_safe("")


# By the name of the address, what a page is for that asks once more who is there; said as the page's own heading is.
_TOUCHES_THE_ACCOUNT = {
    "mfa_activate_totp": gettext_lazy("Add an authenticator app"),
    "mfa_deactivate_totp": gettext_lazy("Remove the authenticator app?"),
    "mfa_add_webauthn": gettext_lazy("Add a passkey"),
    "mfa_edit_webauthn": gettext_lazy("Rename a passkey"),
    "mfa_recovery_codes": gettext_lazy("Your recovery codes"),
    "account_email": gettext_lazy("Your mail address"),
    "tokens:list": gettext_lazy("Which programs may act for me?"),
}


@register.simple_tag(takes_context=True)
def comes_next(context: Context) -> str:
    """What the page is for that is shown once it is known who asks; empty where that has no name here."""
    request: Any = context["request"]
    address = request.POST.get(REDIRECT_FIELD_NAME) or request.GET.get(REDIRECT_FIELD_NAME) or ""
    try:
        name = resolve(urlsplit(address).path).view_name
    except (Resolver404, ValueError):
        return ""
    return str(_TOUCHES_THE_ACCOUNT.get(name, ""))
