from django.urls import URLPattern, URLResolver, path

from testround.talk import views

app_name = "talk"
urlpatterns: list[URLPattern | URLResolver] = [
    path("rounds/<slug:code>/notes/", views.notes, name="notes"),
    path("rounds/<slug:code>/notes/new/", views.note_new, name="note_new"),
    path("rounds/<slug:code>/questions/", views.questions, name="questions"),
    path("rounds/<slug:code>/questions/<int:pk>/", views.question, name="question"),
    path("rounds/<slug:code>/questions/<int:pk>/answer/", views.answer, name="answer"),
    path("rounds/<slug:code>/questions/<int:pk>/to-desk/", views.to_desk, name="to_desk"),
    path("places/<int:pk>/ask/", views.ask, name="ask"),
    path("places/<int:pk>/words/", views.words, name="words"),
    path("me/calendar/", views.calendar, name="calendar"),
    path("me/calendar/renew/", views.calendar_renew, name="calendar_renew"),
    path("me/calendar/stop/", views.calendar_stop, name="calendar_stop"),
    path("calendar/<slug:token>.ics", views.feed, name="feed"),
]
