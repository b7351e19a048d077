from django.urls import URLPattern, URLResolver, path

from testround.people import views, views_held, views_sessions

app_name = "people"
urlpatterns: list[URLPattern | URLResolver] = [
    path("preferences/", views.preferences, name="preferences"),
    path("held/", views_held.held, name="held"),
    path("held/download/", views_held.held_download, name="held_download"),
    path("erase/", views_held.erase, name="erase"),
    path("signed-in/", views_sessions.signed_in, name="signed_in"),
    path("signed-in/<int:pk>/end/", views_sessions.end_one, name="session_end"),
    path("signed-in/end-others/", views_sessions.end_others, name="sessions_end_others"),
    path("signed-in/end-all/", views_sessions.end_all, name="sessions_end_all"),
]
