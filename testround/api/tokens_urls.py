from django.urls import path

from testround.api import tokens_views

app_name = "tokens"
urlpatterns = [
    path("", tokens_views.tokens, name="list"),
    path("<int:pk>/revoke/", tokens_views.revoke, name="revoke"),
]
