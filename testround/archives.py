"""Reading ZIP archives that come from outside: never more of an entry than it says it holds, whatever it unpacks to.

The library's own ``read`` unpacks all that is packed and then cuts it to the length that the archive states. A
few kilobytes that state a hundred bytes and hold gigabytes would be all in memory for that moment.
"""

from __future__ import annotations

import io
import zipfile
import zlib

# What every program writes. Of the others, one packed block may unpack to any size at once.
METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_AT_ONCE = 64 * 1024

BROKEN = (
    zipfile.BadZipFile,
    zipfile.LargeZipFile,
    zlib.error,
    EOFError,
    NotImplementedError,
    OSError,
    RuntimeError,
    ValueError,
)
"""All that the library raises over an archive that is damaged, locked, or packed in a way that is not read."""


def entry_read(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> bytes:
    """What an entry holds: as many bytes as it states, which the caller has found to be few enough.

    Raises
    ------
    zipfile.BadZipFile and the others of BROKEN
        It holds something else than it states, or is packed in another way than the usual one.
    """
    if entry.compress_type not in METHODS:
        raise zipfile.BadZipFile(f"{entry.filename} is packed in a way that is not read")
    found = io.BytesIO()
    with archive.open(entry) as file:
        while piece := file.read(_AT_ONCE):
            found.write(piece)
    if found.tell() != entry.file_size:
        raise zipfile.BadZipFile(f"{entry.filename} does not hold what it states")
    return found.getvalue()


def plainly_packed(archive: zipfile.ZipFile) -> bytes:
    """The archive made anew of what its entries hold, not compressed: for readers that take its word for sizes.

    Raises
    ------
    zipfile.BadZipFile and the others of BROKEN
        As :func:`entry_read`.
    """
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_STORED) as out:
        for entry in archive.infolist():
            out.writestr(zipfile.ZipInfo(entry.filename), entry_read(archive, entry))
    return made.getvalue()
