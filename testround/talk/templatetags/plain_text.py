"""``{% load plain_text %}``, then ``{{ note.text|linked }}``."""

from __future__ import annotations

from django import template
from django.utils.safestring import SafeString

from testround.talk import plain_text

register = template.Library()


@register.filter
def linked(text: str) -> SafeString:
    """What anyone wrote, safe for a page, with its addresses as links."""
    return plain_text.linked(text)
