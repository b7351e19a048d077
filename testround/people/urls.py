from django.urls import URLPattern, URLResolver, path

from testround.people import views

app_name = "people"
urlpatterns: list[URLPattern | URLResolver] = [
    path("preferences/", views.preferences, name="preferences"),
    path("parts/", views.parts, name="parts"),
]
