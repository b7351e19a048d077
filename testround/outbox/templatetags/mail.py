"""What the templates of mails use."""

from __future__ import annotations

import re

from django import template
from django.utils.html import conditional_escape, format_html
from django.utils.safestring import SafeString, mark_safe

from testround.outbox.letters import ADDRESS

register = template.Library()
_TRAILING = ".,;:!?)"


@register.filter
def linked(text: str) -> SafeString:
    """The text, escaped, with whole addresses (http or https, nothing else) as links."""
    made = []
    end = 0
    for found in re.finditer(ADDRESS, text):
        url = found[0].rstrip(_TRAILING)
        made.append(conditional_escape(text[end : found.start()]))
        made.append(format_html('<a href="{}" style="color: inherit">{}</a>', url, url))
        end = found.start() + len(url)
    made.append(conditional_escape(text[end:]))
    return mark_safe("".join(made))  # noqa: S308 -- every piece of it is escaped
