"""Files as they came, stored together with the row that knows of them, and those that no row knows swept away."""

from __future__ import annotations

import contextlib
import datetime as dt
import logging
import os
from collections.abc import Iterator
from pathlib import Path, PurePosixPath

from django.core.cache import cache
from django.core.files.base import ContentFile
from django.core.files.storage import Storage
from django.db import InterfaceError, OperationalError
from django.db.models.fields.files import FieldFile
from django.utils import timezone

from testround.outbox.services import regularly
from testround.reports.models import CallPicture, Photo
from testround.trouble import no_room

logger = logging.getLogger(__name__)

FOLDER = "incoming"
# No upload takes so long from its file to its row, nor would a clock that is a little wrong matter.
UNKNOWN_FOR = dt.timedelta(days=1)
SWEPT_EVERY = 6 * 60 * 60

Stored = tuple[Storage, str]


class Incoming:
    """The files that one transaction stores."""

    def __init__(self) -> None:
        self._stored: list[Stored] = []

    def store(self, file: FieldFile, name: str, data: bytes) -> None:
        """Write a file, and its name into its row, which is not saved."""
        # Noted before it is written: a disk that fills up leaves the beginning of one.
        self._stored.append((file.storage, file.field.generate_filename(file.instance, name)))
        file.save(name, ContentFile(data), save=False)
        self._stored[-1] = (file.storage, str(file.name))
        _to_disk(*self._stored[-1])

    def drop(self) -> None:
        for storage, name in self._stored:
            with contextlib.suppress(OSError):
                storage.delete(name)


def _to_disk(storage: Storage, name: str) -> None:
    """Have a file, and its name in its folder, outlast a power cut, as its row does; other stores see to it themselves."""
    try:
        path = Path(storage.path(name))
    except NotImplementedError:
        return
    for what in (path, path.parent):
        opened = os.open(what, os.O_RDONLY)
        try:
            os.fsync(opened)
        finally:
            os.close(opened)


@contextlib.contextmanager
def with_their_rows() -> Iterator[Incoming]:
    """Around a transaction that stores files: what it raises takes them away again.

    Where the database went away, nobody knows whether it had committed before, and the files stay: a row without
    its photo would be a photo lost. If there is no row, `incoming_sweep` deletes them.
    """
    incoming = Incoming()
    try:
        yield incoming
    except BaseException as error:
        if no_room(error) or not isinstance(error, OperationalError | InterfaceError):
            incoming.drop()
        raise


@regularly
def incoming_sweep(*, now: dt.datetime | None = None) -> int:
    """Delete what came, a day ago or more, and has no row: the process or the database broke down in between.

    Returns how many files.
    """
    if not cache.add("incoming-swept", 1, SWEPT_EVERY):
        return 0
    now = now or timezone.now()
    storage: Storage = Photo._meta.get_field("incoming").storage
    try:
        _, names = storage.listdir(FOLDER)
    except FileNotFoundError:
        return 0
    old = {
        str(PurePosixPath(FOLDER, name))
        for name in names
        if storage.get_modified_time(str(PurePosixPath(FOLDER, name))) <= now - UNKNOWN_FOR
    }
    known = {
        name
        for model in (Photo, CallPicture)
        for name in model._default_manager.filter(incoming__in=old).values_list("incoming", flat=True)
    }
    for name in sorted(old - known):
        storage.delete(name)
        logger.warning("Deleted %s, which no photo knows of", name)
    return len(old - known)
