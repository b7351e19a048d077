from django.urls import URLPattern, URLResolver, path

from testround.following import views, views_pattern

app_name = "following"
urlpatterns: list[URLPattern | URLResolver] = [
    path("errata/<str:code>/follow/", views.follow, name="follow"),
    path("errata/<str:code>/follow/asked/", views.asked, name="asked"),
    path("following/confirm/<str:token>/", views.confirm, name="confirm"),
    path("following/leave/<str:token>/", views.leave, name="leave"),
    path("patterns/<str:code>/following/", views_pattern.following, name="pattern"),
]
