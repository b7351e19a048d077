from django.urls import URLPattern, URLResolver

app_name = "patterns"
urlpatterns: list[URLPattern | URLResolver] = []
