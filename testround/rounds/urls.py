from django.urls import URLPattern, URLResolver, path

from testround.rounds import views, views_call

app_name = "rounds"
urlpatterns: list[URLPattern | URLResolver] = [
    path("", views.rounds, name="list"),
    path("new/<int:edition>/", views.new, name="new"),
    path("join/<slug:secret>/", views.join, name="join"),
    path("place/<int:pk>/give-back/", views.give_back, name="give_back"),
    path("<slug:code>/", views.detail, name="detail"),
    path("<slug:code>/edit/", views.edit, name="edit"),
    path("<slug:code>/move/", views.move, name="move"),
    path("<slug:code>/diary/", views.diary, name="diary"),
    path("<slug:code>/yarns/", views.yarns, name="yarns"),
    path("<slug:code>/yarns/<int:pk>/remove/", views.yarn_remove, name="yarn_remove"),
    path("<slug:code>/places/", views.places, name="places"),
    path("<slug:code>/places/new/", views.place_new, name="place_new"),
    path("<slug:code>/places/<int:pk>/", views.place_edit, name="place_edit"),
    path("<slug:code>/places/<int:pk>/give-back/", views.place_give_back, name="place_give_back"),
    path("<slug:code>/places/<int:pk>/invite/", views.invite, name="invite"),
    path("<slug:code>/places/<int:pk>/invite/withdraw/", views.invite_withdraw, name="invite_withdraw"),
    path("call/<slug:call>/", views_call.call, name="call"),
    path("call/<slug:call>/sent/", views_call.call_sent, name="call_sent"),
    path("offer/<slug:secret>/", views_call.offer, name="offer"),
    path("offer/<slug:secret>/confirm/", views_call.offer_confirm, name="offer_confirm"),
    path("offer/<slug:secret>/take-back/", views_call.offer_withdraw, name="offer_withdraw"),
    path("<slug:code>/call/", views_call.call_plan, name="call_plan"),
    path("<slug:code>/call/open/", views_call.call_open, name="call_open"),
    path("<slug:code>/call/close/", views_call.call_close, name="call_close"),
    path("<slug:code>/call/address/", views_call.call_address, name="call_address"),
]
