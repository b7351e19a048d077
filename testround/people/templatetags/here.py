"""Marks where in the program a page is, for the navigation."""

from __future__ import annotations

from typing import Any

from django import template
from django.template.context import Context
from django.utils.safestring import SafeString, mark_safe

register = template.Library()


@register.simple_tag(takes_context=True)
def here(context: Context, url: str) -> SafeString:
    """``<a href="{{ url }}"{% here url %}>``: marks the link to this very page, or to the part it lies in."""
    request: Any = context.get("request")
    path = request.path if request is not None else ""
    if path == url:
        return mark_safe(' aria-current="page"')
    if url != "/" and path.startswith(url):
        return mark_safe(' aria-current="true"')
    return mark_safe("")
