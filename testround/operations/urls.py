from django.urls import path

from testround.operations import views

urlpatterns = [
    path("healthz", views.health, name="health"),
    path("readyz", views.ready, name="ready"),
    path("metrics", views.metrics, name="metrics"),
    path("operator/", views.operator, name="operator"),
    path("operator/work/<int:pk>/again/", views.work_again, name="work_again"),
    path("operator/mail/<int:pk>/again/", views.mail_again, name="mail_again"),
    path("operator/mail/<int:pk>/let-be/", views.mail_leave, name="mail_leave"),
]
