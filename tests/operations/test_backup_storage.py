"""A backup's files in S3-compatible storage: read from the bucket, written into the bucket, never two of a name."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import pytest
from django.core.files.storage import default_storage

from testround.operations.backup.archive import Writer, members
from testround.operations.backup.files import FOLDER, Spool, file_add, file_put, names_in, still_named
from testround.outbox.mail import mails_doubt, mails_sweep
from testround.outbox.models import Mail
from testround.reports.models import Photo, Rendition
from testround.reports.photos import photo_add, photos_gone
from testround.rounds.models import Place
from tests.reports.pictures import phone_jpeg
from tests.test_storage import Bucket, bucket, photo

__all__ = ["bucket", "photo"]


def packed(names: list[str], spool: Spool) -> bytes:
    file = io.BytesIO()
    writer = Writer(file)
    sizes = [file_add(writer, name, spool) for name in names]
    writer.end({"files": len(sizes)})
    assert None not in sizes
    return file.getvalue()


def test_what_is_in_the_bucket_is_copied_and_comes_back_as_it_was(
    bucket: Bucket, photo: Photo, tmp_path: Path
) -> None:
    names = [*names_in("default", passing=True), *names_in("default", passing=False)]
    before = dict(bucket.objects)
    data = packed(names, Spool(tmp_path))
    bucket.objects.clear()
    # A restore that was cut short left the beginning of one.
    default_storage.save(names[0], io.BytesIO(b"half"))

    for member in members(io.BytesIO(data), {}):
        file_put(member.name.removeprefix(FOLDER), io.BytesIO(member.content()))

    assert len(names) == 1 + photo.renditions.count()
    assert bucket.objects == before


def test_an_upload_that_waits_is_kept_though_it_is_deleted_meanwhile(
    bucket: Bucket, place: Place, tmp_path: Path
) -> None:
    waiting = photo_add(place=place, data=phone_jpeg())
    spool = Spool(tmp_path)
    (name,) = names_in("default", passing=True)

    first, again = spool.take([name]), spool.take([name])
    default_storage.delete(name)

    assert (first, again) == ([], [])
    (member,) = [one.content() for one in members(io.BytesIO(packed([name], spool)), {})]
    assert member == phone_jpeg()
    assert waiting.incoming.name == name


def test_an_upload_that_is_gone_is_named_and_half_of_none_is_kept(bucket: Bucket, tmp_path: Path) -> None:
    spool = Spool(tmp_path)

    assert spool.take(["incoming/none.upload"]) == ["incoming/none.upload"]
    assert not spool.holds("incoming/none.upload")
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_the_bucket_lost_is_told_from_one_that_was_taken_back(
    bucket: Bucket, photo: Photo, tmp_path: Path
) -> None:
    name = str(photo.original.name)
    bucket.objects.clear()

    assert file_add(Writer(io.BytesIO()), name, Spool(tmp_path)) is None
    assert (still_named(name), still_named("photos/none/original.jpg")) == (True, False)


@pytest.mark.parametrize("name", ["../outside.jpg", "/etc/outside.jpg", "photos/../../outside.jpg"])
def test_a_file_stays_within_the_storage(db: None, name: str) -> None:
    with pytest.raises(Exception, match="Detected path traversal"):
        file_put(name, io.BytesIO(b"x"))


def test_a_photo_that_was_taken_back_while_it_was_copied_is_taken_back_once_restored(
    photo: Photo, django_capture_on_commit_callbacks: Callable[..., object]
) -> None:
    with django_capture_on_commit_callbacks(execute=True):  # type: ignore[attr-defined]
        gone = photos_gone(names=[str(photo.original.name)])

    photo.refresh_from_db()
    assert (gone, photo.original.name, Rendition.objects.count()) == (1, "", 0)
    assert photo.superseded_at is not None
    assert photos_gone(names=[]) == 0


def test_a_mail_that_waited_when_the_copy_was_made_is_sent_by_nobody_but_a_person(db: None) -> None:
    for state in ("waiting", "claimed", "sending", "sent"):
        Mail.objects.create(to=f"{state}@example.org", state=state)

    doubted = mails_doubt()
    left = mails_sweep()

    assert (doubted, left) == (3, 0)
    assert sorted(Mail.objects.values_list("state", flat=True)) == [
        "sent",
        "uncertain",
        "uncertain",
        "uncertain",
    ]
