from __future__ import annotations

import contextlib
import io
import shutil
import socket
import threading
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.core.servers.basehttp import run
from django.core.wsgi import get_wsgi_application
from django.db import connection

from testround.home import demo
from testround.outbox.services import CHORES_EVERY


class Command(BaseCommand):
    help = "Load the demo into an embedded installation and serve it on this machine."
    requires_system_checks: tuple[str, ...] = ()

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="where to serve (default: 8000)")
        parser.add_argument("--no-serve", action="store_true", help="load only")
        parser.add_argument(
            "--reset",
            action="store_true",
            help="throw the database, the photos and the mails under var/ away first",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.SERVED:
            raise CommandError(
                "The demo has well-known passwords and is for an embedded installation only. "
                "Unset DATABASE_URL and TESTROUND_SERVED to run it."
            )
        port = options["port"]
        if not 1 <= port <= 65535:
            raise CommandError(f"--port is {port}; choose one from 1 to 65535, such as 8001.", returncode=2)
        if not options["no_serve"] and _is_taken(port):
            raise CommandError(f"Port {port} is in use. Choose another: demo --port {port + 1}", returncode=2)
        settings.SITE_URL = f"http://127.0.0.1:{port}"
        if options["reset"]:
            self._reset()
        settings.VAR_DIR.mkdir(parents=True, exist_ok=True)
        self._say(f"Bringing the database up to date ({settings.DATABASES['default']['NAME']})")
        call_command("migrate", verbosity=0, interactive=False)
        if demo.is_loaded():
            self._say("The demo is loaded already")
        else:
            # Photos and mails are done before the first page is opened, with their progress in sight.
            runner, settings.OUTBOX_RUNNER = settings.OUTBOX_RUNNER, "inline"
            demo.load(self._say)
            settings.OUTBOX_RUNNER = runner
        self._show_ways_in()
        if options["no_serve"]:
            return
        self._say(f"Serving on {settings.SITE_URL} – stop with Ctrl+C")
        stop = threading.Event()
        threading.Thread(target=wind_clock, args=(stop,), name="demo-clock", daemon=True).start()
        with contextlib.suppress(KeyboardInterrupt):
            run("127.0.0.1", port, get_wsgi_application(), threading=True)

    def _say(self, step: str) -> None:
        self.stdout.write(f"• {step}")
        self.stdout.flush()

    def _reset(self) -> None:
        self._say("Throwing the old demo away")
        connection.close()
        database = Path(settings.DATABASES["default"]["NAME"])
        for path in (database, Path(f"{database}-wal"), Path(f"{database}-shm")):
            path.unlink(missing_ok=True)
        for folder in (settings.MEDIA_ROOT, settings.MAIL_FOLDER):
            shutil.rmtree(folder, ignore_errors=True)

    def _show_ways_in(self) -> None:
        self.stdout.write(f"\nOpen {settings.SITE_URL}/ and come in as")
        for way in demo.ways_in():
            self.stdout.write(f"  {way.who}")
            if way.email:
                self.stdout.write(f"      sign in:  {way.email}   password: {demo.PASSWORD}")
            self.stdout.write(f"      page:     {settings.SITE_URL}{way.page}")
        self.stdout.write(
            f"  invited tester\n      follow the link in the mail to {demo.INVITED}: {settings.SITE_URL}/mail/\n"
        )


def wind_clock(stop: threading.Event) -> None:
    """Tick at once and then every minute, until stopped: the demo has no clock process."""
    while True:
        call_command("tick", stdout=io.StringIO())
        connection.close()
        if stop.wait(CHORES_EVERY):
            return


def _is_taken(port: int) -> bool:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            return True
    return False
