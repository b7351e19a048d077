"""How gunicorn serves: ``gunicorn --config python:testround.serving testround.wsgi:application``.

A signal HUP reads the program and its settings anew without a request lost: new processes take over the socket, the
old ones answer what they have begun. TERM ends it as gently. See docs/running.md.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path
from typing import Any

from testround import environment, logs

bind = environment.text("TESTROUND_BIND", "127.0.0.1:8000")
workers = environment.whole_number("TESTROUND_WEB_WORKERS", default=3)
# A request waits mostly for the database: threads share a process' memory, which the numerics make large.
worker_class = "gthread"
threads = environment.whole_number("TESTROUND_WEB_THREADS", default=4)
# The program is loaded by each process and not before they part: only so does HUP bring in a new release, and no
# connection to the database is ever shared.
preload_app = False
# Seconds. A process that has not said for so long that it lives is replaced: the longest page takes some ten.
timeout = 60
# What is begun is answered before a process ends.
graceful_timeout = 30
# Longer than a proxy keeps an idle connection open, so that it is the proxy that closes it.
keepalive = 75
# Whatever leaks goes with its process; not all in the same moment.
max_requests = 2000
max_requests_jitter = 400
# Where processes say that they live: in memory, so that a busy disk kills none.
worker_tmp_dir = "/dev/shm" if Path("/dev/shm").is_dir() else None  # noqa: S108
# One line a request is written by the program itself, without addresses (`operations.watching`).
accesslog = None
logconfig_dict = logs.configuration(
    level=environment.choice("LOG_LEVEL", ["DEBUG", "INFO", "WARNING", "ERROR", "CRITICAL"], default="INFO"),
    form=environment.choice("TESTROUND_LOG_FORMAT", ["lines", "json"], default="json"),
)
control_socket_disable = True

# Each process counts for itself; this is where the one that is asked for all of them finds the others.
METRICS_FOLDER = Path(
    environment.text("TESTROUND_METRICS_FOLDER") or tempfile.mkdtemp(prefix="testround-metrics-")
)
os.environ.setdefault("PROMETHEUS_MULTIPROC_DIR", str(METRICS_FOLDER))


def on_starting(server: Any) -> None:
    """Nothing is counted yet."""
    METRICS_FOLDER.mkdir(parents=True, exist_ok=True)
    for counts in METRICS_FOLDER.glob("*.db"):
        counts.unlink(missing_ok=True)


def child_exit(server: Any, worker: Any) -> None:
    """What an ended process counted stays counted; what it was at is over."""
    from prometheus_client import multiprocess

    multiprocess.mark_process_dead(worker.pid)


def on_exit(server: Any) -> None:
    if METRICS_FOLDER.name.startswith("testround-metrics-"):
        shutil.rmtree(METRICS_FOLDER, ignore_errors=True)
