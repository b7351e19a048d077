"""A round file in and out of the database."""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections import defaultdict
from collections.abc import Callable, Iterable
from typing import Any

from django.db import transaction
from django.db.models import Model
from django.utils import timezone
from django.utils.translation import gettext as _

from testround.kernel import round as kernel
from testround.kernel.problems import Problem
from testround.kernel.roundfile import RoundFileError, plain, read_round, write_round
from testround.patterns.models import Edition, Pattern
from testround.patterns.services import edition_create_next, edition_freeze, pattern_create
from testround.people.models import User
from testround.reports.bridge import kernel_round
from testround.reports.models import Count, Finished, Fit, Photo, Remark, Reported, Sitting, Swatch
from testround.reports.photos import PhotoRefused, photo_add
from testround.reports.unpacking import PHOTO_FOLDER, ROUND_NAME, unpacked
from testround.rounds.clock import purge_date
from testround.rounds.models import Candidate, Place, Round, SuppliedYarn
from testround.rounds.services import diary_write

Progress = Callable[[str], None]

# Every export of a round gives the same bytes; the earliest time a ZIP can name.
ZIP_TIME = (1980, 1, 1, 0, 0, 0)


# --- out ----------------------------------------------------------------------------------------------------


def round_export(round_: Round, *, photos: bool) -> bytes:
    """The round as a round file, or with ``photos`` as a ZIP of that file and the photos it names."""
    document = write_round(kernel_round(round_))
    if not photos:
        return document
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        _pack(archive, ROUND_NAME, document, zipfile.ZIP_DEFLATED)
        rows = Photo.objects.filter(place__round=round_, superseded_at=None).exclude(original="")
        for photo in rows.exclude(place__state=Place.State.GIVEN_BACK).order_by("pk"):
            with photo.original.open("rb") as original:
                _pack(archive, PHOTO_FOLDER + photo.name, original.read(), zipfile.ZIP_STORED)
    return packed.getvalue()


def _pack(archive: zipfile.ZipFile, name: str, data: bytes, how: int) -> None:
    entry = zipfile.ZipInfo(name, ZIP_TIME)
    entry.compress_type = how
    archive.writestr(entry, data)


# --- in -----------------------------------------------------------------------------------------------------


def round_import(*, data: bytes, owner: User, progress: Progress = lambda _: None) -> Round:
    """Store the round of a round file, or of a ZIP with its photos, for its owner: all of it or nothing.

    Raises
    ------
    RoundFileError
        With every problem; nothing was stored.
    """
    if data[:4] == b"PK\x03\x04":
        progress("Unpacking the ZIP")
        document, photos = unpacked(data)
    else:
        document, photos = data, {}
    progress("Reading and checking the round file")
    read = read_round(document)
    _check_photos(read, photos)
    stored_files: list[Photo] = []
    try:
        with transaction.atomic():
            return _stored(read, photos, owner, progress, stored_files)
    except BaseException:
        # The rows are rolled back; the files they named are not part of the transaction.
        for photo in stored_files:
            for file in (photo.incoming, photo.original):
                if file:
                    file.storage.delete(file.name)
        raise


def _check_photos(read: kernel.Round, photos: dict[str, bytes]) -> None:
    problems = []
    named = set()
    for i, tester in enumerate(read.testers):
        for j, photo in enumerate(tester.photos):
            named.add(photo.name)
            if photo.name in photos and hashlib.sha256(photos[photo.name]).hexdigest() != photo.sha256:
                problems.append(
                    Problem(
                        f"testers[{i}].photos[{j}].sha256",
                        _("does not fit the photo {photo} in the ZIP; one of them was changed").format(
                            photo=photo.name
                        ),
                    )
                )
    problems += [
        Problem(PHOTO_FOLDER + name, _("is named by no tester in the round file; take it out or name it"))
        for name in sorted(photos.keys() - named)
    ]
    if problems:
        raise RoundFileError(problems)


def _stored(
    read: kernel.Round, photos: dict[str, bytes], owner: User, progress: Progress, stored_files: list[Photo]
) -> Round:
    edition = _edition_for(read.pattern, owner)
    plan = read.round
    if edition.rounds.filter(title=plan.title).exists():
        raise RoundFileError(
            [
                Problem(
                    "round.title",
                    _(
                        "edition {edition} of {pattern} already has a round called {round}; "
                        "give this one another title"
                    ).format(edition=edition.label, pattern=edition.pattern.title, round=plan.title),
                )
            ]
        )
    round_ = Round.objects.create(
        edition=edition,
        title=plan.title,
        state=_state_of_round(read),
        opens=plan.opens,
        swatches_due=plan.swatches_due,
        closes=plan.closes,
        purge_on=purge_date(plan.closes, today=timezone.localdate()),
        places_plan=plain(plan.places) if plan.places is not None else None,
    )
    SuppliedYarn.objects.bulk_create(SuppliedYarn(round=round_, **dict(yarn)) for yarn in plan.yarns)
    Candidate.objects.bulk_create(
        Candidate(
            round=round_,
            key=candidate.id,
            name=candidate.name,
            measures=candidate.measures,
            wishes=list(candidate.wishes),
            yarns=list(candidate.yarns),
            own_yarn=candidate.own_yarn,
            tests_before=candidate.tests_before,
            answered=candidate.answered,
        )
        for candidate in read.candidates
    )
    progress(f"Storing {len(read.testers)} testers and {len(read.candidates)} candidates")
    places = Place.objects.bulk_create(_place(round_, tester, read.pattern) for tester in read.testers)
    rows: dict[type[Model], list[Any]] = defaultdict(list)
    for place, tester in zip(places, read.testers, strict=True):
        for row in _reported_rows(place, tester):
            rows[type(row)].append(row)
    for model, made in rows.items():
        model._default_manager.bulk_create(made, batch_size=2000)
    if any(tester.photos for tester in read.testers):
        progress(f"Storing {len(photos)} photos")
    for place, tester in zip(places, read.testers, strict=True):
        for photo in tester.photos:
            stored_files.append(_photo(place, photo, photos.get(photo.name)))
    diary_write(round=round_, text=_("The round was imported from a round file."), by=owner)
    return round_


def _edition_for(document: kernel.Pattern, owner: User) -> Edition:
    """The owner's edition with these numbers: the one there is, or a new one under the same title."""
    pattern = Pattern.objects.filter(owner=owner, title=document.title).first()
    edition = pattern.editions.filter(label=document.edition).first() if pattern else None
    if edition is not None:
        if edition.document != document:
            raise RoundFileError(
                [
                    Problem(
                        "pattern.edition",
                        _(
                            "you have edition {edition} of {pattern} already, with other numbers; "
                            "give this one another edition"
                        ).format(edition=document.edition, pattern=document.title),
                    )
                ]
            )
    else:
        latest = pattern.editions.first() if pattern else None
        edition = (
            edition_create_next(edition=latest, label=document.edition, document=document, by=owner)
            if latest
            else pattern_create(owner=owner, document=document)
        )
    edition_freeze(edition=edition)
    return edition


def _state_of_round(read: kernel.Round) -> str:
    """How far a round has come, by what its testers have sent."""
    if any(tester.finished for tester in read.testers):
        return Round.State.MEASURING
    if any(tester.counts or tester.sittings for tester in read.testers):
        return Round.State.MAKING
    if read.testers:
        return Round.State.SWATCHING
    return Round.State.GATHERING if read.candidates else Round.State.PLANNED


def _state_of_place(tester: kernel.Tester, pattern: kernel.Pattern) -> str:
    measured = {finished.dimension for finished in tester.finished}
    if measured and measured >= {dimension.key for dimension in pattern.dimensions}:
        return Place.State.MEASURED
    if tester.counts or tester.sittings or tester.finished:
        return Place.State.MAKING
    if tester.swatches:
        return Place.State.SWATCH_SENT
    return Place.State.TAKEN


def _place(round_: Round, tester: kernel.Tester, pattern: kernel.Pattern) -> Place:
    yarn, used, guess = tester.yarn, tester.yarn_used, tester.guess
    return Place(
        round=round_,
        key=tester.id,
        name=tester.name,
        size=tester.size,
        state=_state_of_place(tester, pattern),
        measures=tester.measures,
        worked_out=tester.worked_out,
        yarn_label=yarn.label if yarn else None,
        yarn_weight=yarn.weight if yarn else None,
        yarn_fibre=yarn.fibre if yarn else None,
        metres_per_ball=yarn.metres_per_ball if yarn else None,
        grams_per_ball=yarn.grams_per_ball if yarn else None,
        used_metres=used.metres if used else None,
        used_grams=used.grams if used else None,
        guess_hours=guess.hours if guess else None,
        guess_metres=guess.metres if guess else None,
    )


def _reported_rows(place: Place, tester: kernel.Tester) -> Iterable[Reported]:
    for swatch in tester.swatches:
        yield Swatch(place=place, **dict(swatch))
    for count in tester.counts:
        yield Count(place=place, **dict(count))
    for finished in tester.finished:
        yield Finished(
            place=place, dimension=finished.dimension, state=finished.state, values=list(finished.values)
        )
    for sitting in tester.sittings:
        yield Sitting(place=place, **dict(sitting))
    for fit in tester.fit:
        yield Fit(place=place, **dict(fit))
    for remark in tester.remarks:
        yield Remark(place=place, where=remark.place, kind=remark.kind, text=remark.text)


def _photo(place: Place, entry: kernel.PhotoEntry, data: bytes | None) -> Photo:
    """The photo of an entry; without its file it is kept as a photo that is known of and not there."""
    if data is None:
        return Photo.objects.create(
            place=place,
            name=entry.name,
            caption=entry.caption,
            sha256=entry.sha256,
            state=Photo.State.REFUSED,
            problem="The picture did not come with the round file. Import the ZIP to have it.",
        )
    try:
        return photo_add(place=place, data=data, name=entry.name, caption=entry.caption)
    except PhotoRefused as refused:
        raise RoundFileError([Problem(PHOTO_FOLDER + entry.name, refused.sentence)]) from None
