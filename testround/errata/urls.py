from django.urls import URLPattern, URLResolver

app_name = "errata"
urlpatterns: list[URLPattern | URLResolver] = []
