from django.urls import path

from testround.home import views

urlpatterns = [
    path("", views.home, name="home"),
    path("mail/", views.mailbox, name="mailbox"),
    path("mail/<str:name>/html/", views.mail_html, name="mail_html"),
    path("parts/", views.parts, name="parts"),
    # A round leaves whole, with what its testers sent; the rounds' own app knows nothing of reports.
    path("rounds/<slug:code>/export/", views.round_file, name="round_export"),
]
