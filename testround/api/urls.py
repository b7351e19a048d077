from django.urls import path

from testround.api import views

app_name = "api"
urlpatterns = [path("schema/<slug:document>.json", views.schema, name="schema")]
