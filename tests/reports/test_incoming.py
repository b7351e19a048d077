"""A photo's file and its row: both or neither, on a full disk, and when nobody knows whether the database had committed."""

from __future__ import annotations

import datetime as dt
import errno
import os
import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.cache import cache
from django.core.files.storage import FileSystemStorage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import InterfaceError, OperationalError
from django.test import Client
from django.utils import timezone

from testround.people.models import User
from testround.reports import photos
from testround.reports.call_pictures import picture_add
from testround.reports.incoming import incoming_sweep
from testround.reports.models import Photo, Submission
from testround.rounds.models import Place
from tests.reports.pictures import phone_jpeg

Address = Callable[..., str]
pytestmark = pytest.mark.django_db


def files_of(settings: Any) -> list[str]:
    root = Path(settings.MEDIA_ROOT)
    return sorted(str(path.relative_to(root)) for path in root.rglob("*") if path.is_file())


@pytest.fixture
def full_disk(monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    """A disk that takes the first thousand bytes of a file and no more; undone, there is room again."""

    def save(self: FileSystemStorage, name: str, content: Any, max_length: int | None = None) -> str:
        path = Path(self.path(name))
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content.read()[:1000])
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(FileSystemStorage, "save", save)
    return monkeypatch


def filled_in() -> dict[str, Any]:
    upload = SimpleUploadedFile("IMG_1.jpg", phone_jpeg(), content_type="image/jpeg")
    return {"key": str(uuid.uuid4()), "photo": upload, "caption": "Swatch, blocked", "seen": "on"}


def test_on_a_full_disk_a_photo_comes_back_with_clear_words_and_leaves_nothing(
    as_tester: Client, address: Address, full_disk: pytest.MonkeyPatch, settings: Any
) -> None:
    response = as_tester.post(address("photo_new"), filled_in())

    assert (response.status_code, response["Retry-After"]) == (503, "20")
    assert "There is no room left on this server for what you sent, so it was not taken." in response.text
    assert 'value="Swatch, blocked"' in response.text
    assert (Photo.objects.count(), Submission.objects.count(), files_of(settings)) == (0, 0, [])


def test_once_there_is_room_again_the_same_form_is_taken(
    as_tester: Client, address: Address, full_disk: pytest.MonkeyPatch
) -> None:
    form = filled_in()
    as_tester.post(address("photo_new"), form)
    full_disk.undo()
    form["photo"].seek(0)

    assert as_tester.post(address("photo_new"), form).status_code == 302
    assert Photo.objects.count() == 1


@pytest.mark.parametrize("trouble", [OperationalError("commit"), InterfaceError("commit")])
def test_where_the_database_may_have_committed_the_file_stays(
    place: Place, settings: Any, monkeypatch: pytest.MonkeyPatch, trouble: Exception
) -> None:
    def away(**_: Any) -> None:
        raise trouble

    monkeypatch.setattr(photos, "work_add", away)

    with pytest.raises(type(trouble)):
        photos.photo_add(place=place, data=phone_jpeg())

    assert [name.split("/")[0] for name in files_of(settings)] == ["incoming"]


def test_a_file_without_a_row_is_swept_away_after_a_day_and_no_other(
    place: Place, designer: User, settings: Any
) -> None:
    kept = {
        photos.photo_add(place=place, data=phone_jpeg()).incoming.name,
        picture_add(round=place.round, data=phone_jpeg(), shows="The back", by=designer).incoming.name,
    }
    (Path(settings.MEDIA_ROOT) / "incoming" / "orphan.upload").write_bytes(b"came, and was never known of")
    now = timezone.now()

    early = incoming_sweep(now=now + dt.timedelta(hours=23))
    cache.clear()
    late = incoming_sweep(now=now + dt.timedelta(hours=25))
    at_once = incoming_sweep(now=now + dt.timedelta(hours=25))

    assert (early, late, at_once) == (0, 1, 0)
    assert set(files_of(settings)) == kept


def test_nothing_is_swept_where_nothing_ever_came(settings: Any) -> None:
    assert incoming_sweep() == 0
