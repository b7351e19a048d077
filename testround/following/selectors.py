"""What those who run a pattern know of who follows it: how many, never who; and of where its errata are posted."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Count, Prefetch, Q, QuerySet

from testround.following.models import Attempt, Delivery, Follower, Webhook
from testround.patterns.access import Right, patterns_open_to
from testround.patterns.models import Pattern
from testround.people.models import User


@dataclass(frozen=True, slots=True)
class Following:
    """Who hears of a pattern's errata."""

    followers: int
    """Addresses that follow by mail and have said so themselves."""
    webhooks: tuple[Webhook, ...]
    """For who may see them, each with ``waiting`` and ``given_up``, the numbers of its messages."""


def patterns_followed(user: User) -> QuerySet[Pattern]:
    """Patterns whose number of followers a person may know: who edits the pattern."""
    return patterns_open_to(user, Right.EDIT)


def following_of(pattern: Pattern, *, with_webhooks: bool) -> Following:
    followers = Follower.objects.filter(pattern=pattern, confirmed_at__isnull=False).count()
    if not with_webhooks:
        return Following(followers, ())
    webhooks = Webhook.objects.filter(pattern=pattern).annotate(
        waiting=Count("deliveries", filter=Q(deliveries__state__in=("waiting", "held"))),
        given_up=Count(
            "deliveries", filter=Q(deliveries__state="given up", deliveries__kind="erratum.published")
        ),
    )
    for_page = list(webhooks.order_by("pk"))
    for webhook in for_page:
        webhook.pattern = pattern
    return Following(followers, tuple(for_page))


def webhooks_open_to(user: User) -> QuerySet[Webhook]:
    """Webhooks that a person may see and change: of the patterns whose errata they publish."""
    patterns = patterns_open_to(user, Right.PUBLISH)
    return Webhook.objects.filter(pattern__in=patterns).select_related("pattern__owner")


def deliveries_of(webhook: Webhook) -> QuerySet[Delivery]:
    """Its messages, the newest first, each with its attempts, and without the bodies."""
    return (
        webhook.deliveries.defer("body")
        .select_related("erratum")
        .prefetch_related(Prefetch("attempts", Attempt.objects.order_by("-at", "-pk")))
        .order_by("-created", "-pk")
    )
