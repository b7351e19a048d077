"""What a served installation has: the locked packages without those that only the tests and checks use."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path
from typing import Any

from django.conf import settings
from packaging.markers import Marker
from packaging.utils import canonicalize_name

from tests.test_settings import SERVED

ROOT = Path(settings.BASE_DIR)
STORAGE = {"S3_BUCKET": "photos", "S3_ENDPOINT_URL": "http://127.0.0.1:9", "S3_REGION": "us-east-1"}

STARTED = """
import importlib, json, pkgutil, sys

missing = set(json.loads(sys.argv[1]))


class NotInstalled:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in missing:
            raise ModuleNotFoundError(f"No module named {name!r}: it is among the packages for tests", name=name)


sys.meta_path.insert(0, NotInstalled())
import testround.wsgi
from testround.celery import app

import testround
from django.core.cache import cache
from django.core.files.storage import default_storage
from django.db import connection

# The database, the queue, the cache and the storage, each as far as one comes without calling on it.
made = [connection.ops, app.connection_for_write().transport, cache._cache, default_storage.bucket_name]
app.loader.import_default_modules()
for found in pkgutil.walk_packages(testround.__path__, "testround."):
    importlib.import_module(found.name)
"""


def test_every_process_of_a_server_starts_without_the_packages_that_only_tests_use() -> None:
    done = subprocess.run(
        [sys.executable, "-c", STARTED, json.dumps(sorted(modules_of_tests_alone()))],
        cwd=ROOT,
        env={**os.environ, **SERVED, **STORAGE},
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.returncode == 0, done.stderr


def modules_of_tests_alone() -> set[str]:
    """Names that can be imported here and on no server."""
    there = packages_of_servers()
    return {
        module
        for module, packages in packages_distributions().items()
        if not {canonicalize_name(package) for package in packages} & there
    }


def packages_of_servers() -> set[str]:
    """What ``uv sync --no-dev`` installs of the lock, by following what each package asks for."""
    locked: dict[str, Any] = {}
    for package in tomllib.loads((ROOT / "uv.lock").read_text())["package"]:
        # Of two versions for two Pythons, either asks for the same here.
        locked.setdefault(package["name"], package)
    found: set[tuple[str, str]] = set()
    to_follow = [("testround", "")]
    for name, extra in to_follow:
        if (name, extra) in found:
            continue
        found.add((name, extra))
        asked = (
            locked[name]["optional-dependencies"][extra] if extra else locked[name].get("dependencies", ())
        )
        for one in asked:
            if "marker" in one and not Marker(one["marker"]).evaluate():
                continue
            to_follow += [(one["name"], each) for each in ("", *one.get("extra", ()))]
    return {name for name, _extra in found}
