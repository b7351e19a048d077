"""The file of a backup: a tar whose last member says what all the others have to be.

The members, in their order::

    begin.json                   what made it, when, and at which migrations
    rows/APP.Model/N.jsonl.gz    the rows of a table, some megabytes of lines to a member
    files/NAME                   a file of the storage, as it is
    end.json                     how much of everything there is, and the SHA-256 of all that came before

Both ways go through it once from front to back, a piece at a time, however large it is. A file without its end, or
in which a single bit of a member is another, is not taken for a backup.
"""

from __future__ import annotations

import hashlib
import io
import json
import tarfile
from collections.abc import Iterator
from dataclasses import dataclass
from typing import IO, Any

FORMAT = "testround-backup-1"
BEGIN, END = "begin.json", "end.json"
PIECE = 1024 * 1024


class Damaged(ValueError):
    """It is no backup, or not the whole of one, or not as it was written. The sentence says what was found."""


class Digest:
    """The SHA-256 of a row of members: their names, sizes and contents."""

    def __init__(self) -> None:
        self._hash = hashlib.sha256()

    def member(self, name: str, size: int) -> None:
        self._hash.update(f"{name}\0{size}\0".encode())

    def content(self, piece: bytes) -> None:
        self._hash.update(piece)

    def with_end(self, end: dict[str, Any]) -> str:
        """The sum of everything so far and of what the end says."""
        whole = self._hash.copy()
        whole.update(json.dumps(end, sort_keys=True).encode())
        return whole.hexdigest()


class Writer:
    """Writes a backup into a file that is open for writing."""

    def __init__(self, file: IO[bytes]) -> None:
        self._tar = tarfile.open(fileobj=file, mode="w|", format=tarfile.PAX_FORMAT)  # noqa: SIM115
        self._digest = Digest()

    def add(self, name: str, content: bytes) -> None:
        self.add_from(name, len(content), io.BytesIO(content))

    def add_from(self, name: str, size: int, source: IO[bytes]) -> None:
        """A member of exactly ``size`` bytes. Raises OSError when the source has fewer."""
        info = tarfile.TarInfo(name)
        info.size, info.mode = size, 0o600
        self._digest.member(name, size)
        self._tar.addfile(info, _Heard(source, size, self._digest))  # type: ignore[arg-type]

    def end(self, said: dict[str, Any]) -> None:
        """Say what there is, and close."""
        content = json.dumps({**said, "sha256": self._digest.with_end(said)}, indent=1).encode()
        info = tarfile.TarInfo(END)
        info.size, info.mode = len(content), 0o600
        self._tar.addfile(info, io.BytesIO(content))
        self._tar.close()


class _Heard:
    """A source of so many bytes whose every piece goes into the digest."""

    def __init__(self, source: IO[bytes], size: int, digest: Digest) -> None:
        self._source, self._left, self._digest = source, size, digest

    def read(self, most: int) -> bytes:
        piece = self._source.read(min(most, self._left))
        self._left -= len(piece)
        self._digest.content(piece)
        return piece


@dataclass(frozen=True, slots=True)
class Member:
    """One member on the way through; ``pieces`` can be read once, before the next member is asked for."""

    name: str
    size: int
    pieces: Iterator[bytes]

    def content(self) -> bytes:
        return b"".join(self.pieces)


def members(file: IO[bytes], end: dict[str, Any]) -> Iterator[Member]:
    """The members of a backup but its last, which is put into ``end`` once everything has been compared with it.

    Raises
    ------
    Damaged
        At the latest when the last member has been passed.
    """
    digest = Digest()
    try:
        with tarfile.open(fileobj=file, mode="r|") as tar:
            for info in tar:
                content = tar.extractfile(info)
                if end or content is None:
                    raise Damaged(f"It holds {info.name}, which does not belong into a backup.")
                if info.name == END:
                    said = json.loads(content.read())
                    expected = said.pop("sha256")
                    if digest.with_end(said) != expected:
                        raise Damaged("Its contents are not what was written: the checksum is another.")
                    end.update(said)
                    continue
                digest.member(info.name, info.size)
                pieces = _pieces(content, info.size, digest)
                yield Member(info.name, info.size, pieces)
                for _ in pieces:
                    """What was not read counts too."""
    except (
        tarfile.TarError,
        EOFError,
        json.JSONDecodeError,
        KeyError,
        AttributeError,
        UnicodeError,
    ) as error:
        raise Damaged(f"It cannot be read as a backup ({error}).") from error
    if not end:
        raise Damaged("It has no end: the backup was cut short, or it is no backup.")


def _pieces(content: IO[bytes], size: int, digest: Digest) -> Iterator[bytes]:
    left = size
    while left:
        try:
            piece = content.read(min(PIECE, left))
        except tarfile.TarError as error:
            raise Damaged("It ends in the middle.") from error
        left -= len(piece)
        digest.content(piece)
        yield piece
