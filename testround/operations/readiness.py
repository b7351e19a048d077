"""Whether this process can do its work: each part that it needs, by name."""

from __future__ import annotations

import os
import uuid
from collections.abc import Callable
from functools import cache

from django.conf import settings
from django.core.cache import cache as page_cache
from django.core.files.storage import default_storage
from django.db import connection
from django.db.migrations.loader import MigrationLoader


def parts() -> dict[str, str]:
    """What each part says: ``ok``, or in a few words what is the matter with it. Nothing of why leaves the server."""
    asked: dict[str, Callable[[], str]] = {
        "database": _database,
        "migrations": _migrations,
        "storage": _storage,
    }
    if settings.REDIS_URL or "Redis" in settings.CACHES["default"]["BACKEND"]:
        asked["redis"] = _redis
    return {name: _answer(ask) for name, ask in asked.items()}


def _answer(ask: Callable[[], str]) -> str:
    try:
        return ask()
    except Exception:
        return "no answer"


def _database() -> str:
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
        cursor.fetchone()
    return "ok"


@cache
def _migrations_of_this_version() -> frozenset[tuple[str, str]]:
    loader = MigrationLoader(None)
    return frozenset(loader.disk_migrations)


def _migrations() -> str:
    """More of them than this version knows is well: the next one's come before it."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT app, name FROM django_migrations")
        applied = {(app, name) for app, name in cursor.fetchall()}
    return "ok" if _migrations_of_this_version() <= applied else "not applied"


def _storage() -> str:
    """On disk: photos can be written, and there is room for some. In a bucket: it answers."""
    if settings.S3_BUCKET:
        default_storage.exists("readyz")
        return "ok"
    settings.MEDIA_ROOT.mkdir(parents=True, exist_ok=True)
    if not os.access(settings.MEDIA_ROOT, os.W_OK):
        return "not writable"
    room = os.statvfs(settings.MEDIA_ROOT)
    return "ok" if room.f_bavail * room.f_frsize > settings.PHOTO_MAX_BYTES * 4 else "full"


def _redis() -> str:
    key = f"ready-{uuid.uuid4().hex}"
    page_cache.set(key, "ok", 10)
    return "ok" if page_cache.get(key) == "ok" else "no answer"
