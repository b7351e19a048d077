from django.urls import include, path

from testround.api import views

app_name = "api"
urlpatterns = [
    path("", views.documentation, name="documentation"),
    path("reference/<slug:slug>/", views.subject, name="subject"),
    path("schema/<slug:document>.json", views.schema, name="schema"),
    path("v1/openapi.json", views.openapi, name="openapi"),
    path("v1/", include("testround.api.v1.urls")),
]
