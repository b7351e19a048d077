from django.urls import URLPattern, URLResolver, path

from testround.people import views, views_held

app_name = "people"
urlpatterns: list[URLPattern | URLResolver] = [
    path("preferences/", views.preferences, name="preferences"),
    path("held/", views_held.held, name="held"),
    path("held/download/", views_held.held_download, name="held_download"),
    path("erase/", views_held.erase, name="erase"),
]
