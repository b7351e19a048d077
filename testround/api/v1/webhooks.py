"""Who hears of a pattern’s errata: how many by mail, and to which programs they are posted."""

from __future__ import annotations

import uuid
from typing import Any

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.fields import Input
from testround.api.problems import CONFLICT, TOO_MANY, ApiProblem
from testround.api.scopes import Scope
from testround.api.v1.examples import webhooks as examples
from testround.following import webhooks as services
from testround.following.models import Attempt, Delivery, Follower, Webhook
from testround.following.selectors import deliveries_of, patterns_followed, webhooks_open_to
from testround.following.targets import LONGEST_URL
from testround.following.views_pattern import HOUR, MOST_BY_HAND
from testround.patterns.access import Right, require
from testround.patterns.models import Pattern
from testround.rounds.throttle import counted

TAG = "Webhooks"


class FollowingOut(serializers.Serializer):
    followers = serializers.IntegerField(
        help_text="Addresses that follow by mail and have said so themselves. Who they are is told to nobody."
    )


class WebhookIn(Input):
    url = serializers.CharField(max_length=LONGEST_URL, help_text="https, in a public network.")


class WebhookOut(serializers.Serializer):
    """A program that errata are posted to."""

    key = serializers.UUIDField(help_text="Names it in addresses.")
    url = serializers.CharField()
    created = serializers.DateTimeField()
    failing_since = serializers.DateTimeField(
        allow_null=True, help_text="The first failure after the last message that arrived."
    )
    paused = serializers.ChoiceField(
        choices=Webhook.Paused.choices, allow_blank=True, help_text="By whom; empty while it is not."
    )
    former_until = serializers.DateTimeField(
        allow_null=True, help_text="Until when messages are signed by the secret before, too."
    )


class WebhookSecret(WebhookOut):
    secret = serializers.CharField(help_text="By which messages are signed. It is not shown again.")


class AttemptOut(serializers.Serializer):
    """One post of a message, and how it was answered."""

    at = serializers.DateTimeField()
    status = serializers.IntegerField(allow_null=True)
    problem = serializers.ChoiceField(
        choices=Attempt.Problem.choices, allow_blank=True, help_text="Where there was no answer."
    )
    milliseconds = serializers.IntegerField()


class DeliveryOut(serializers.Serializer):
    """One message, and what has become of it."""

    id = serializers.IntegerField()
    message_id = serializers.CharField(help_text="As the receiver knows it: the same for every attempt.")
    kind = serializers.ChoiceField(choices=Delivery.Kind.choices)
    erratum = serializers.IntegerField(
        source="erratum.number", default=None, allow_null=True, help_text="Its number."
    )
    state = serializers.ChoiceField(choices=Delivery.State.choices)
    created = serializers.DateTimeField()
    finished = serializers.DateTimeField(allow_null=True)
    attempts = AttemptOut(many=True, help_text="Newest first.")


class HeldBackOut(serializers.Serializer):
    sent = serializers.IntegerField(help_text="Messages that were held back and are on their way now.")


def represent(webhook: Webhook) -> dict[str, Any]:
    return WebhookOut(webhook).data


def _delivery(delivery: Delivery) -> dict[str, Any]:
    return DeliveryOut(delivery).data


class Following(Endpoint):
    @operation(
        "following_retrieve",
        "How many follow a pattern",
        tag=TAG,
        scope=Scope.WEBHOOKS_READ,
        answers=FollowingOut,
        example=examples.FOLLOWING,
    )
    def get(self, request: Request, code: str) -> Response:
        """How many hear by mail of the errata of a pattern that you own or edit."""
        pattern = self.here(patterns_followed(self.user), code=code)
        confirmed = Follower.objects.filter(pattern=pattern, confirmed_at__isnull=False)
        return self.shown({"followers": confirmed.count()})


class Webhooks(Endpoint):
    def pattern(self, code: str) -> Pattern:
        """A pattern whose errata this person publishes; who edits it is told that its owner does."""
        pattern: Pattern = self.here(patterns_followed(self.user), code=code)
        require(self.user, Right.PUBLISH, pattern)
        return pattern

    @operation(
        "webhooks_list",
        "Programs errata are posted to",
        tag=TAG,
        scope=Scope.WEBHOOKS_READ,
        answers=WebhookOut(many=True),
        example=examples.WEBHOOK,
    )
    def get(self, request: Request, code: str) -> Response:
        """The programs that errata of a pattern are posted to, newest first. For its owner alone."""
        return self.paged(Webhook.objects.filter(pattern=self.pattern(code)), represent)

    @operation(
        "webhooks_add",
        "Have errata posted to a program",
        tag=TAG,
        scope=Scope.WEBHOOKS_WRITE,
        takes=WebhookIn,
        sends={"url": examples.WEBHOOK["url"]},
        answers=WebhookSecret,
        example=examples.ADDED,
        status=201,
    )
    def post(self, request: Request, code: str) -> Response:
        """Have every erratum of a pattern posted to a program, from the next on. The secret is shown this once."""
        webhook, _is_new = services.webhook_add(
            pattern=self.pattern(code), url=self.body(WebhookIn)["url"], key=uuid.uuid4(), by=self.user
        )
        return self.made(WebhookSecret(webhook).data, reverse("api:webhook", args=[code, webhook.key]))


class OfWebhook(Endpoint):
    """An address of one program that errata are posted to: for who publishes them."""

    def webhooks(self, code: str) -> QuerySet[Webhook]:
        return webhooks_open_to(self.user).filter(pattern__code=code)

    def webhook(self, code: str, key: uuid.UUID) -> Any:
        """Not locked: a service locks it, and posts go on meanwhile."""
        return get_object_or_404(self.webhooks(code), key=key)

    def by_hand(self, webhook: Webhook) -> None:
        """Count one post set off by hand, together with those of the page. Raises where they are too many."""
        if not counted("webhook by hand", str(webhook.key), most=MOST_BY_HAND, seconds=HOUR):
            said = _("Nothing was sent: {n} posts within an hour are as many as may be set off by hand.")
            raise ApiProblem(TOO_MANY, said.format(n=MOST_BY_HAND), headers={"Retry-After": str(HOUR)})


class OneWebhook(OfWebhook):
    @operation(
        "webhooks_retrieve",
        "One program",
        tag=TAG,
        scope=Scope.WEBHOOKS_READ,
        answers=WebhookOut,
        example=examples.WEBHOOK,
    )
    def get(self, request: Request, code: str, key: uuid.UUID) -> Response:
        """A program that errata are posted to: how it stands."""
        return self.shown(represent(self.webhook(code, key)))

    @operation("webhooks_remove", "Post there no more", tag=TAG, scope=Scope.WEBHOOKS_WRITE, status=204)
    def delete(self, request: Request, code: str, key: uuid.UUID) -> Response:
        """Forget a program, its secret and all its messages."""
        webhook = self.here(self.webhooks(code), key=key)
        self.hold_against(represent(webhook))
        services.webhook_remove(webhook=webhook, by=self.user)
        return self.gone()


class Pause(OfWebhook):
    @operation(
        "webhooks_pause",
        "Hold messages back",
        tag=TAG,
        scope=Scope.WEBHOOKS_WRITE,
        answers=WebhookOut,
        example={**examples.WEBHOOK, "paused": "by owner"},
    )
    def post(self, request: Request, code: str, key: uuid.UUID) -> Response:
        """Hold back what is published until it is resumed."""
        services.webhook_pause(webhook=self.webhook(code, key), by=self.user)
        return self.shown(represent(self.webhook(code, key)))


class Resume(OfWebhook):
    @operation(
        "webhooks_resume",
        "Post messages again",
        tag=TAG,
        scope=Scope.WEBHOOKS_WRITE,
        answers=HeldBackOut,
        example={"sent": 2},
    )
    def post(self, request: Request, code: str, key: uuid.UUID) -> Response:
        """Post again, what was held back first."""
        return self.shown({"sent": services.webhook_resume(webhook=self.webhook(code, key), by=self.user)})


class RenewSecret(OfWebhook):
    @operation(
        "webhooks_renew",
        "Make a new secret",
        tag=TAG,
        scope=Scope.WEBHOOKS_WRITE,
        answers=WebhookSecret,
        example={**examples.ADDED, "former_until": "2026-05-03T10:00:00Z"},
    )
    def post(self, request: Request, code: str, key: uuid.UUID) -> Response:
        """Make a new secret, shown this once. For a day messages are signed by the one before, too."""
        renewed = services.webhook_secret_renew(webhook=self.webhook(code, key), by=self.user)
        return self.shown(WebhookSecret(renewed).data)


class Trial(OfWebhook):
    @operation(
        "webhooks_try",
        "Post a trial message",
        tag=TAG,
        scope=Scope.WEBHOOKS_WRITE,
        answers=DeliveryOut,
        example={**examples.DELIVERY, "kind": "webhook.test", "erratum": None},
        refusals=[TOO_MANY],
    )
    def post(self, request: Request, code: str, key: uuid.UUID) -> Response:
        """Post a message that says it is a trial, also while the program is paused."""
        webhook = self.webhook(code, key)
        self.by_hand(webhook)
        return self.shown(_delivery(services.webhook_test(webhook=webhook, by=self.user)))


class Deliveries(OfWebhook):
    @operation(
        "deliveries_list",
        "What was posted",
        tag=TAG,
        scope=Scope.WEBHOOKS_READ,
        answers=DeliveryOut(many=True),
        example=examples.DELIVERY,
    )
    def get(self, request: Request, code: str, key: uuid.UUID) -> Response:
        """The messages to a program, newest first, with every attempt and how it was answered."""
        return self.paged(deliveries_of(self.webhook(code, key)), _delivery)


class DeliveryAgain(OfWebhook):
    @operation(
        "deliveries_again",
        "Post a message again",
        tag=TAG,
        scope=Scope.WEBHOOKS_WRITE,
        answers=DeliveryOut,
        example={**examples.DELIVERY, "state": "waiting", "finished": None},
        refusals=[CONFLICT, TOO_MANY],
    )
    def post(self, request: Request, code: str, key: uuid.UUID, id: int) -> Response:
        """Post a message at once under the same id: again, or before its time."""
        webhook = self.webhook(code, key)
        delivery = get_object_or_404(webhook.deliveries.select_related("webhook__pattern"), pk=id)
        if webhook.paused and delivery.erratum_id is not None:
            raise ApiProblem(CONFLICT, _("The address is paused; take it up again first."))
        self.by_hand(webhook)
        services.delivery_send_again(delivery=delivery, by=self.user)
        return self.shown(_delivery(deliveries_of(webhook).get(pk=id)))
