from __future__ import annotations

import secrets
import uuid

from django.conf import settings
from django.db import models
from django.urls import reverse
from django.utils import timezone

from testround.reports.models import Remark
from testround.rounds.models import Place, Round

LONGEST_SAID = 5000
LONGEST_QUESTION = 2000


class Said(models.Model):
    """What all that is said shares: plain text, said once by a form of its own key, and never changed."""

    key = models.UUIDField(default=uuid.uuid4)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    text = models.TextField(max_length=LONGEST_SAID)
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return self.text[:60]


class Note(Said):
    """From the designer to all testers of a round."""

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="notes")

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [models.UniqueConstraint(fields=["round", "key"], name="note_once")]
        indexes = [models.Index(fields=["round", "-at"])]


class Question(Said):
    """A tester's question at a place in the text. All testers of the round see it, and its answer stands there."""

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="questions")
    place = models.ForeignKey(
        Place, null=True, blank=True, on_delete=models.SET_NULL, related_name="questions"
    )
    where = models.CharField(max_length=200, help_text="Place in the text, as in “Back, step 3”.")
    by_name = models.BooleanField(default=False, help_text="The other testers see who asked.")
    # The remark that the errata desk got of it. A step is taken there once.
    remark = models.OneToOneField(
        Remark, null=True, blank=True, on_delete=models.SET_NULL, related_name="question"
    )
    to_desk_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [models.UniqueConstraint(fields=["round", "key"], name="question_once")]
        indexes = [models.Index(fields=["round", "where"]), models.Index(fields=["round", "-at"])]

    def get_absolute_url(self) -> str:
        return reverse("talk:question", args=[self.round.code, self.pk])


class Answer(Said):
    """The answer to a question, or a later addition to it: an answer is not edited once testers have read it."""

    question = models.ForeignKey(Question, on_delete=models.CASCADE, related_name="answers")
    is_addition = models.BooleanField(default=False)

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["question", "key"], name="answer_once"),
            models.UniqueConstraint(
                fields=["question"], condition=models.Q(is_addition=False), name="question_answered_once"
            ),
        ]


class Word(Said):
    """A private word between the designer and the tester of one place.

    It is for who wrote it and whom it is to, also when the pattern has another owner afterwards.
    """

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="words")
    to = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [models.UniqueConstraint(fields=["place", "key"], name="word_once")]
        indexes = [models.Index(fields=["place", "-at"])]

    def __str__(self) -> str:
        # Shown where staff look: what it says is for the two it is between.
        return f"Word about {self.place}"


class Look(models.Model):
    """When a person last looked at a round's notes or its questions or, with a place, at its private words."""

    class At(models.TextChoices):
        NOTES = "notes"
        QUESTIONS = "questions"
        WORDS = "words"

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="looks")
    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="looks")
    place = models.ForeignKey(Place, null=True, blank=True, on_delete=models.CASCADE, related_name="looks")
    what = models.CharField(max_length=10, choices=At)
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["person", "round", "what"],
                condition=models.Q(place__isnull=True),
                name="look_at_round_once",
            ),
            models.UniqueConstraint(fields=["person", "place"], name="look_at_words_once"),
        ]

    def __str__(self) -> str:
        return f"{self.what}, {self.at:%Y-%m-%d %H:%M}"


def new_token() -> str:
    return secrets.token_urlsafe(32)


class CalendarAddress(models.Model):
    """Where a person's calendar fetches their dates.

    The secret is kept as it is, not hashed: a calendar on a second device needs the same address, so the page
    has to show it again. It opens titles and dates, nothing else, and a new one takes its place at a press.
    """

    person = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="calendar_address"
    )
    token = models.CharField(max_length=64, unique=True, default=new_token)
    made = models.DateTimeField(default=timezone.now)

    class Meta:
        verbose_name_plural = "calendar addresses"

    def __str__(self) -> str:
        return f"Calendar address of {self.person}"
