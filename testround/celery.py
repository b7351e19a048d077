"""The Celery application: `celery -A testround.celery worker` and `… beat`, for a served installation."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "testround.settings")

app = Celery("testround")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["testround.outbox"])
