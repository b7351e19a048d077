"""Addresses of what is said in a round, of who hears of a pattern’s errata, and of a person’s own account."""

from __future__ import annotations

from django.urls import path

from testround.api.v1 import account, calendar, preferences, talk, webhooks

HOOK = "patterns/<str:code>/webhooks/<uuid:key>"

urlpatterns = [
    path("rounds/<str:code>/notes", talk.Notes.as_view(), name="notes"),
    path("rounds/<str:code>/questions", talk.Questions.as_view(), name="questions"),
    path("rounds/<str:code>/questions/<int:id>", talk.OneQuestion.as_view(), name="question"),
    path("rounds/<str:code>/questions/<int:id>/answer", talk.AnswerQuestion.as_view(), name="answer"),
    path("rounds/<str:code>/questions/<int:id>/to-desk", talk.QuestionToDesk.as_view(), name="to_desk"),
    path("places/<int:id>/questions", talk.Ask.as_view(), name="ask"),
    path("places/<int:id>/words", talk.Words.as_view(), name="words"),
    path("patterns/<str:code>/following", webhooks.Following.as_view(), name="following"),
    path("patterns/<str:code>/webhooks", webhooks.Webhooks.as_view(), name="webhooks"),
    path(HOOK, webhooks.OneWebhook.as_view(), name="webhook"),
    path(f"{HOOK}/pause", webhooks.Pause.as_view(), name="webhook_pause"),
    path(f"{HOOK}/resume", webhooks.Resume.as_view(), name="webhook_resume"),
    path(f"{HOOK}/secret", webhooks.RenewSecret.as_view(), name="webhook_secret"),
    path(f"{HOOK}/test", webhooks.Trial.as_view(), name="webhook_test"),
    path(f"{HOOK}/deliveries", webhooks.Deliveries.as_view(), name="deliveries"),
    path(f"{HOOK}/deliveries/<int:id>/again", webhooks.DeliveryAgain.as_view(), name="delivery_again"),
    path("me/held", account.Held.as_view(), name="held"),
    path("me/held/file", account.HeldFile.as_view(), name="held_file"),
    path("me/preferences", preferences.Preferences.as_view(), name="preferences"),
    path("me/calendar", calendar.Calendar.as_view(), name="calendar"),
    path("me/calendar/days", calendar.Days.as_view(), name="calendar_days"),
    path("me/calendar.ics", calendar.CalendarFile.as_view(), name="calendar_file"),
]
