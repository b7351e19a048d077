from django.urls import URLPattern, URLResolver

app_name = "rounds"
urlpatterns: list[URLPattern | URLResolver] = []
