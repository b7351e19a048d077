from __future__ import annotations

import uuid
from typing import Any

from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy, pgettext_lazy

from testround.kernel.round import FabricState as KernelFabricState
from testround.kernel.round import FitSays, RemarkKind
from testround.reports.models_phone import Counter as Counter
from testround.reports.models_phone import Draft as Draft
from testround.reports.models_phone import RowsCounted as RowsCounted
from testround.reports.models_phone import RunningSitting as RunningSitting
from testround.reports.models_phone import StepTick as StepTick
from testround.rounds.models import Place, Round

FABRIC_STATES = [
    (KernelFabricState.BLOCKED.value, gettext_lazy("blocked")),
    (KernelFabricState.WORKED.value, gettext_lazy("off the needles or hook")),
]


class Submission(models.Model):
    """One thing a tester sent. Its key comes from the form, so that a phone that retries reports once."""

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="submissions")
    key = models.UUIDField(default=uuid.uuid4)
    kind = models.CharField(max_length=20)
    sent = models.DateTimeField(default=timezone.now)
    late = models.BooleanField(
        default=False, help_text="It came after its date: taken all the same, and marked."
    )
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL)
    # What was typed, by the form's field, for what is kept on the place itself (body measures, yarn, guess).
    typed: models.JSONField[Any, Any] = models.JSONField(default=dict, blank=True)
    # Of the content: tells a phone that sends again from a person who went back and changed something.
    digest = models.CharField(max_length=64, blank=True)

    class Meta:
        ordering = ["-sent", "-pk"]
        constraints = [models.UniqueConstraint(fields=["place", "key"], name="submission_once")]

    def __str__(self) -> str:
        return f"{self.kind} from {self.place}"


class Reported(models.Model):
    """What all reported things share. A correction supersedes the earlier row, which is kept."""

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="%(class)s_rows")
    submission = models.ForeignKey(
        Submission, null=True, blank=True, on_delete=models.CASCADE, related_name="%(class)s_rows"
    )
    # What the person typed, by field, where the program keeps another unit ("36 1/4 in").
    typed: models.JSONField[Any, Any] = models.JSONField(default=dict, blank=True)
    sent = models.DateTimeField(default=timezone.now)
    superseded_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        abstract = True
        ordering = ["pk"]


class Swatch(Reported):
    gauge = models.CharField(max_length=60)
    state = models.CharField(max_length=10, choices=FABRIC_STATES)
    tool_mm = models.FloatField(null=True, blank=True)
    width = models.FloatField(null=True, blank=True)
    stitches = models.FloatField(null=True, blank=True)
    height = models.FloatField(null=True, blank=True)
    rows = models.FloatField(null=True, blank=True)

    class Meta(Reported.Meta):
        verbose_name_plural = "swatches"

    def __str__(self) -> str:
        return f"Swatch of {self.gauge}, {self.state}"


class Count(Reported):
    number = models.CharField(max_length=60)
    worked = models.FloatField()

    def __str__(self) -> str:
        return f"{self.number}: {self.worked:g}"


class Finished(Reported):
    """Repeat readings of one finished measurement, in centimetres, in the order taken."""

    dimension = models.CharField(max_length=60)
    state = models.CharField(max_length=10, choices=FABRIC_STATES)
    values: models.JSONField[Any, Any] = models.JSONField()

    class Meta(Reported.Meta):
        verbose_name = "finished measurement"

    def __str__(self) -> str:
        return f"{self.dimension}, {self.state}"


class Sitting(Reported):
    part = models.CharField(max_length=60, null=True, blank=True)
    hours = models.FloatField()
    done = models.FloatField(null=True, blank=True)
    # The day it was logged, at the tester's; a correction keeps it. A round file carries none.
    day = models.DateField(null=True, blank=True)

    def __str__(self) -> str:
        return f"{self.hours:g} hours on {self.part or 'the piece'}"


class Remark(Reported):
    KINDS = [
        (RemarkKind.WRONG_NUMBER.value, gettext_lazy("a number is wrong")),
        (RemarkKind.UNCLEAR.value, gettext_lazy("unclear")),
        (RemarkKind.MISSING.value, gettext_lazy("something is missing")),
        (RemarkKind.TYPO.value, gettext_lazy("typing error")),
        (RemarkKind.FIT.value, pgettext_lazy("a kind of remark", "fit")),
    ]

    where = models.CharField(max_length=200, null=True, blank=True, help_text="Place in the text.")
    kind = models.CharField(max_length=12, choices=KINDS)
    text = models.TextField(max_length=5000)

    def __str__(self) -> str:
        return self.text[:60]


class Fit(Reported):
    SAYS = [
        (FitSays.TOO_SMALL.value, gettext_lazy("too small")),
        (FitSays.RIGHT.value, pgettext_lazy("how it fits", "right")),
        (FitSays.TOO_LARGE.value, gettext_lazy("too large")),
    ]

    dimension = models.CharField(max_length=60)
    says = models.CharField(max_length=10, choices=SAYS)

    def __str__(self) -> str:
        return f"{self.dimension}: {self.says}"


def photo_path(photo: Photo, name: str) -> str:
    return f"photos/{photo.code}/{name}"


class Photo(Reported):
    """A photo of the work. Only re-encoded pixels are kept; what it told of place and time is dropped."""

    class State(models.TextChoices):
        WAITING = "waiting"
        READY = "ready"
        REFUSED = "refused"

    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(max_length=120, help_text="File name in an export.")
    caption = models.CharField(max_length=500, null=True, blank=True)
    dimension = models.CharField(
        max_length=60,
        blank=True,
        help_text="Key of the measurement it shows; empty for the whole, or another.",
    )
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    problem = models.CharField(max_length=300, blank=True)
    # The upload as it came, until it has been re-encoded; then deleted. Never served.
    incoming = models.FileField(upload_to="incoming/", blank=True, max_length=200)
    original = models.FileField(upload_to=photo_path, blank=True, max_length=200)
    sha256 = models.CharField(max_length=64, blank=True, help_text="Of the re-encoded original.")
    width = models.PositiveIntegerField(null=True, blank=True)
    height = models.PositiveIntegerField(null=True, blank=True)

    def __str__(self) -> str:
        return self.caption or self.name


class Rendition(models.Model):
    """A photo at one width."""

    photo = models.ForeignKey(Photo, on_delete=models.CASCADE, related_name="renditions")
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    file = models.FileField(upload_to="photos/", max_length=200)

    class Meta:
        ordering = ["width"]
        constraints = [models.UniqueConstraint(fields=["photo", "width"], name="rendition_once")]

    def __str__(self) -> str:
        return f"{self.photo} at {self.width}"


class CallPicture(models.Model):
    """A picture of the piece on the page of a round's call, from its designer: re-encoded like a photo."""

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="call_pictures")
    code = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    # Of the form that sent it, so that a press repeated by the same page sends it once.
    key = models.UUIDField(default=uuid.uuid4)
    shows = models.CharField(
        max_length=300, help_text="What is to be seen in it, for those who do not see it."
    )
    state = models.CharField(max_length=10, choices=Photo.State, default=Photo.State.WAITING)
    problem = models.CharField(max_length=300, blank=True)
    # The upload as it came, until it has been re-encoded; then deleted. Never served.
    incoming = models.FileField(upload_to="incoming/", blank=True, max_length=200)
    file = models.FileField(upload_to="calls/", blank=True, max_length=200)
    width = models.PositiveIntegerField(null=True, blank=True)
    height = models.PositiveIntegerField(null=True, blank=True)
    created = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["round", "key"], name="call_picture_once")]

    def __str__(self) -> str:
        return self.shows
