from __future__ import annotations

from django.contrib import admin

from testround.outbox.admin import ReadOnlyAdmin
from testround.talk.models import Answer, CalendarAddress, Look, Note, Question, Word


@admin.register(Note)
class NoteAdmin(ReadOnlyAdmin):
    list_display = ("at", "round", "by", "text")
    list_select_related = ("round__edition__pattern", "by")
    search_fields = ("round__code",)


@admin.register(Question)
class QuestionAdmin(ReadOnlyAdmin):
    list_display = ("at", "round", "where", "text", "to_desk_at")
    list_select_related = ("round__edition__pattern",)
    raw_id_fields = ("place", "remark")
    search_fields = ("round__code", "where")


@admin.register(Answer)
class AnswerAdmin(ReadOnlyAdmin):
    list_display = ("at", "question", "by", "is_addition")
    list_select_related = ("question", "by")


@admin.register(Word)
class WordAdmin(ReadOnlyAdmin):
    """That there is a word; what it says is for the two it is between."""

    list_display = ("at", "place", "by")
    list_display_links = None
    list_select_related = ("place", "by")
    exclude = ("text",)


@admin.register(CalendarAddress)
class CalendarAddressAdmin(ReadOnlyAdmin):
    list_display = ("person", "made")
    list_select_related = ("person",)
    exclude = ("token",)


@admin.register(Look)
class LookAdmin(ReadOnlyAdmin):
    list_display = ("at", "round", "person", "what")
    list_select_related = ("round__edition__pattern", "person")
