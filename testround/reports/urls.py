from django.urls import URLPattern, URLResolver, path

from testround.reports import views, views_call, views_measuring, views_phone

app_name = "reports"
urlpatterns: list[URLPattern | URLResolver] = [
    path("places/", views.places, name="places"),
    path("places/worker.js", views_phone.worker, name="worker"),
    path("places/token/", views_phone.token, name="token"),
    path("places/<int:pk>/", views.place, name="place"),
    path("places/<int:pk>/swatch/", views.swatch, name="swatch"),
    path("places/<int:pk>/counts/", views.counts, name="counts"),
    path("places/<int:pk>/counting/", views_phone.counting, name="counting"),
    path("places/<int:pk>/counting/events/", views_phone.counting_events, name="counting_events"),
    path("places/<int:pk>/draft/", views_phone.draft, name="draft"),
    path("places/<int:pk>/draft/afresh/", views_phone.draft_afresh, name="draft_afresh"),
    path("places/<int:pk>/timer/start/", views_phone.timer_start, name="timer_start"),
    path("places/<int:pk>/timer/stop/", views_phone.timer_stop, name="timer_stop"),
    path("places/<int:pk>/timer/drop/", views_phone.timer_drop, name="timer_drop"),
    path("places/<int:pk>/finished/", views.finished, name="finished"),
    path(
        "places/<int:pk>/finished/<slug:key>/question/",
        views_measuring.finished_question,
        name="finished_question",
    ),
    path("places/<int:pk>/sitting/", views.sitting, name="sitting"),
    path("places/<int:pk>/remark/", views.remark, name="remark"),
    path("places/<int:pk>/fit/", views.fit, name="fit"),
    path("places/<int:pk>/guess/", views.guess, name="guess"),
    path("places/<int:pk>/yarn/", views.yarn, name="yarn"),
    path("places/<int:pk>/measures/", views.measures, name="measures"),
    path(
        "places/<int:pk>/measures/<slug:key>/question/",
        views_measuring.measure_question,
        name="measure_question",
    ),
    path("places/<int:pk>/photo/", views.photo_new, name="photo_new"),
    path("places/<int:pk>/photo/<uuid:code>/remove/", views.photo_gone, name="photo_gone"),
    path("places/<int:pk>/consents/", views.consents, name="consents"),
    path("places/<int:pk>/worksheet/", views.worksheet, name="worksheet"),
    path("places/<int:pk>/worksheet.pdf", views.worksheet_pdf, name="worksheet_pdf"),
    path("places/<int:pk>/sent/", views.sent, name="sent"),
    path("places/<int:pk>/done/", views.done, name="done"),
    path("rounds/<str:code>/places/<int:pk>/sent/", views.of_tester, name="of_tester"),
    path("rounds/<str:code>/photos/", views.round_photos, name="round_photos"),
    path("photos/<uuid:code>/<int:width>/", views.photo, name="photo"),
    path("rounds/<str:code>/call/pictures/", views_call.call_pictures, name="call_pictures"),
    path(
        "rounds/<str:code>/call/pictures/<uuid:picture>/remove/",
        views_call.call_picture_gone,
        name="call_picture_gone",
    ),
    path("calls/pictures/<uuid:picture>/", views_call.call_picture, name="call_picture"),
]
