"""Pictures of the piece on the page of a call: taken in and made anew like photos, shown to whoever opens the page."""

from __future__ import annotations

import uuid
from typing import Any

from django.core.files.base import ContentFile
from django.core.files.storage import Storage
from django.db import transaction
from django.db.models import Q, QuerySet
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.outbox.services import handles, work_add
from testround.patterns.access import Right, patterns_open_to, require
from testround.people.language import speaking_to
from testround.people.models import User
from testround.prepared import Prepared
from testround.reports.incoming import with_their_rows
from testround.reports.models import CallPicture, Photo
from testround.reports.photos import LOST, PhotoRefused, photo_check, reencode
from testround.rounds.models import Round
from testround.rounds.refusals import Refused
from testround.rounds.selectors.call import Picture, pictures
from testround.rounds.services import diary_write

MOST_PICTURES = 8
# Wide enough for the page on a large screen, and some hundred kilobytes on a phone.
WIDTH = 800


@pictures
def pictures_of(round: Round) -> list[Picture]:
    """The pictures that are ready, in the order they came: one query."""
    return [
        Picture(
            url=reverse("reports:call_picture", args=[picture.code]),
            width=picture.width or WIDTH,
            height=picture.height or WIDTH,
            shows=picture.shows,
        )
        for picture in _READY.rows(round=round)
    ]


_READY: Prepared[CallPicture] = Prepared(
    lambda round: CallPicture.objects.filter(round=round, state=Photo.State.READY)
)


def pictures_visible_to(user: Any) -> QuerySet[CallPicture]:
    """Pictures of calls that were opened, for everybody; of others, for those who see the round."""
    opened = Q(round__call_code__isnull=False) & ~Q(round__state=Round.State.PLANNED)
    ready = CallPicture.objects.filter(state=Photo.State.READY)
    if not user.is_authenticated:
        return ready.filter(opened)
    return ready.filter(opened | Q(round__edition__pattern__in=patterns_open_to(user, Right.SEE)))


def picture_add(
    *, round: Round, data: bytes, shows: str, key: uuid.UUID | None = None, by: User
) -> CallPicture:
    """Take in a picture; it is on the page once it has been made anew. A press repeated adds it once.

    Raises
    ------
    PhotoRefused
        It is no picture that can be taken.
    Refused
        There are as many as a call can have.
    """
    require(by, Right.EDIT, round.edition.pattern)
    photo_check(data)
    key = key or uuid.uuid4()
    with with_their_rows() as incoming, transaction.atomic():
        Round.objects.select_for_update().get(pk=round.pk)
        before = CallPicture.objects.filter(round=round, key=key).first()
        if before is not None:
            return before
        if round.call_pictures.count() >= MOST_PICTURES:
            said = ngettext(
                "A call has at most {n} picture: take it away first.",
                "A call has at most {n} pictures: take one away first.",
                MOST_PICTURES,
            )
            raise Refused.because(said.format(n=MOST_PICTURES), "photo")
        picture = CallPicture(round=round, key=key, shows=" ".join(shows.split()))
        incoming.store(picture.incoming, f"{picture.code}.upload", data)
        picture.save()
        told = _("Picture added to the call: {picture}.").format(picture=picture.shows)
        diary_write(round=round, by=by, text=told)
        work_add(kind="call picture", subject={"picture": picture.pk}, once_key=f"picture-{picture.pk}")
    return picture


@handles("call picture")
def picture_encode(subject: dict[str, Any]) -> None:
    """Re-encode one picture. Run again after it is done, or taken away, it does nothing."""
    waiting = CallPicture.objects.filter(pk=subject["picture"], state=Photo.State.WAITING)
    picture = waiting.select_related("round__edition__pattern__owner").first()
    if picture is None:
        return
    incoming = (picture.incoming.storage, picture.incoming.name)
    owner = picture.round.edition.pattern.owner
    try:
        with speaking_to(owner), picture.incoming.open("rb") as file:
            encoded = reencode(file.read())
    except (FileNotFoundError, ValueError) as error:
        with speaking_to(owner):
            problem = error.sentence if isinstance(error, PhotoRefused) else _(LOST)
        CallPicture.objects.filter(pk=picture.pk).update(
            state=Photo.State.REFUSED, problem=problem[:300], incoming=""
        )
        _delete([incoming])
        return
    chosen = max((one for one in encoded.renditions if one.width <= WIDTH), key=lambda one: one.width)
    storage = picture.file.storage
    name = f"calls/{picture.code}.jpg"
    if storage.exists(name):
        # A run that was cut short left it there.
        storage.delete(name)
    stored = storage.save(name, ContentFile(chosen.data))
    with transaction.atomic():
        changed = CallPicture.objects.filter(pk=picture.pk, state=Photo.State.WAITING).update(
            state=Photo.State.READY,
            file=stored,
            incoming="",
            problem="",
            width=chosen.width,
            height=chosen.height,
        )
        # Taken away while we worked on it, its file goes too.
        gone = incoming if changed else (storage, stored)
        transaction.on_commit(lambda: _delete([gone]))


@transaction.atomic
def picture_remove(*, picture: CallPicture, by: User) -> None:
    """Take a picture off the page, and delete its files."""
    require(by, Right.EDIT, picture.round.edition.pattern)
    files = [(file.storage, file.name) for file in (picture.incoming, picture.file) if file.name]
    told = _("Picture taken off the call: {picture}.").format(picture=picture.shows)
    diary_write(round=picture.round, by=by, text=told)
    picture.delete()
    transaction.on_commit(lambda: _delete(files))


def _delete(files: list[tuple[Storage, str | None]]) -> None:
    for storage, name in files:
        if name:
            storage.delete(name)
