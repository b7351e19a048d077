from django.urls import URLPattern, URLResolver, path

from testround.patterns import views, views_states, views_values

app_name = "patterns"
urlpatterns: list[URLPattern | URLResolver] = [
    path("", views.pattern_list, name="list"),
    path("new/", views.pattern_new, name="new"),
    path("<str:code>/", views.pattern_detail, name="detail"),
    path("<str:code>/delete/", views.pattern_remove, name="delete"),
    path("<str:code>/<int:pk>/", views.sheet, name="sheet"),
    path("<str:code>/<int:pk>/check/", views.sheet_check, name="check"),
    path("<str:code>/<int:pk>/paste/", views.sheet_paste, name="paste"),
    path("<str:code>/<int:pk>/states/", views_states.states, name="states"),
    path("<str:code>/<int:pk>/values/", views_values.values, name="values"),
    path("<str:code>/<int:pk>/values/<str:kind>/", views_values.values_file, name="values_file"),
    path("<str:code>/<int:pk>/next/", views.next_edition, name="next_edition"),
    path("<str:code>/<int:pk>/file/", views.edition_file, name="edition_file"),
]
