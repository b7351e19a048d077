from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import models
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from testround.patterns.models import Edition, Pattern
from testround.reports.models import Remark
from testround.rounds.models import Round
from testround.talk.models import Word


class Analysis(models.Model):
    """What the kernel said of a round, kept under a hash of what it read."""

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="analyses")
    input_hash = models.CharField(
        max_length=64, help_text="SHA-256 of the round file it read, and of the program that read it."
    )
    document: models.JSONField[Any, Any] = models.JSONField(help_text="The findings file.")
    made = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-made", "-pk"]
        verbose_name_plural = "analyses"
        constraints = [models.UniqueConstraint(fields=["round", "input_hash"], name="analysis_once")]

    def __str__(self) -> str:
        return f"{self.round}, {self.made:%Y-%m-%d %H:%M}"


class PublishedForGood(Exception):
    """Someone tried to change or remove an erratum that readers may already have acted on."""

    def __init__(self) -> None:
        super().__init__(
            _("A published erratum is never changed or removed. Publish a further one that puts it right.")
        )


class ErratumQuerySet(models.QuerySet["Erratum"]):
    def published(self) -> ErratumQuerySet:
        return self.filter(published_at__isnull=False)

    def drafts(self) -> ErratumQuerySet:
        return self.filter(published_at__isnull=True)

    def update(self, **values: Any) -> int:
        if self.published().exists():
            raise PublishedForGood
        return super().update(**values)

    def delete(self) -> tuple[int, dict[str, int]]:
        if self.published().exists():
            raise PublishedForGood
        return super().delete()

    # As Django's own: a queryset method that templates must not call.
    delete.alters_data = True  # type: ignore[attr-defined]
    update.alters_data = True  # type: ignore[attr-defined]


class Erratum(models.Model):
    """One correction: a draft on the desk, then numbered, published and never changed again.

    The model refuses a change to a published erratum with a sentence; triggers in the database (see the
    migrations) refuse it to everything else, and a word that it corrects what is not published of its pattern.
    """

    pattern = models.ForeignKey(Pattern, on_delete=models.PROTECT, related_name="errata")
    edition = models.ForeignKey(Edition, on_delete=models.PROTECT, related_name="errata")
    round = models.ForeignKey(Round, null=True, blank=True, on_delete=models.SET_NULL, related_name="errata")
    number = models.PositiveIntegerField(null=True, blank=True)
    place = models.CharField(max_length=200, help_text="Where in the text: section and step.")
    # The sizes whose copies are affected; empty for every size, and for a pattern that has no sizes.
    sizes: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    # What stands in the edition and what should, one entry for each number that changes; none for a change of
    # words. {"subject": sheet key, "label", "place", "unit", "was": {size: value}, "now": {size: value},
    # "finding": id of the finding it came from, or ""}. A gauge has "stitches" or "rows" in place of a size.
    changes: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    text = models.TextField(max_length=5000, help_text="The correction, as a reader sees it.")
    why = models.TextField(max_length=5000, blank=True)
    remarks: models.ManyToManyField[Remark, Any] = models.ManyToManyField(
        Remark, blank=True, related_name="errata"
    )
    # The published erratum of the same pattern that this one puts right, where it says so.
    corrects = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="corrected_by"
    )
    created = models.DateTimeField(default=timezone.now)
    published_at = models.DateTimeField(null=True, blank=True)
    published_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    objects = ErratumQuerySet.as_manager()

    class Meta:
        ordering = ["number", "pk"]
        verbose_name_plural = "errata"
        constraints = [
            models.UniqueConstraint(fields=["pattern", "number"], name="erratum_number_once"),
            models.CheckConstraint(
                condition=models.Q(number__isnull=True, published_at__isnull=True)
                | models.Q(number__isnull=False, published_at__isnull=False),
                name="erratum_numbered_when_published",
            ),
            models.CheckConstraint(
                condition=models.Q(corrects__isnull=True) | ~models.Q(corrects=models.F("id")),
                name="erratum_corrects_another",
            ),
        ]

    def __str__(self) -> str:
        if self.number:
            return _("Erratum {number}").format(number=self.number)
        return _("Draft: {text}").format(text=self.text[:60])

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding and Erratum.objects.published().filter(pk=self.pk).exists():
            raise PublishedForGood
        super().save(*args, **kwargs)

    def get_absolute_url(self) -> str:
        return reverse("errata:erratum", args=[self.pattern.code, self.number])

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        if Erratum.objects.published().filter(pk=self.pk).exists():
            raise PublishedForGood
        return super().delete(*args, **kwargs)

    @property
    def is_published(self) -> bool:
        return self.published_at is not None


class Decision(models.Model):
    """What the designer decided of one finding: kept with the finding as it stood then."""

    class Choice(models.TextChoices):
        ACCEPTED = "accepted", gettext_lazy("Accepted")
        DECLINED = "declined", gettext_lazy("Declined")
        # Until something about the finding changes, or somebody takes it up again.
        WAITING = "waiting", gettext_lazy("Waiting for more evidence")

    # Findings that were merged share their erratum.
    erratum = models.ForeignKey(
        Erratum, null=True, blank=True, on_delete=models.SET_NULL, related_name="decisions"
    )
    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="decisions")
    finding_id = models.CharField(max_length=300)
    choice = models.CharField(max_length=10, choices=Choice)
    reason = models.TextField(max_length=2000, blank=True)
    finding: models.JSONField[Any, Any] = models.JSONField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL)
    at = models.DateTimeField(default=timezone.now)
    # Since when the analysis says otherwise; null while it says the same.
    changed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["round", "finding_id"], name="decision_once")]

    def __str__(self) -> str:
        return f"{self.finding_id}: {self.choice}"


class RemarkDecision(models.Model):
    """What the designer decided of one remark that went into no erratum."""

    class Choice(models.TextChoices):
        DECLINED = "declined", gettext_lazy("Declined")
        # Until somebody else remarks on the same place, or somebody takes it up again.
        WAITING = "waiting", gettext_lazy("Waiting for more evidence")

    remark = models.OneToOneField(Remark, on_delete=models.CASCADE, related_name="decision")
    choice = models.CharField(max_length=10, choices=Choice)
    reason = models.TextField(max_length=2000, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+")
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.remark_id}: {self.choice}"


class Asked(models.Model):
    """A tester was asked about a finding, or about a remark of theirs, in a private word; it goes when that goes."""

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="asked_testers")
    finding_id = models.CharField(max_length=300, blank=True)
    remark = models.ForeignKey(Remark, null=True, blank=True, on_delete=models.CASCADE, related_name="asked")
    word = models.ForeignKey(Word, on_delete=models.CASCADE, related_name="asked")
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["at", "pk"]
        verbose_name_plural = "asked"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(remark__isnull=True) | models.Q(finding_id=""), name="asked_about_one"
            ),
        ]

    def __str__(self) -> str:
        return self.finding_id or f"remark {self.remark_id}"
