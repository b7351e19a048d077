"""Photos: taken in at once, made anew after the answer, shown to those of the round.

What came from the phone waits in ``incoming/``, which nothing serves, until the outbox has re-encoded it.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.conf import settings
from django.core.files.base import ContentFile
from django.core.files.storage import Storage
from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from testround.outbox.services import handles, work_add
from testround.people.language import speaking_to
from testround.people.models import User
from testround.reports import encoding
from testround.reports.claims import claim
from testround.reports.encoding import Encoded, PhotoRefused
from testround.reports.incoming import with_their_rows
from testround.reports.models import CallPicture, Photo, Rendition
from testround.reports.selectors import photos_may_be_seen
from testround.rounds.models import Consent, Place
from testround.rounds.services import diary_write
from testround.rounds.services.privacy import check_kept, consent_give
from testround.security import Event, refused

__all__ = [
    "Encoded",
    "PhotoRefused",
    "photo_add",
    "photo_check",
    "photo_remove",
    "photos_delete",
    "photos_gone",
    "reencode",
]

UNSEEN = gettext_noop("You have taken back that your photos may be seen. Say so again to send one.")
LOST = gettext_noop("The file did not get through. Please send the photo again.")


def photo_check(data: bytes) -> None:
    """Refuse what is not a photo, before it is stored. Raises PhotoRefused."""
    with _refusals_noted():
        encoding.check(data, most_bytes=settings.PHOTO_MAX_BYTES, most_pixels=settings.PHOTO_MAX_PIXELS)


def reencode(data: bytes) -> Encoded:
    """The photo made anew, without metadata. Raises PhotoRefused."""
    with _refusals_noted():
        return encoding.reencode(
            data, most_bytes=settings.PHOTO_MAX_BYTES, most_pixels=settings.PHOTO_MAX_PIXELS
        )


@contextmanager
def _refusals_noted() -> Iterator[None]:
    try:
        yield
    except PhotoRefused as error:
        if error.reason:
            refused(Event.UPLOAD_REFUSED, kind="photo", reason=error.reason)
        raise


def photo_add(
    *,
    place: Place,
    data: bytes,
    name: str | None = None,
    caption: str | None = None,
    dimension: str = "",
    key: uuid.UUID | None = None,
    by: User | None = None,
    seen: bool = False,
) -> Photo:
    """Take in a photo, from a tester's form (with its key) or from an imported round (without).

    Without a name it gets one of ours: file names tell dates and more. A tester's photo is taken only where they
    allow that it is seen, with this photo (``seen``) or before.

    Raises
    ------
    PhotoRefused
        It is no photo, or nobody may see it.
    Refused
        What is private of the round is deleted already.
    """
    photo_check(data)
    code = uuid.uuid4()
    with with_their_rows() as incoming, transaction.atomic():
        submission = None
        if key is not None:
            submission, is_new = claim(
                place=place,
                key=key,
                kind="photo",
                by=by,
                content={"caption": caption, "dimension": dimension, "photo": data},
            )
            if not is_new:
                return Photo.objects.get(submission=submission)
            check_kept(place)
            if seen:
                consent_give(place=place, kind=Consent.Kind.SEEN, by=by)
            elif not photos_may_be_seen(place):
                raise PhotoRefused(_(UNSEEN))
        photo = Photo(
            place=place,
            submission=submission,
            code=code,
            name=name or f"{place.key}-{code.hex[:8]}.jpg",
            caption=caption or None,
            dimension=dimension,
        )
        if encoding.made_here(data):
            # An export imported again: what will be kept is known now, and is the same.
            photo.sha256 = encoding.sha256_of(data)
        incoming.store(photo.incoming, f"{code}.upload", data)
        photo.save()
        if key is not None:
            said = _("{name} sent a photo.").format(name=place.name)
            diary_write(round=place.round, text=said, by=by, place=place)
        work_add(kind="photo", subject={"photo": photo.pk}, once_key=f"photo-{photo.pk}")
    return photo


def photo_remove(*, photo: Photo, by: User) -> None:
    """Take a photo back: its files are deleted, the row stays as a note that there was one."""
    with transaction.atomic():
        photo = Photo.objects.select_for_update(of=("self",)).select_related("place__round").get(pk=photo.pk)
        if photo.superseded_at is not None:
            return
        photos_delete(Photo.objects.filter(pk=photo.pk))
        said = _("{name} took a photo back.").format(name=photo.place.name)
        diary_write(round=photo.place.round, text=said, by=by, place=photo.place)


@transaction.atomic
def photos_delete(photos: QuerySet[Photo], *, rows_too: bool = False) -> None:
    """Delete the files of photos once this transaction is committed; their rows stay as notes that there were
    such, unless they go too."""
    found = list(photos.select_for_update(of=("self",)).prefetch_related("renditions"))
    gone = [
        (file.storage, file.name) for photo in found for file in (photo.incoming, photo.original) if file.name
    ]
    gone += [(one.file.storage, one.file.name) for photo in found for one in photo.renditions.all()]
    keys = [photo.pk for photo in found]
    Rendition.objects.filter(photo__in=keys).delete()
    if rows_too:
        Photo.objects.filter(pk__in=keys).delete()
    else:
        Photo.objects.filter(pk__in=keys).update(incoming="", original="", superseded_at=timezone.now())
    transaction.on_commit(lambda: _delete_files(gone))


@transaction.atomic
def photos_gone(*, names: list[str]) -> int:
    """Say of photos whose files are none of the storage's any more that they were taken back. Returns how many."""
    found = Photo.objects.filter(Q(original__in=names) | Q(incoming__in=names)).values_list("pk", flat=True)
    keys = {*found, *Rendition.objects.filter(file__in=names).values_list("photo", flat=True)}
    photos_delete(Photo.objects.filter(pk__in=keys))
    CallPicture.objects.filter(Q(file__in=names) | Q(incoming__in=names)).delete()
    return len(keys)


@handles("photo")
def photo_encode(subject: dict[str, Any]) -> None:
    """Re-encode one incoming photo. Run again after it is done, or taken back, it does nothing."""
    waiting = Photo.objects.filter(pk=subject["photo"], state=Photo.State.WAITING, superseded_at=None)
    photo = waiting.select_related("place__tester").first()
    if photo is None:
        return
    try:
        # What is wrong with it is read by its sender alone.
        with speaking_to(photo.place.tester), photo.incoming.open("rb") as file:
            encoded = reencode(file.read())
    except (FileNotFoundError, ValueError) as error:
        # A FieldFile without a name raises ValueError, of which PhotoRefused is one kind too.
        with speaking_to(photo.place.tester):
            _refuse(photo, error.sentence if isinstance(error, PhotoRefused) else _(LOST))
        return
    storage = photo.original.storage
    folder = f"photos/{photo.code}"
    original = _store(storage, f"{folder}/original.jpg", encoded.original.data)
    files = [
        (picture, _store(storage, f"{folder}/{picture.width}.jpg", picture.data))
        for picture in encoded.renditions
    ]
    with transaction.atomic():
        current = Photo.objects.select_for_update().filter(pk=photo.pk).first()
        if current is None or current.superseded_at is not None:
            # Taken back, or deleted, while we worked on it.
            transaction.on_commit(
                lambda: _delete_files([(storage, name) for name in (original, *(n for _, n in files))])
            )
            return
        photo.renditions.all().delete()
        Rendition.objects.bulk_create(
            Rendition(photo=photo, width=picture.width, height=picture.height, file=name)
            for picture, name in files
        )
        incoming = (current.incoming.storage, current.incoming.name)
        current.original = original
        current.incoming = ""
        current.sha256 = encoded.sha256
        current.width, current.height = encoded.original.width, encoded.original.height
        current.state = Photo.State.READY
        current.problem = ""
        current.save(
            update_fields=["original", "incoming", "sha256", "width", "height", "state", "problem"],
        )
        transaction.on_commit(lambda: _delete_files([incoming]))


def _refuse(photo: Photo, sentence: str) -> None:
    incoming = (photo.incoming.storage, photo.incoming.name)
    photo.state = Photo.State.REFUSED
    photo.problem = sentence[:300]
    photo.incoming = ""
    photo.save(update_fields=["state", "problem", "incoming"])
    _delete_files([incoming])


def _store(storage: Storage, name: str, data: bytes) -> str:
    """Store under exactly this name: a run that was cut short may have left a file there."""
    if storage.exists(name):
        storage.delete(name)
    return storage.save(name, ContentFile(data))


def _delete_files(files: list[tuple[Storage, str | None]]) -> None:
    for storage, name in files:
        if name:
            storage.delete(name)
