from django.urls import URLPattern, URLResolver, path

from testround.following import views, views_pattern

app_name = "following"
urlpatterns: list[URLPattern | URLResolver] = [
    path("errata/<str:code>/follow/", views.follow, name="follow"),
    path("errata/<str:code>/follow/asked/", views.asked, name="asked"),
    path("following/confirm/<str:token>/", views.confirm, name="confirm"),
    path("following/leave/<str:token>/", views.leave, name="leave"),
    path("patterns/<str:code>/following/", views_pattern.following, name="pattern"),
    path("patterns/<str:code>/following/<uuid:key>/", views_pattern.webhook, name="webhook"),
    path("patterns/<str:code>/following/<uuid:key>/test/", views_pattern.webhook_test, name="webhook_test"),
    path(
        "patterns/<str:code>/following/<uuid:key>/secret/",
        views_pattern.webhook_secret,
        name="webhook_secret",
    ),
    path(
        "patterns/<str:code>/following/<uuid:key>/pause/", views_pattern.webhook_pause, name="webhook_pause"
    ),
    path(
        "patterns/<str:code>/following/<uuid:key>/resume/",
        views_pattern.webhook_resume,
        name="webhook_resume",
    ),
    path(
        "patterns/<str:code>/following/<uuid:key>/remove/",
        views_pattern.webhook_remove,
        name="webhook_remove",
    ),
    path(
        "patterns/<str:code>/following/<uuid:key>/<int:pk>/again/",
        views_pattern.delivery_again,
        name="delivery_again",
    ),
]
