from django.urls import URLPattern, URLResolver, path

from testround.outbox import views

app_name = "outbox"
urlpatterns: list[URLPattern | URLResolver] = [
    path("stop/<str:token>/", views.stop, name="stop"),
]
