from __future__ import annotations

from django.contrib import admin

from testround.outbox.admin import ReadOnlyAdmin
from testround.reports.models import (
    CallPicture,
    Count,
    Counter,
    Draft,
    Finished,
    Fit,
    Photo,
    Remark,
    RowsCounted,
    RunningSitting,
    Sitting,
    StepTick,
    Submission,
    Swatch,
)


class ReportedAdmin(ReadOnlyAdmin):
    """A reported row; a correction supersedes it and both are kept."""

    list_display: tuple[str, ...] = ("__str__", "place", "sent", "superseded_at")
    list_select_related = ("place",)
    raw_id_fields = ("place", "submission")


admin.site.register([Count, Finished, Fit, Remark, Sitting, Swatch], ReportedAdmin)


@admin.register(Photo)
class PhotoAdmin(ReportedAdmin):
    """That there is a photo and whether it was taken in; the picture is its tester's and the designer's to see."""

    list_display = ("name", "place", "state", "problem", "sent")
    list_filter = ("state",)
    exclude = ("incoming", "original")


@admin.register(Submission)
class SubmissionAdmin(ReadOnlyAdmin):
    list_display = ("kind", "place", "sent", "late", "by")
    list_filter = ("kind", "late")
    list_select_related = ("place", "by")
    # Body measurements stand there as they were typed, and by its digest they could be guessed.
    exclude = ("typed", "digest")


@admin.register(CallPicture)
class CallPictureAdmin(ReadOnlyAdmin):
    list_display = ("round", "shows", "state", "problem", "created")
    list_select_related = ("round__edition__pattern",)
    exclude = ("incoming", "file")


@admin.register(Counter)
class CounterAdmin(ReadOnlyAdmin):
    list_display = ("place", "made", "goal", "closed_at")
    list_select_related = ("place",)
    # In the tester's own words.
    exclude = ("label",)


@admin.register(RowsCounted)
class RowsCountedAdmin(ReadOnlyAdmin):
    list_display = ("place", "rows", "at")
    list_select_related = ("place",)
    exclude = ("counter",)


@admin.register(StepTick)
class StepTickAdmin(ReadOnlyAdmin):
    list_display = ("place", "number", "done", "at")
    list_select_related = ("place",)


@admin.register(Draft)
class DraftAdmin(ReadOnlyAdmin):
    """That there is a draft; what is in it is its writer's alone until it is sent."""

    list_display = ("place", "form", "at", "revision")
    list_select_related = ("place",)
    exclude = ("values",)


@admin.register(RunningSitting)
class RunningSittingAdmin(ReadOnlyAdmin):
    list_display = ("place", "started_at", "part")
    list_select_related = ("place",)
