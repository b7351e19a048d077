from __future__ import annotations

from django.contrib import admin

from testround.outbox.admin import ReadOnlyAdmin
from testround.rounds.models import (
    Candidate,
    Consent,
    DiaryEntry,
    Invitation,
    MailDay,
    Nudge,
    OfferLink,
    Place,
    Proposal,
    Reminder,
    Round,
    SuppliedYarn,
    Vacancy,
)


@admin.register(Round)
class RoundAdmin(ReadOnlyAdmin):
    list_display = ("title", "edition", "state", "opens", "closes", "created")
    list_filter = ("state",)
    list_select_related = ("edition__pattern",)
    search_fields = ("title", "code", "edition__pattern__title")


@admin.register(Place)
class PlaceAdmin(ReadOnlyAdmin):
    """Body measurements are private: they are not shown to the staff of a server."""

    list_display = ("name", "round", "size", "state", "changed")
    list_filter = ("state",)
    list_select_related = ("round__edition__pattern",)
    search_fields = ("name", "round__code", "tester__email")
    exclude = ("measures",)


@admin.register(Candidate)
class CandidateAdmin(ReadOnlyAdmin):
    list_display = ("name", "round", "answered")
    list_select_related = ("round__edition__pattern",)
    exclude = ("measures", "typed")


@admin.register(SuppliedYarn)
class SuppliedYarnAdmin(ReadOnlyAdmin):
    list_display = ("label", "round", "makers")
    list_select_related = ("round__edition__pattern",)


@admin.register(Invitation)
class InvitationAdmin(ReadOnlyAdmin):
    list_display = ("place", "email", "created", "expires", "used_at", "withdrawn_at")
    list_select_related = ("place",)
    exclude = ("secret_hash",)


@admin.register(DiaryEntry)
class DiaryEntryAdmin(ReadOnlyAdmin):
    list_display = ("at", "round", "by", "text")
    list_select_related = ("round__edition__pattern", "by")
    search_fields = ("text", "round__code")


@admin.register(Consent)
class ConsentAdmin(ReadOnlyAdmin):
    list_display = ("place", "kind", "given_at", "withdrawn_at")
    list_select_related = ("place__round__edition__pattern",)
    list_filter = ("kind",)


@admin.register(OfferLink)
class OfferLinkAdmin(ReadOnlyAdmin):
    list_display = ("candidate", "kind", "created", "expires", "used_at")
    list_select_related = ("candidate",)
    exclude = ("secret_hash",)


@admin.register(Proposal)
class ProposalAdmin(ReadOnlyAdmin):
    list_display = ("round", "created", "revision", "accepted_at")
    list_select_related = ("round__edition__pattern",)


@admin.register(Vacancy)
class VacancyAdmin(ReadOnlyAdmin):
    list_display = ("place", "state", "candidate", "size")
    list_select_related = ("place", "candidate")
    list_filter = ("state",)


@admin.register(MailDay)
class MailDayAdmin(ReadOnlyAdmin):
    list_display = ("person", "day", "at")
    list_select_related = ("person",)


@admin.register(Reminder)
class ReminderAdmin(ReadOnlyAdmin):
    list_display = ("place", "what", "when", "due")
    list_select_related = ("place",)


@admin.register(Nudge)
class NudgeAdmin(ReadOnlyAdmin):
    list_display = ("place", "day", "by")
    list_select_related = ("place", "by")
