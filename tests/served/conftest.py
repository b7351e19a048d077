"""A whole served installation: gunicorn, a Celery worker, PostgreSQL, and a Redis of its own that can be stopped."""

from __future__ import annotations

import os
import re
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import urllib.parse
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import psycopg
import pytest
import redis
from django.conf import settings as django_settings

from tests.served.browser import Browser, eventually

ROOT = Path(__file__).parent.parent.parent
PASSWORD = "seven-grey-sheep"
DESIGNER = "designer@example.org"
TESTER = "willow@example.org"


class Process:
    """A program that runs beside the tests; its output goes to a file."""

    def __init__(self, command: list[str], log: Path, env: dict[str, str]) -> None:
        self.command, self.log, self.env = command, log, env
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                self.command,
                cwd=ROOT,
                env=self.env,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                # With the processes it starts a group of its own, so that a power cut takes them all.
                start_new_session=True,
            )

    def stop(self) -> None:
        if self._process is None:
            return
        self._process.terminate()
        try:
            self._process.wait(20)
        except subprocess.TimeoutExpired:
            self.kill()
        self._process = None

    def kill(self) -> None:
        """End it as a power cut would: nothing of it gets to say goodbye."""
        assert self._process is not None
        os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait(10)
        self._process = None

    @property
    def pid(self) -> int:
        assert self._process is not None
        return self._process.pid

    def said(self) -> str:
        return self.log.read_text(errors="replace") if self.log.exists() else ""


@dataclass
class Installation:
    address: str
    folder: Path
    database: str
    env: dict[str, str]
    redis_url: str
    redis: Process
    web: Process
    worker: Process

    def browser(self) -> Browser:
        return Browser(self.address)

    def manage(self, *arguments: str) -> str:
        return self._run("manage.py", *arguments)

    def python(self, code: str) -> str:
        return self._run("-c", f"import django; django.setup(); {code}")

    def _run(self, *arguments: str) -> str:
        done = subprocess.run(
            [sys.executable, *arguments], cwd=ROOT, env=self.env, capture_output=True, text=True
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    def query(self, statement: str, *values: Any) -> list[tuple[Any, ...]]:
        with psycopg.connect(self.database, autocommit=True) as connection:
            cursor = connection.execute(statement, values)
            return cursor.fetchall() if cursor.description else []

    def mails_to(self, address: str) -> list[EmailMessage]:
        paths = sorted((self.folder / "var" / "mail").glob("*.eml"))
        found = [message_from_bytes(path.read_bytes(), policy=policy.default) for path in paths]
        return [mail for mail in found if isinstance(mail, EmailMessage) and address in mail["To"]]

    # -- parts that come and go ----------------------------------------------------------------------------

    def start(self) -> None:
        """Everything but its database, from an empty folder to where it answers."""
        self.start_redis()
        self.manage("migrate", "--noinput", "--verbosity=0")
        self.manage("collectstatic", "--noinput", "--verbosity=0")
        self.web.start()
        self.start_worker()
        self.await_answer()

    def await_answer(self) -> None:
        browser = self.browser()
        eventually(lambda: _is_up(browser), within=60)

    def stop(self) -> None:
        for process in (self.web, self.worker, self.redis):
            process.stop()

    def start_worker(self) -> None:
        ready = self.worker.said().count(" ready.")
        self.worker.start()
        eventually(lambda: self.worker.said().count(" ready.") > ready, within=60)

    def start_redis(self) -> None:
        self.redis.start()
        with redis.Redis.from_url(self.redis_url) as client:
            eventually(lambda: _answers(client))

    @contextmanager
    def without_worker(self) -> Iterator[None]:
        self.worker.stop()
        try:
            yield
        finally:
            self.start_worker()

    @contextmanager
    def without_redis(self) -> Iterator[None]:
        self.redis.stop()
        try:
            yield
        finally:
            self.start_redis()

    def lose_all_tasks(self) -> None:
        with redis.Redis.from_url(self.redis_url) as client:
            client.flushall()

    def a_minute_passes(self) -> None:
        """For the work and the mail that wait: their task, or who claimed them, is now taken for lost."""
        self.query(
            "UPDATE outbox_work SET created = created - interval '1 hour', not_before = not_before - interval '1 hour'"
            " WHERE state = 'waiting'"
        )
        self.query(
            "UPDATE outbox_mail SET created = created - interval '1 hour', not_before = not_before - interval '1 hour',"
            " claimed_at = claimed_at - interval '1 hour' WHERE state IN ('waiting', 'claimed', 'sending')"
        )

    def do_chores(self) -> None:
        """What the clock process sends every minute."""
        self.python("from testround.outbox.tasks import chores; chores.delay()")


def _answers(client: redis.Redis) -> bool:
    try:
        return bool(client.ping())
    except redis.exceptions.RedisError:
        return False


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture(scope="session")
def installation(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Installation]:
    redis_server = shutil.which("redis-server")
    if redis_server is None:
        pytest.skip("needs a Redis server that it may stop: apt-get install redis-server")
    folder = tmp_path_factory.mktemp("served")
    ours = f"testround_served_{os.getpid()}_{secrets.token_hex(4)}"
    with psycopg.connect(django_settings.DATABASE_URL, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {ours}")
    try:
        url = urllib.parse.urlsplit(django_settings.DATABASE_URL)._replace(path=f"/{ours}").geturl()
        installed = installed_in(folder, url, redis_server)
        try:
            installed.start()
            yield installed
        finally:
            installed.stop()
    finally:
        with psycopg.connect(django_settings.DATABASE_URL, autocommit=True) as connection:
            connection.execute(f"DROP DATABASE {ours} WITH (FORCE)")


def _is_up(browser: Browser) -> bool:
    try:
        return browser.get("/healthz").status == 200
    except OSError:
        return False


def installed_in(folder: Path, database: str, redis_server: str) -> Installation:
    """An installation, nothing of which runs yet, on the database of that address."""
    port, redis_port = free_port(), free_port()
    address = f"http://127.0.0.1:{port}"
    redis_url = f"redis://127.0.0.1:{redis_port}/0"
    inherited = {name: os.environ[name] for name in ("PATH", "HOME", "LANG") if name in os.environ}
    env = {
        **inherited,
        "DJANGO_SETTINGS_MODULE": "testround.settings",
        "PYTHONPATH": str(ROOT),
        "DATABASE_URL": database,
        "REDIS_URL": redis_url,
        "SECRET_KEY": secrets.token_urlsafe(50),
        "ALLOWED_HOSTS": "127.0.0.1",
        "SITE_URL": address,
        "TESTROUND_HTTPS": "false",
        "TESTROUND_VAR": str(folder / "var"),
        "TESTROUND_STATIC": str(folder / "static"),
    }
    python = [sys.executable, "-m"]
    gunicorn = [
        "gunicorn",
        "testround.wsgi:application",
        f"--bind=127.0.0.1:{port}",
        "--workers=2",
        "--threads=2",
    ]
    worker = ["celery", "-A", "testround.celery", "worker", "--loglevel=INFO", "--concurrency=1"]
    keep_nothing = ["--save", "", "--appendonly", "no", "--dir", str(folder)]
    return Installation(
        address=address,
        folder=folder,
        database=database,
        env=env,
        redis_url=redis_url,
        redis=Process(
            [redis_server, "--bind", "127.0.0.1", "--port", str(redis_port), *keep_nothing],
            folder / "redis.log",
            env,
        ),
        web=Process([*python, *gunicorn], folder / "web.log", env),
        worker=Process([*python, *worker], folder / "worker.log", env),
    )


@pytest.fixture(scope="session")
def designer_browser(installation: Installation) -> Browser:
    """The designer signed up, confirmed her address by the mailed link, and signed in."""
    return signed_up(installation, "Fen Designer", DESIGNER)


def signed_up(installation: Installation, name: str, email: str) -> Browser:
    browser = installation.browser()
    page = browser.get("/account/signup/")
    browser.send(page, holding="password1", name=name, email=email, password1=PASSWORD)
    mail = eventually(lambda: installation.mails_to(email))[-1]
    text = mail.get_body(("plain",)).get_content()
    link = re.search(r"http://\S+/confirm-email/\S+", text)
    assert link, text
    browser.send(browser.get(link[0]), holding="confirm-email")
    if "Sign out" not in browser.get("/").text:
        browser.send(browser.get("/account/login/"), holding="password", login=email, password=PASSWORD)
    return browser


@pytest.fixture(scope="session")
def round_code(installation: Installation, designer_browser: Browser) -> str:
    """The invented cardigan's round, imported for her."""
    said = installation.manage("import_round", "fixtures/fenlight.json", "--owner", DESIGNER)
    found = re.search(r"as round (\S+):", said)
    assert found, said
    return found[1]


@pytest.fixture(scope="session")
def tester_place(
    installation: Installation, designer_browser: Browser, round_code: str
) -> tuple[Browser, str]:
    """A tester who followed the link of an invitation, and the address of the place that is theirs now."""
    page = designer_browser.get(f"/rounds/{round_code}/places/new/")
    page = designer_browser.send(page, holding="names", names="Willow", size="XL")
    page = designer_browser.send(page, holding="email", email="")
    link = re.search(r"http://\S+?/rounds/join/[^\s\"<]+", page.text)
    assert link, page.text
    tester = installation.browser()
    page = tester.send(tester.get(link[0]), holding="name", name="Willow", email=TESTER, agree="on")
    found = re.search(r"/places/\d+/$", page.url)
    assert found, page.text
    return tester, found[0]
