"""The files that rows name: listed by a snapshot, then copied. A file is never changed under its name.

What waits under ``incoming/`` is deleted as soon as it has been re-encoded, within seconds. It is therefore copied
first, while the snapshot is young; where one is gone already, the snapshot is given up for a newer one in which the
photo is ready.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import IO, Any

from django.apps import apps
from django.core.files.base import File
from django.core.files.storage import Storage, default_storage
from django.core.files.utils import validate_file_name
from django.db import models

from testround.operations.backup.archive import PIECE, Writer

PASSING = "incoming/"
FOLDER = "files/"


def file_fields() -> list[tuple[type[models.Model], str]]:
    return [
        (model, field.name)
        for model in apps.get_models()
        for field in model._meta.concrete_fields
        if isinstance(field, models.FileField)
    ]


def names_in(using: str, *, passing: bool) -> Iterator[str]:
    """The names of all files that the rows name, those of uploads that wait or all others."""
    for model, field in file_fields():
        named = model._base_manager.using(using).exclude(**{field: ""})
        waiting = named.filter(**{f"{field}__startswith": PASSING})
        chosen = waiting if passing else named.exclude(**{f"{field}__startswith": PASSING})
        yield from chosen.order_by("pk").values_list(field, flat=True).iterator(chunk_size=2000)


def still_named(name: str) -> bool:
    """Whether a row names this file now."""
    return any(model._base_manager.filter(**{field: name}).exists() for model, field in file_fields())


class Spool:
    """A folder for uploads that wait, copied before they can be deleted."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def holds(self, name: str) -> bool:
        return self._path(name).exists()

    def take(self, names: Iterable[str]) -> list[str]:
        """Copy those that are not here yet. Returns the names of those that are gone."""
        return [name for name in names if not self.holds(name) and not self._copy(name)]

    def _copy(self, name: str) -> bool:
        path = self._path(name)
        half = path.with_suffix(".half")
        try:
            with default_storage.open(name, "rb") as source, half.open("wb") as copy:
                shutil.copyfileobj(source, copy, PIECE)
        except FileNotFoundError:
            half.unlink(missing_ok=True)
            return False
        half.rename(path)
        return True

    def open(self, name: str) -> IO[bytes]:
        return self._path(name).open("rb")

    def _path(self, name: str) -> Path:
        return self.folder / name.replace("/", "_")


def file_add(writer: Writer, name: str, spool: Spool) -> int | None:
    """Copy one file into the archive. Returns its size in bytes, or None when there is none of that name."""
    if spool.holds(name):
        with spool.open(name) as kept:
            return _add(writer, name, kept)
    try:
        source = default_storage.open(name, "rb")
    except FileNotFoundError:
        return None
    with source:
        return _add(writer, name, source)


def _add(writer: Writer, name: str, source: Any) -> int:
    size = source.size if isinstance(source, File) else Path(source.name).stat().st_size
    writer.add_from(f"{FOLDER}{name}", size, source)
    return int(size)


def file_put(name: str, content: IO[bytes], storage: Storage = default_storage) -> None:
    """Store under exactly this name. A restore that was cut short may have left a file there."""
    validate_file_name(name, allow_relative_path=True)
    if storage.exists(name):
        storage.delete(name)
    stored = storage.save(name, File(content))
    if stored != name:
        storage.delete(stored)
        raise OSError(f"The storage would not take the name {name}")
