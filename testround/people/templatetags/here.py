"""Marks where in the program a page is, for the navigation."""

from __future__ import annotations

from typing import Any

from django import template
from django.template.context import Context
from django.utils.safestring import SafeString, mark_safe

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
