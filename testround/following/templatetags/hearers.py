"""On pages of the rooms below: who will hear of an erratum once it is published."""

from __future__ import annotations

from typing import Any

from django import template
from django.db.models import Count, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from testround.following.models import Follower, Webhook
from testround.following.selectors import following_of
from testround.patterns.models import Pattern

register = template.Library()


@register.inclusion_tag("following/_who_hears.html")
def who_hears(pattern: Pattern) -> dict[str, Any]:
    """How many addresses get it by mail, and how many programs it is posted to; nothing where there are none."""
    followers, programs = (
        Pattern.objects.filter(pk=pattern.pk)
        .annotate(
            by_mail=_count(Follower.objects.filter(pattern=OuterRef("pk"), confirmed_at__isnull=False)),
            by_post=_count(Webhook.objects.filter(pattern=OuterRef("pk"), paused="")),
        )
        .values_list("by_mail", "by_post")
        .get()
    )
    return {"followers": followers, "programs": programs}


@register.simple_tag
def followers_of(pattern: Pattern) -> int:
    """How many addresses get a pattern's errata by mail; for pages of those who edit it."""
    return following_of(pattern, with_webhooks=False).followers


def _count(rows: QuerySet[Any]) -> Coalesce:
    """How many rows there are, within another query."""
    return Coalesce(Subquery(rows.order_by().values("pattern").annotate(n=Count("pk")).values("n")), 0)
