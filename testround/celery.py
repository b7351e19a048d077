"""The Celery application: `celery -A testround.celery worker` and `… beat`, for a served installation."""

import os
import tempfile

from celery import Celery, signals

from testround import environment

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "testround.settings")
if environment.text("TESTROUND_WORKER_METRICS"):
    # A worker's processes count together, where whoever asks it finds all of them.
    folder = environment.text("TESTROUND_METRICS_FOLDER") or tempfile.mkdtemp(prefix="testround-metrics-")
    os.environ.setdefault("PROMETHEUS_MULTIPROC_DIR", folder)

app = Celery("testround")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["testround.outbox"])


@signals.setup_logging.connect
def _log_as_configured(**_: object) -> None:
    """A worker writes as a web process does: without this, Celery would set up lines of its own."""
    from logging.config import dictConfig

    from django.conf import settings

    dictConfig(settings.LOGGING)


@signals.worker_ready.connect
def _show_metrics(**_: object) -> None:
    """Show what the worker counted, where that is wanted."""
    from django.conf import settings
    from prometheus_client import CollectorRegistry, start_http_server
    from prometheus_client.multiprocess import MultiProcessCollector

    if settings.WORKER_METRICS is None:
        return
    host, port = settings.WORKER_METRICS
    registry = CollectorRegistry()
    MultiProcessCollector(registry)
    start_http_server(port, host, registry)


@signals.worker_process_shutdown.connect
def _forget_process(pid: int, **_: object) -> None:
    from prometheus_client.multiprocess import mark_process_dead

    from testround.measures import SHARED

    if SHARED:
        mark_process_dead(pid)
