"""The file of a backup: read as it was written, or not at all."""

from __future__ import annotations

import io
import tarfile

import pytest
from hypothesis import given
from hypothesis import strategies as st

from testround.operations.backup.archive import END, PIECE, Damaged, Writer, members

CONTENTS = {
    "begin.json": b"{}",
    "rows/people.User/1.jsonl.gz": bytes(range(256)) * 5,
    "files/photos/ä.jpg": b"\0" * 700,
}


def written(contents: dict[str, bytes] = CONTENTS) -> bytes:
    file = io.BytesIO()
    writer = Writer(file)
    for name, content in contents.items():
        writer.add(name, content)
    writer.end({"rows": {"people.User": 1}})
    return file.getvalue()


def read(data: bytes) -> tuple[dict[str, bytes], dict[str, object]]:
    end: dict[str, object] = {}
    return {member.name: member.content() for member in members(io.BytesIO(data), end)}, end


def test_what_was_written_is_read() -> None:
    assert read(written()) == (CONTENTS, {"rows": {"people.User": 1}})


def test_a_member_longer_than_a_piece_is_read_whole() -> None:
    long = {"files/long": b"0123456789" * (PIECE // 5)}

    assert read(written(long))[0] == long


@given(st.data())
def test_a_byte_of_what_is_kept_that_is_another_is_noticed(data: st.DataObject) -> None:
    whole = written()
    with tarfile.open(fileobj=io.BytesIO(whole)) as tar:
        inside = [place for info in tar for place in range(info.offset_data, info.offset_data + info.size)]
    place = data.draw(st.sampled_from(inside))
    damaged = bytearray(whole)
    damaged[place] ^= data.draw(st.integers(1, 255))

    with pytest.raises(Damaged):
        read(bytes(damaged))


@given(st.integers(0, len(written()) - 2 * tarfile.BLOCKSIZE - 1))
def test_a_file_that_was_cut_short_is_noticed(length: int) -> None:
    whole = written()
    with tarfile.open(fileobj=io.BytesIO(whole)) as tar:
        end = tar.getmember(END)
    kept = min(length, end.offset_data + end.size - 1)

    with pytest.raises(Damaged):
        read(whole[:kept])


def test_a_member_that_is_left_out_is_noticed() -> None:
    whole, less = io.BytesIO(written()), io.BytesIO()
    with tarfile.open(fileobj=whole) as source, tarfile.open(fileobj=less, mode="w") as copy:
        for info in source:
            if not info.name.startswith("files/"):
                copy.addfile(info, source.extractfile(info))

    with pytest.raises(Damaged, match="the checksum is another"):
        read(less.getvalue())


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04 a ZIP perhaps", b"\0" * 10240])
def test_what_is_no_backup_is_not_taken_for_one(data: bytes) -> None:
    with pytest.raises(Damaged):
        read(data)


def test_a_source_that_is_shorter_than_announced_is_no_member() -> None:
    with pytest.raises(OSError, match="unexpected end"):
        Writer(io.BytesIO()).add_from("files/short", 10, io.BytesIO(b"short"))
