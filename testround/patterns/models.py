from __future__ import annotations

import secrets
import uuid
from typing import Any

from django.conf import settings
from django.db import models
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.sheet import Sheet
from testround.patterns.compiled import compiled, document_of


def new_code() -> str:
    """A short random name for an address: eleven characters, 64 bits, nothing to guess."""
    return secrets.token_urlsafe(8)


class Pattern(models.Model):
    """A design, owned by its designer. Its numbers live on its editions."""

    owner = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="patterns")
    code = models.CharField(max_length=16, unique=True, default=new_code, editable=False)
    title = models.CharField(max_length=200)
    # The sites, as in "https://example.org", that may show its published errata in a frame; none at first.
    frame_origins: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    created = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-created", "-pk"]

    def __str__(self) -> str:
        return self.title

    def get_absolute_url(self) -> str:
        return reverse("patterns:detail", args=[self.code])


class Edition(models.Model):
    """One numbered version of a pattern's text and numbers.

    ``sheet`` is the ``pattern`` object of a round file, validated by the same model. It is frozen once a
    round has opened on it: a correction makes a new edition.
    """

    class Terms(models.TextChoices):
        US = "us", _("US terms")
        UK = "uk", _("UK terms")

    pattern = models.ForeignKey(Pattern, on_delete=models.CASCADE, related_name="editions")
    label = models.CharField(max_length=200)
    sheet: models.JSONField[Any, Any] = models.JSONField()
    # Counts the saves, so that two people editing one sheet do not overwrite each other.
    revision = models.PositiveIntegerField(default=1)
    terms = models.CharField(max_length=2, choices=Terms, default=Terms.US)
    created = models.DateTimeField(default=timezone.now)
    frozen_at = models.DateTimeField(null=True, blank=True)
    # Since when readers have it. Until then it is not to be guessed, unless a round has opened on it.
    released_at = models.DateTimeField(null=True, blank=True)
    # Numbers of the pattern's errata on other editions whose change of words its text has already, by its designer's
    # word; whether it has their numbers is read off its sheet.
    corrected: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ["-created", "-pk"]
        constraints = [models.UniqueConstraint(fields=["pattern", "label"], name="edition_label_once")]

    def __str__(self) -> str:
        return f"{self.pattern.title}, edition {self.label}"

    def get_absolute_url(self) -> str:
        return reverse("patterns:sheet", args=[self.pattern.code, self.pk])

    @property
    def is_frozen(self) -> bool:
        return self.frozen_at is not None

    @property
    def is_released(self) -> bool:
        return self.released_at is not None

    @property
    def document(self) -> SheetDocument:
        """The sheet as the kernel sees it."""
        return document_of(self.sheet)

    @property
    def compiled(self) -> Sheet:
        """The same, ready to be computed. Raises `SheetError` where it cannot be."""
        return compiled(self.sheet)


class SheetState(models.Model):
    """An edition's sheet as one save left it, so that it can be gone back to: who saved it, and when.

    The newest few of an edition are kept, the sheet's present state among them.
    """

    class Way(models.TextChoices):
        TYPED = "typed", _("typed")
        FILE = "file", _("from a spreadsheet file")
        BACK = "back", _("gone back to an earlier state")

    edition = models.ForeignKey(Edition, on_delete=models.CASCADE, related_name="states")
    # The revision of the edition that the save made.
    revision = models.PositiveIntegerField()
    # Where one step back leads: the revision before it, or, of one gone back to, the one before that.
    before = models.PositiveIntegerField(null=True, blank=True)
    way = models.CharField(max_length=5, choices=Way, default=Way.TYPED)
    sheet: models.JSONField[Any, Any] = models.JSONField()
    terms = models.CharField(max_length=2, choices=Edition.Terms)
    saved_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    saved_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-revision"]
        constraints = [models.UniqueConstraint(fields=["edition", "revision"], name="sheet_state_once")]

    def __str__(self) -> str:
        return f"{self.edition_id}, state {self.revision}"


class Membership(models.Model):
    """A person's part in a pattern and all its rounds, beside its owner; first an invitation, then held.

    On the pattern and not on a round, because the sheet is the pattern's, and the errata are: who edits
    one round edits both. Only a hash of the invitation's secret is kept.
    """

    class Role(models.TextChoices):
        OWNER = "owner", _("Owner: the pattern and its rounds become theirs")
        EDITOR = "editor", _("Editor: sees and edits all, publishes and invites nobody")
        ONLOOKER = "onlooker", _("Onlooker: sees how the rounds stand, no measurements, photos or words")

    pattern = models.ForeignKey(Pattern, on_delete=models.CASCADE, related_name="memberships")
    role = models.CharField(max_length=10, choices=Role)
    # Whom the link was mailed to; nobody else can use it.
    email = models.EmailField()
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.CASCADE, related_name="memberships"
    )
    key = models.UUIDField(default=uuid.uuid4, help_text="Of the form, so that a double press invites once.")
    secret_hash = models.CharField(max_length=64, unique=True)
    invited_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    invited_at = models.DateTimeField(default=timezone.now)
    expires = models.DateTimeField()
    joined_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["pattern", "key"], name="membership_form_once"),
            models.UniqueConstraint(
                fields=["pattern", "user"],
                condition=models.Q(ended_at__isnull=True, user__isnull=False),
                name="membership_held_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.role} of {self.pattern}"
