from django.urls import path

from testround.home import views

urlpatterns = [
    path("", views.home, name="home"),
    path("mail/", views.mailbox, name="mailbox"),
    path("healthz", views.health, name="health"),
]
