"""What is held of a person's address among those who follow a pattern."""

from __future__ import annotations

from allauth.account.models import EmailAddress
from django.db.models import QuerySet
from django.db.models.functions import Lower
from django.utils.translation import gettext as _

from testround.following.models import Follower, Webhook
from testround.following.services import follower_leave
from testround.people.held import Shelf, erases, keeps
from testround.people.models import User
from testround.prepared import Prepared


@keeps
def follows_held(user: User) -> Shelf:
    """Patterns that an address of theirs follows, of those addresses that are known to be theirs."""
    rows = [
        {
            "pattern": follower.pattern.title,
            "address": follower.address,
            "asked": follower.asked_at,
            "confirmed": follower.confirmed_at,
        }
        for follower in _FOLLOWERS.rows(user=user)
    ]
    return Shelf("follows", _("Patterns whose errata you follow by mail"), _("nobody"), rows)


@keeps
def webhooks_held(user: User) -> Shelf:
    """Addresses of other programs that errata of their patterns are posted to."""
    rows = [
        {"pattern": webhook.pattern.title, "address": webhook.url, "added": webhook.created}
        for webhook in _WEBHOOKS.rows(user=user)
    ]
    return Shelf("webhooks", _("Where errata of your patterns are posted"), _("nobody"), rows)


@erases
def follows_erase(user: User) -> None:
    for follower in _of(user):
        follower_leave(follower=follower)


def _of(user: User) -> QuerySet[Follower]:
    """Followers have no account, so that the address is all that says whose they are: one that is confirmed."""
    own = EmailAddress.objects.filter(user=user, verified=True)
    return (
        Follower.objects.annotate(small=Lower("address"))
        .filter(small__in=own.values_list(Lower("email")))
        .order_by("pk")
    )


_FOLLOWERS: Prepared[Follower] = Prepared(lambda user: _of(user).select_related("pattern"))
_WEBHOOKS: Prepared[Webhook] = Prepared(
    lambda user: Webhook.objects.filter(pattern__owner=user).select_related("pattern").order_by("pk")
)
