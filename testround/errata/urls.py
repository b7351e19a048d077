from django.urls import URLPattern, URLResolver, path

from testround.errata import desk_views, draft_views, public_views, readers_views, views

app_name = "errata"
urlpatterns: list[URLPattern | URLResolver] = [
    path("rounds/<str:code>/results/", views.results, name="results"),
    path("rounds/<str:code>/report/", views.report, name="report"),
    path("rounds/<str:code>/results/report.pdf", views.report_pdf, name="report_pdf"),
    path("rounds/<str:code>/results/findings.json", views.findings, name="findings"),
    path("rounds/<str:code>/results/<slug:dimension>/", views.dimension, name="dimension"),
    path("rounds/<str:code>/gauges/", views.gauges, name="gauges"),
    path("rounds/<str:code>/yarn-and-hours/", views.amounts, name="amounts"),
    path("rounds/<str:code>/desk/", desk_views.desk, name="desk"),
    path("rounds/<str:code>/desk/accept/", desk_views.accept, name="accept"),
    path("rounds/<str:code>/desk/decline/", desk_views.decline, name="decline"),
    path("rounds/<str:code>/desk/undo/", desk_views.undo, name="undo"),
    path("rounds/<str:code>/desk/remarks/", desk_views.from_remarks, name="from_remarks"),
    path("rounds/<str:code>/desk/merge/", desk_views.merge, name="merge"),
    path("rounds/<str:code>/desk/next-edition/", draft_views.next_edition, name="next_edition"),
    path("rounds/<str:code>/desk/<int:pk>/", draft_views.draft, name="draft"),
    path("rounds/<str:code>/desk/<int:pk>/preview/", draft_views.preview, name="preview"),
    path("rounds/<str:code>/desk/<int:pk>/publish/", draft_views.publish, name="publish"),
    path("rounds/<str:code>/desk/<int:pk>/complete/", draft_views.complete, name="complete"),
    path("rounds/<str:code>/desk/<int:pk>/discard/", draft_views.discard, name="discard"),
    path("patterns/<str:code>/readers/", readers_views.readers, name="readers"),
    path("patterns/<str:code>/readers/<int:pk>/", readers_views.release, name="release"),
    path("errata/<str:code>/", public_views.errata_list, name="list"),
    path("errata/<str:code>/errata.pdf", public_views.pdf, name="pdf"),
    path("errata/<str:code>/errata.json", public_views.document, name="document"),
    path("errata/<str:code>/errata.atom", public_views.atom, name="feed"),
    path("errata/<str:code>/errata.txt", public_views.as_text, name="text"),
    path("errata/<str:code>/embed/", public_views.embed, name="embed"),
    path("errata/<str:code>/editions/<int:pk>/", public_views.edition, name="edition"),
    path("errata/<str:code>/<int:number>/", public_views.erratum, name="erratum"),
    path("errata/<str:code>/<int:number>/erratum.txt", public_views.erratum_as_text, name="erratum_text"),
]
