from __future__ import annotations

import secrets
import uuid
from urllib.parse import urlsplit

from django.db import models
from django.db.models.functions import Lower
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from testround.errata.models import Erratum
from testround.patterns.models import Pattern


class Follower(models.Model):
    """A mail address that asked for the errata of one pattern; it follows once it has said so itself.

    Nothing else is kept of whoever reads it, no size and no name: which copies an erratum concerns stands in the
    mail. Whoever leaves takes the row with them.
    """

    pattern = models.ForeignKey(Pattern, on_delete=models.CASCADE, related_name="followers")
    address = models.EmailField()
    # What the signed links in its mails name: a number would tell how many there are, and come again one day.
    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    # In which its mails are written: the one it asked in.
    language = models.CharField(max_length=10)
    asked_at = models.DateTimeField(
        default=timezone.now, help_text="When it was last mailed a link to confirm."
    )
    confirmed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = [models.Index(fields=["confirmed_at", "asked_at"])]
        constraints = [
            models.UniqueConstraint("pattern", Lower("address"), name="follower_address_once"),
        ]

    def __str__(self) -> str:
        return f"follower {self.pk}"

    @property
    def about(self) -> str:
        """Under which name the outbox has its mails."""
        return f"follower {self.key}"


class Webhook(models.Model):
    """An address of another program to which a pattern's errata are posted when they are published.

    The secret is kept as it is and not hashed: each message is signed with it. It is shown once, when it is made.
    """

    class Paused(models.TextChoices):
        BY_OWNER = "by owner", _("Paused by you.")
        FAILING = "failing", _("Paused, because nothing could be delivered for days.")
        GONE = "gone", _("Paused, because the address answered that it is gone for good (410).")

    pattern = models.ForeignKey(Pattern, on_delete=models.CASCADE, related_name="webhooks")
    # Of the form that added it, so that a double press adds one, and of its page.
    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    url = models.CharField(max_length=500)
    secret = models.CharField(max_length=100)
    # The one before, by which messages are signed too for a day, so that a receiver can change over.
    former_secret = models.CharField(max_length=100, blank=True)
    former_until = models.DateTimeField(null=True, blank=True)
    created = models.DateTimeField(default=timezone.now)
    failing_since = models.DateTimeField(
        null=True, blank=True, help_text="The first failure after the last delivery that arrived."
    )
    paused = models.CharField(max_length=10, choices=Paused, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["pattern", "url"], name="webhook_address_once")]

    def __str__(self) -> str:
        return self.url

    def get_absolute_url(self) -> str:
        return reverse("following:webhook", args=[self.pattern.code, self.key])

    @property
    def host(self) -> str:
        """Whom it reaches, without what may be secret in the rest of its address."""
        return urlsplit(self.url).hostname or ""


def new_message_id() -> str:
    """What a receiver knows a message by; no full stop in it, as the signature parts its text by them."""
    return f"msg_{secrets.token_urlsafe(18)}"


class Delivery(models.Model):
    """One message to one webhook: what is posted, and what has become of it."""

    class Kind(models.TextChoices):
        """As the message's ``type`` says it."""

        PUBLISHED = "erratum.published"
        TEST = "webhook.test"

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        # Made or stopped while the webhook was paused; goes out when it is taken up again.
        HELD = "held", _("held back")
        DELIVERED = "delivered", _("delivered")
        GIVEN_UP = "given up", _("given up")

    webhook = models.ForeignKey(Webhook, on_delete=models.CASCADE, related_name="deliveries")
    erratum = models.ForeignKey(Erratum, null=True, on_delete=models.CASCADE, related_name="+")
    kind = models.CharField(max_length=30, choices=Kind)
    message_id = models.CharField(max_length=40, unique=True, default=new_message_id, editable=False)
    # Byte for byte what every attempt posts.
    body = models.TextField()
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    attempts_made = models.PositiveSmallIntegerField(default=0)
    not_before = models.DateTimeField(default=timezone.now)
    # Somebody is at it until then; afterwards they are taken for lost.
    claimed_until = models.DateTimeField(null=True, blank=True)
    created = models.DateTimeField(default=timezone.now)
    finished = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created", "-pk"]
        verbose_name_plural = "deliveries"
        indexes = [
            models.Index(fields=["state", "not_before"]),
            models.Index(fields=["webhook", "-created", "-id"]),
        ]
        constraints = [models.UniqueConstraint(fields=["webhook", "erratum"], name="delivery_once")]

    def __str__(self) -> str:
        return f"{self.message_id} ({self.state})"


class Attempt(models.Model):
    """One post of a message, and how it was answered."""

    class Problem(models.TextChoices):
        NO_ADDRESS = "no address", _("The host's name leads to no address.")
        NOT_PUBLIC = (
            "not public",
            _("The host's name leads to an address inside a network of its own: nothing was sent."),
        )
        NO_CONNECTION = "no connection", _("No connection came about.")
        NOT_TRUSTED = (
            "not trusted",
            _("The certificate is not trusted, or is another host's: nothing was sent."),
        )
        TOO_SLOW = "too slow", _("No answer came in time.")
        BROKEN = "broken", _("The connection ended without an answer.")

    delivery = models.ForeignKey(Delivery, on_delete=models.CASCADE, related_name="attempts")
    at = models.DateTimeField(default=timezone.now)
    status = models.PositiveSmallIntegerField(null=True, help_text="The answer's, where there was one.")
    problem = models.CharField(max_length=15, choices=Problem, blank=True)
    milliseconds = models.PositiveIntegerField()
    answer = models.TextField(blank=True, help_text="The first bytes of the answer's body.")

    class Meta:
        ordering = ["-at", "-pk"]

    def __str__(self) -> str:
        return f"{self.status or self.problem}, {self.at:%Y-%m-%d %H:%M}"

    @property
    def is_taken(self) -> bool:
        return self.status is not None and 200 <= self.status < 300

    @property
    def is_redirect(self) -> bool:
        return self.status is not None and 300 <= self.status < 400
