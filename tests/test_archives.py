"""ZIP archives that state less than they hold."""

from __future__ import annotations

import io
import resource
import struct
import zipfile
import zlib

import pytest

from testround.archives import BROKEN, entry_read, plainly_packed

PACKED = 100_000_000


def lying_archive(stated: int, held: int) -> bytes:
    """An entry that states a length, and the check sum of so much, and unpacks to far more."""
    squeeze = zlib.compressobj(9, zlib.DEFLATED, -15)
    packed = squeeze.compress(b"\0" * held) + squeeze.flush()
    name = b"round.json"
    crc = zlib.crc32(b"\0" * stated)
    local = struct.pack("<4s5H3I2H", b"PK\3\4", 20, 0, 8, 0, 33, crc, len(packed), stated, len(name), 0)
    central = struct.pack(
        "<4s6H3I5H2I", b"PK\1\2", 20, 20, 0, 8, 0, 33, crc, len(packed), stated, len(name), 0, 0, 0, 0, 0, 0
    )
    body = local + name + packed
    ends = struct.pack("<4s4H2IH", b"PK\5\6", 0, 0, 1, 1, len(central + name), len(body), 0)
    return body + central + name + ends


def test_no_more_is_unpacked_than_an_entry_says_it_holds() -> None:
    data = lying_archive(stated=100, held=PACKED)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss

    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        found = entry_read(archive, archive.getinfo("round.json"))

    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) * 1024
    assert found == b"\0" * 100
    assert len(data) < PACKED / 500
    assert grown < PACKED / 2


def test_an_entry_that_holds_less_than_it_says_is_refused() -> None:
    with zipfile.ZipFile(io.BytesIO(lying_archive(stated=100, held=50))) as archive, pytest.raises(BROKEN):
        entry_read(archive, archive.getinfo("round.json"))


@pytest.mark.parametrize("how", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_what_is_packed_in_a_way_that_cannot_be_bounded_is_refused(how: int) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", how) as archive:
        archive.writestr("round.json", b"{}")

    with zipfile.ZipFile(out) as archive, pytest.raises(zipfile.BadZipFile, match="packed in a way"):
        entry_read(archive, archive.getinfo("round.json"))


def test_an_archive_packed_anew_holds_the_same_and_no_surprise() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.xml", b"<a/>" * 1000)
        archive.writestr("b/c.xml", b"")

    with zipfile.ZipFile(out) as archive, zipfile.ZipFile(io.BytesIO(plainly_packed(archive))) as anew:
        assert {one.filename: anew.read(one) for one in anew.infolist()} == {
            "a.xml": b"<a/>" * 1000,
            "b/c.xml": b"",
        }
        assert {one.compress_type for one in anew.infolist()} == {zipfile.ZIP_STORED}
