"""The program as it is served, for as long as it is measured."""

from __future__ import annotations

import logging
import os
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

import psutil

HOST = "127.0.0.1"
LOOPBACK = (HOST, "::1", "localhost")
READY_WITHIN_SECONDS = 90


@dataclass(frozen=True)
class Server:
    port: int
    process: psutil.Process

    def workers(self) -> list[psutil.Process]:
        return self.process.children()


def prepare(port: int, folder: str) -> None:
    """Set the settings of a served installation in this process's environment, which the server's begins with."""
    for name in ("DATABASE_URL", "REDIS_URL"):
        host = urlsplit(os.environ.get(name, "")).hostname
        if host not in LOOPBACK:
            sys.exit(
                f"{name} names {host or 'nothing'}; name a server on this machine, nothing else is put under load."
            )
    os.environ.update(
        DJANGO_SETTINGS_MODULE="testround.settings",
        TESTROUND_SERVED="true",
        TESTROUND_HTTPS="false",
        ALLOWED_HOSTS=HOST,
        SITE_URL=f"http://{HOST}:{port}",
        TESTROUND_VAR=folder,
        TESTROUND_STATIC=str(Path(folder) / "static"),
        LOG_LEVEL="ERROR",
    )
    # In this process, where people are signed in before anything is measured; what it says goes to who measures.
    logging.disable(logging.INFO)
    os.environ.setdefault("SECRET_KEY", "of-a-server-that-is-measured-and-has-no-real-people-in-it")


@contextmanager
def folder_for(port: int) -> Iterator[str]:
    with tempfile.TemporaryDirectory() as folder:
        prepare(port, folder)
        yield folder


@contextmanager
def served(port: int, *, workers: int, threads: int) -> Iterator[Server]:
    """Gunicorn as it is configured in use, with so many web processes, none of which is replaced by itself."""
    run = [sys.executable, "-m"]
    subprocess.run(
        [sys.executable, "manage.py", "collectstatic", "--noinput", "-v0"], check=True, env=os.environ
    )
    gunicorn = subprocess.Popen(
        [
            *run,
            "gunicorn",
            "--config=python:testround.serving",
            "testround.wsgi:application",
            f"--bind={HOST}:{port}",
            f"--workers={workers}",
            f"--threads={threads}",
            "--max-requests=0",
            "--timeout=120",
            "--log-level=error",
        ],
        env=os.environ,
    )
    try:
        _wait_for(port)
        yield Server(port, psutil.Process(gunicorn.pid))
    finally:
        gunicorn.terminate()
        gunicorn.wait(timeout=60)


def _wait_for(port: int) -> None:
    until = time.monotonic() + READY_WITHIN_SECONDS
    while True:
        try:
            with urllib.request.urlopen(f"http://{HOST}:{port}/healthz", timeout=5) as answer:
                if answer.status == 200:
                    return
        except OSError:
            if time.monotonic() > until:
                raise
            time.sleep(0.5)
