"""gunicorn by its configuration: restarted under requests without losing one, and counting for all its processes."""

from __future__ import annotations

import http.client
import json
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from tests.operations.servers import ROOT, Server, embedded

TOKEN = "seven-grey-sheep"
WORKERS = 2


@dataclass
class Web:
    process: subprocess.Popen[bytes]
    port: int
    log: Path

    def get(self, path: str, **headers: str) -> tuple[int, bytes]:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        try:
            connection.request("GET", path, headers=headers)
            answer = connection.getresponse()
            return answer.status, answer.read()
        finally:
            connection.close()

    def is_ready(self) -> bool:
        try:
            return self.get("/readyz")[0] == 200
        except OSError:
            return False

    def booted(self) -> int:
        """How many processes were begun so far."""
        return self.log.read_text().count("Booting worker")

    def exited(self) -> int:
        return self.log.read_text().count("Worker exiting")


def until(ask: Callable[[], bool], within: float = 90) -> None:
    deadline = time.monotonic() + within
    while not ask():
        assert time.monotonic() < deadline, f"not within {within:g} seconds"
        time.sleep(0.05)


@pytest.fixture(scope="module")
def web(without_anything: Server, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Web]:
    folder = tmp_path_factory.mktemp("web")
    server = embedded(folder / "var", like=without_anything)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    env = {
        **server.env,
        "TESTROUND_BIND": f"127.0.0.1:{port}",
        "TESTROUND_WEB_WORKERS": str(WORKERS),
        "TESTROUND_WEB_THREADS": "2",
        "TESTROUND_METRICS_TOKEN": TOKEN,
        "TESTROUND_LOG_FORMAT": "json",
    }
    log = folder / "web.log"
    command = [
        sys.executable,
        "-m",
        "gunicorn",
        "--config=python:testround.serving",
        "testround.wsgi:application",
    ]
    with log.open("ab") as file:
        process = subprocess.Popen(command, cwd=ROOT, env=env, stdout=file, stderr=file)
    web = Web(process, port, log)
    try:
        until(lambda: web.is_ready() and web.booted() == WORKERS)
        yield web
    finally:
        process.terminate()
        try:
            process.wait(40)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(10)


@dataclass
class Asking:
    """Somebody who asks again and again, by a connection of its own each time."""

    web: Web
    stop: threading.Event
    answers: list[int] = field(default_factory=list)
    broke: list[str] = field(default_factory=list)

    def run(self) -> None:
        while not self.stop.is_set():
            try:
                self.answers.append(self.web.get("/account/login/")[0])
            except (OSError, http.client.HTTPException) as error:
                self.broke.append(repr(error))


def test_a_restart_under_requests_loses_none(web: Web) -> None:
    stop = threading.Event()
    asking = [Asking(web, stop) for _ in range(3)]
    threads = [threading.Thread(target=one.run) for one in asking]
    for thread in threads:
        thread.start()
    begun = web.booted()
    until(lambda: all(len(one.answers) >= 2 for one in asking))

    web.process.send_signal(signal.SIGHUP)

    until(lambda: web.booted() >= begun + WORKERS and web.exited() >= WORKERS)
    answered = [len(one.answers) for one in asking]
    until(lambda: all(len(one.answers) >= n + 2 for one, n in zip(asking, answered, strict=True)))
    stop.set()
    for thread in threads:
        thread.join()
    assert [broke for one in asking for broke in one.broke] == []
    assert {status for one in asking for status in one.answers} == {200}


def counted(web: Web) -> float:
    status, text = web.get("/metrics", Authorization=f"Bearer {TOKEN}")
    assert status == 200
    name = b'testround_requests_total{method="GET",route="people:preferences",status="200"} '
    return sum(float(line.rsplit(b" ", 1)[1]) for line in text.splitlines() if line.startswith(name))


def test_requests_are_counted_over_all_processes(web: Web) -> None:
    before = counted(web)

    for _ in range(12):
        web.get("/me/preferences/")

    assert [counted(web) - before for _ in range(6)] == [12] * 6


def test_every_line_of_its_log_is_json_and_none_has_an_address_of_the_network_that_asked(web: Web) -> None:
    web.get("/?q=willow%40example.org")

    lines = [json.loads(line) for line in web.log.read_text().splitlines()]

    assert {line["logger"] for line in lines} >= {"gunicorn.error", "testround.request"}
    assert "willow" not in web.log.read_text()
    assert [line for line in lines if line["logger"] == "testround.request" and not line["request_id"]] == []
