"""Installations in folders of their own, worked on by processes of their own as an operator does."""

from __future__ import annotations

import json
import os
import secrets
import shutil
import subprocess
import sys
import urllib.parse
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psycopg
from django.conf import settings

ROOT = Path(__file__).parent.parent.parent

# Every row of every table that a backup holds, and of every file its checksum.
EVERYTHING = """
import hashlib, json
from django.apps import apps
from django.core.files.storage import default_storage
from testround.operations.backup.files import names_in
from testround.operations.backup.rows import kept_models
from testround.reports.exchange import round_export
from testround.rounds.models import Round

print(json.dumps({
    "rows": {
        model._meta.label: [list(row) for row in model._base_manager.order_by("pk").values_list()]
        for model in kept_models(apps)
        if model._meta.label not in ("operations.Backup", "auth.Permission", "contenttypes.ContentType")
    },
    "files": {
        name: hashlib.sha256(default_storage.open(name).read()).hexdigest()
        for passing in (False, True) for name in names_in("default", passing=passing)
    },
    "exports": {
        round.code: hashlib.sha256(round_export(round, photos=True)).hexdigest() for round in Round.objects.all()
    },
}, default=str))
"""


@dataclass(frozen=True)
class Server:
    """One embedded installation, or a served one when its variables say so."""

    folder: Path
    variables: dict[str, str]

    @property
    def env(self) -> dict[str, str]:
        inherited = {name: os.environ[name] for name in ("PATH", "HOME", "LANG") if name in os.environ}
        return {
            **inherited,
            "DJANGO_SETTINGS_MODULE": "testround.settings",
            "PYTHONPATH": str(ROOT),
            "TESTROUND_VAR": str(self.folder),
            **self.variables,
        }

    @property
    def database(self) -> str:
        return urllib.parse.urlsplit(self.variables["DATABASE_URL"]).path.strip("/")

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, *arguments], cwd=ROOT, env=self.env, capture_output=True, text=True
        )

    def manage(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        return self.run("manage.py", *arguments)

    def python(self, code: str, *arguments: str) -> str:
        done = self.run("-c", f"import django; django.setup()\n{code}", *arguments)
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    def start(self, code: str, *arguments: str) -> subprocess.Popen[str]:
        return subprocess.Popen(
            [sys.executable, "-c", f"import django; django.setup()\n{code}", *arguments],
            cwd=ROOT,
            env=self.env,
            stdout=subprocess.PIPE,
            text=True,
        )

    def everything(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.python(EVERYTHING))
        return found

    def files(self) -> list[str]:
        media = self.folder / "media"
        return sorted(str(path.relative_to(media)) for path in media.rglob("*") if path.is_file())


_databases: list[str] = []


def embedded(folder: Path, like: Server | None = None) -> Server:
    """An installation in this folder: one without anything, or with all that another has.

    Its database is of the kind that the suite runs on, and its own.
    """
    if like is not None and like.folder.exists():
        shutil.copytree(like.folder, folder)
    if "postgresql" not in settings.DATABASES["default"]["ENGINE"]:
        return Server(folder, {})
    name = f"testround_operated_{secrets.token_hex(5)}"
    template = f" TEMPLATE {like.database}" if like is not None else ""
    with psycopg.connect(settings.DATABASE_URL, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}{template}")
    _databases.append(name)
    url = urllib.parse.urlsplit(settings.DATABASE_URL)._replace(path=f"/{name}").geturl()
    return Server(folder, {"DATABASE_URL": url, "TESTROUND_SERVED": "false"})


def drop_databases() -> None:
    """Those of all installations that were made so far."""
    if not _databases:
        return
    with psycopg.connect(settings.DATABASE_URL, autocommit=True) as connection:
        while _databases:
            connection.execute(f"DROP DATABASE {_databases.pop()} WITH (FORCE)")
