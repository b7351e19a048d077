from __future__ import annotations

import uuid
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models.functions import Upper
from django.utils import timezone


class Work(models.Model):
    """One piece of work that follows a submission.

    The row is written in the transaction of what it follows, so that it exists exactly when that does; a
    task sent after commit runs it, and a periodic sweep runs it again when the task was lost.
    """

    class State(models.TextChoices):
        WAITING = "waiting"
        DONE = "done"
        FAILED = "failed"

    kind = models.CharField(max_length=60)
    subject: models.JSONField[Any, Any] = models.JSONField(default=dict)
    # Two submissions that call for the same analysis want it once: a row with the same key that
    # nobody has begun is shared.
    once_key = models.CharField(max_length=120, blank=True)
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0)
    not_before = models.DateTimeField(default=timezone.now)
    created = models.DateTimeField(auto_now_add=True)
    finished = models.DateTimeField(null=True)
    problem = models.TextField(blank=True)
    # Of the request that wrote it, so that what is logged of the work can be found by it.
    request_id = models.CharField(max_length=64, blank=True, default="", db_default="")

    class Meta:
        verbose_name_plural = "work"
        indexes = [models.Index(fields=["state", "not_before"])]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "once_key"],
                condition=models.Q(state="waiting", attempts=0) & ~models.Q(once_key=""),
                name="work_waiting_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.kind} ({self.state})"


class Mail(models.Model):
    """One mail to one person, written in the transaction of what causes it.

    It waits; a worker claims it, gets hold of the mail server, says in the row that it is sending, and only then
    hands it over. Whatever breaks before that word sends nothing, so the mail waits again. Whatever breaks after
    it may have sent something, so the mail is uncertain and is not sent a second time by itself.
    """

    class State(models.TextChoices):
        WAITING = "waiting"
        CLAIMED = "claimed"
        SENDING = "sending"
        SENT = "sent"
        UNCERTAIN = "uncertain"
        FAILED = "failed"

    class Kind(models.TextChoices):
        """What the reader may do without. Whoever stops a kind gets no more of it."""

        ESSENTIAL = "essential"
        REMINDERS = "reminders"
        NOTES = "notes"

    to = models.EmailField()
    # Who stops a kind of mail is a person with an account; a mail to anybody else is essential.
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.CASCADE, related_name="mails"
    )
    kind = models.CharField(max_length=10, choices=Kind, default=Kind.ESSENTIAL)
    subject = models.CharField(max_length=300)
    # The letter as plain data, of which both forms are made. It may hold the secret of a link or a code to sign
    # in with, of which nothing else keeps more than a hash: once it has left, it is emptied.
    letter: models.JSONField[Any, Any] = models.JSONField(default=dict)
    # What it is about, as the room that wrote it says: a round's mails bear the round's code.
    about = models.CharField(max_length=60, blank=True, db_index=True)
    # Whom it is to, as those in the round call them; an address is not for everybody's eyes.
    name = models.CharField(max_length=200, blank=True)
    once_key = models.CharField(max_length=160, blank=True)
    # The same in every copy, should it be sent again, so that a reader's program can tell.
    message_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0)
    not_before = models.DateTimeField(default=timezone.now)
    claimed_at = models.DateTimeField(null=True)
    created = models.DateTimeField(default=timezone.now)
    finished = models.DateTimeField(null=True)
    problem = models.TextField(blank=True)
    # Of the request that wrote it, so that what is logged of the work can be found by it.
    request_id = models.CharField(max_length=64, blank=True, default="", db_default="")

    class Meta:
        indexes = [
            models.Index(fields=["state", "not_before"]),
            # As `to__iexact` asks: whose mails they are that have no account.
            models.Index(Upper("to"), name="mail_by_address_any_case"),
            models.Index(fields=["created"], name="mail_by_age"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["once_key"], condition=~models.Q(once_key=""), name="mail_key_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.subject} ({self.state})"


class Stopped(models.Model):
    """A kind of mail that a person does not want."""

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="stopped_mail"
    )
    kind = models.CharField(max_length=10, choices=Mail.Kind)
    since = models.DateTimeField(default=timezone.now)

    class Meta:
        verbose_name = "stopped mail"
        verbose_name_plural = "stopped mail"
        constraints = [models.UniqueConstraint(fields=["person", "kind"], name="mail_kind_stopped_once")]

    def __str__(self) -> str:
        return f"no {self.kind}"
