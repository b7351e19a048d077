from __future__ import annotations

from django.contrib import admin

from testround.outbox.admin import ReadOnlyAdmin
from testround.reports.models import (
    CallPicture,
    Count,
    Finished,
    Fit,
    Photo,
    Remark,
    Sitting,
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


@admin.register(CallPicture)
class CallPictureAdmin(ReadOnlyAdmin):
    list_display = ("round", "shows", "state", "problem", "created")
    list_select_related = ("round__edition__pattern",)
    exclude = ("incoming", "file")
