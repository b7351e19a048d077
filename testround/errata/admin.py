from __future__ import annotations

from django.contrib import admin

from testround.errata.models import Analysis, Asked, Decision, Erratum, RemarkDecision
from testround.outbox.admin import ReadOnlyAdmin


@admin.register(Analysis)
class AnalysisAdmin(ReadOnlyAdmin):
    list_display = ("round", "made", "input_hash")
    list_select_related = ("round__edition__pattern",)


@admin.register(Erratum)
class ErratumAdmin(ReadOnlyAdmin):
    """Drafts are their designer's to word, and what is published stays: nothing is changed from here."""

    list_display = ("__str__", "pattern", "edition", "place", "published_at")
    list_filter = ("published_at",)
    list_select_related = ("pattern", "edition__pattern")
    search_fields = ("pattern__title", "pattern__code", "place")


@admin.register(Decision)
class DecisionAdmin(ReadOnlyAdmin):
    list_display = ("finding_id", "round", "choice", "by", "at")
    list_filter = ("choice",)
    list_select_related = ("round__edition__pattern", "by")


@admin.register(RemarkDecision)
class RemarkDecisionAdmin(ReadOnlyAdmin):
    list_display = ("remark", "choice", "by", "at")
    list_filter = ("choice",)
    list_select_related = ("remark", "by")


@admin.register(Asked)
class AskedAdmin(ReadOnlyAdmin):
    """That a tester was asked; what was said is between the two."""

    list_display = ("__str__", "round", "at")
    list_select_related = ("round__edition__pattern",)
