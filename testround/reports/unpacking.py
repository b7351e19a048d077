"""An exported round with its photos, taken out of the ZIP that somebody uploaded."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable

from django.utils.translation import gettext as _

from testround.archives import BROKEN, entry_read
from testround.kernel.problems import Problem
from testround.kernel.roundfile import MOST_BYTES, RoundFileError

# What a ZIP may hold. An honest one is a file of a few megabytes beside some hundreds of photos.
MOST_ZIP_ENTRIES = 5_000
MOST_PHOTO_BYTES = 25_000_000
MOST_UNPACKED_BYTES = 2_000_000_000
ROUND_NAME = "round.json"
PHOTO_FOLDER = "photos/"


def unpacked(data: bytes) -> tuple[bytes, dict[str, bytes]]:
    """The round file and the photos of a ZIP. Nothing is written to disk, whatever its paths say."""
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
    except BROKEN as error:
        raise RoundFileError(
            [Problem("", _("the ZIP cannot be read ({error}); export it again").format(error=error))]
        ) from None
    with archive:
        entries = [entry for entry in archive.infolist() if not entry.filename.endswith("/")]
        problems = list(_zip_problems(entries))
        if problems:
            raise RoundFileError(problems)
        try:
            document = entry_read(archive, archive.getinfo(ROUND_NAME))
            photos = {
                entry.filename.removeprefix(PHOTO_FOLDER): entry_read(archive, entry)
                for entry in entries
                if entry.filename != ROUND_NAME
            }
        except BROKEN as error:
            raise RoundFileError(
                [Problem("", _("the ZIP is damaged ({error}); export it again").format(error=error))]
            ) from None
    return document, photos


def _zip_problems(entries: list[zipfile.ZipInfo]) -> Iterable[Problem]:
    if len(entries) > MOST_ZIP_ENTRIES:
        said = _("the ZIP holds {n} files; at most {most} are taken")
        yield Problem("", said.format(n=len(entries), most=MOST_ZIP_ENTRIES))
        return
    if sum(entry.file_size for entry in entries) > MOST_UNPACKED_BYTES:
        said = _("the ZIP unpacks to more than {most} GB")
        yield Problem("", said.format(most=f"{MOST_UNPACKED_BYTES / 1e9:.0f}"))
        return
    names = [entry.filename for entry in entries]
    if ROUND_NAME not in names:
        yield Problem("", _("the ZIP has no {file}; it is not an exported round").format(file=ROUND_NAME))
    if len(set(names)) != len(names):
        yield Problem("", _("the ZIP names one file twice"))
    for entry in entries:
        name = entry.filename
        if entry.flag_bits & 0x1:
            yield Problem(name, _("is locked with a password; export it without one"))
        if name == ROUND_NAME:
            if entry.file_size > MOST_BYTES:
                yield Problem(name, _("has more than {most} MB").format(most=f"{MOST_BYTES / 1e6:.0f}"))
        elif not name.startswith(PHOTO_FOLDER) or "/" in name.removeprefix(PHOTO_FOLDER) or ".." in name:
            yield Problem(
                name,
                _("has no business in an exported round; only {file} and {photos} are taken").format(
                    file=ROUND_NAME, photos=PHOTO_FOLDER + "NAME"
                ),
            )
        elif entry.file_size > MOST_PHOTO_BYTES:
            yield Problem(
                name,
                _("has more than {most} MB; make the photo smaller").format(
                    most=f"{MOST_PHOTO_BYTES / 1e6:.0f}"
                ),
            )
