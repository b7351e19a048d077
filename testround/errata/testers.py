"""Testers in the middle of it hear at once of an erratum that touches their size, and what it means to them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, cast

from django.conf import settings
from django.db import transaction
from django.db.models import QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from testround.errata.heard import when_published
from testround.errata.models import Erratum
from testround.errata.wording import change_sizes, means
from testround.kernel.terms import Terms, translate
from testround.outbox.letters import Action, Words, letter
from testround.outbox.mail import Kind, mail_send
from testround.outbox.services import handles, work_add
from testround.people.language import speaking_to
from testround.people.readers import Reader, reader_of
from testround.reports.asides import News, tells
from testround.reports.models import Count, Finished
from testround.reports.models_phone import StepTick
from testround.rounds.models import Place
from testround.talk.models import Look

# How long an erratum is new to somebody who has not looked at what was said since.
NEW_FOR = dt.timedelta(days=14)
MOST_NEWS = 5
MAKING = (
    Place.State.TAKEN,
    Place.State.SWATCH_SENT,
    Place.State.GAUGE_AGREED,
    Place.State.MAKING,
    Place.State.MEASURED,
)


@dataclass(frozen=True, slots=True)
class Made:
    """What a tester has told of the making: counts sent by number, steps ticked off, dimensions measured."""

    sent: Mapping[str, float] = field(default_factory=dict)
    ticked: frozenset[str] = frozenset()
    measured: frozenset[str] = frozenset()


def made_by(places: Iterable[Place]) -> dict[int, Made]:
    """What each of these places has told, in three queries."""
    keys = [place.pk for place in places]
    sent: dict[int, dict[str, float]] = {}
    for place, number, worked in Count.objects.filter(place__in=keys, superseded_at__isnull=True).values_list(
        "place_id", "number", "worked"
    ):
        sent.setdefault(place, {})[number] = worked
    ticked = _sets(StepTick.objects.filter(place__in=keys, done=True).values_list("place_id", "number"))
    measured = _sets(
        Finished.objects.filter(place__in=keys, superseded_at__isnull=True).values_list(
            "place_id", "dimension"
        )
    )
    return {
        key: Made(sent.get(key, {}), frozenset(ticked.get(key, ())), frozenset(measured.get(key, ())))
        for key in keys
    }


def _sets(pairs: Iterable[tuple[int, str]]) -> dict[int, set[str]]:
    found: dict[int, set[str]] = {}
    for place, name in pairs:
        found.setdefault(place, set()).add(name)
    return found


def touches(erratum: Erratum, size: str | None) -> bool:
    """Whether an erratum changes anything for a size: a number of it, the gauge, or the words for it."""
    if size and erratum.sizes and size not in erratum.sizes:
        return False
    if not erratum.changes or not size:
        return True
    # Its numbers say whom it is for; one that has none of this size is for the others.
    return change_sizes(erratum.changes, size)


def what_it_means(erratum: Erratum, place: Place, made: Made, reader: Reader) -> tuple[str, ...]:
    """An erratum to the tester of a place, in their terms and units: a sentence for each number of their size."""

    def told(text: str) -> str:
        return translate(text, source=cast(Terms, erratum.edition.terms), target=reader.terms)

    changes = [
        {**change, "label": told(change["label"]), "place": told(change["place"])}
        for change in erratum.changes
    ]
    said = means(
        changes,
        place.size or "",
        sent=made.sent,
        ticked=made.ticked,
        measured=made.measured,
        finished=place.state in (Place.State.MEASURED, Place.State.DONE),
        units=reader.units,
    )
    return said or (told(erratum.text),)


def _published(edition_id: int) -> QuerySet[Erratum]:
    return Erratum.objects.published().filter(edition=edition_id).select_related("edition", "pattern")


# News on the tester's own page


@tells
def errata_for(place: Place) -> Iterator[News]:
    """The published errata of the edition that touch the tester's size: one query where there are none, five else."""
    if place.tester is None or place.state in (Place.State.OFFERED, Place.State.GIVEN_BACK):
        return
    touching = [
        erratum
        for erratum in _published(place.round.edition_id).order_by("-number")
        if touches(erratum, place.size)
    ][:MOST_NEWS]
    if not touching:
        return
    made = made_by([place])[place.pk]
    reader = reader_of(place.tester)
    looked = (
        Look.objects.filter(person=place.tester, round=place.round, what=Look.At.NOTES)
        .values_list("at", flat=True)
        .first()
    )
    for erratum in touching:
        at = erratum.published_at
        assert at is not None  # noqa: S101 -- only published ones are read
        yield News(
            _("Erratum {number}").format(number=erratum.number),
            "\n".join(what_it_means(erratum, place, made, reader)),
            at,
            at > timezone.now() - NEW_FOR and (looked is None or at > looked),
            _address(erratum, place.size, absolute=False),
        )


def _address(erratum: Erratum, size: str | None, *, absolute: bool) -> str:
    path = reverse("errata:erratum", args=[erratum.pattern.code, erratum.number])
    return f"{settings.SITE_URL}{path}" if absolute else path


# The mail


@when_published
def mail_to_testers(erratum: Erratum) -> None:
    """Mails follow after commit: two hundred testers do not keep an erratum from being published."""
    work_add(kind="tell-testers", subject={"erratum": erratum.pk}, once_key=f"erratum-{erratum.pk}")


@handles("tell-testers")
def _tell_testers(subject: Mapping[str, Any]) -> None:
    erratum = _published_one(subject["erratum"])
    if erratum is not None:
        erratum_tell(erratum=erratum)


def _published_one(pk: int) -> Erratum | None:
    return Erratum.objects.published().filter(pk=pk).select_related("edition", "pattern__owner").first()


def places_told_of(erratum: Erratum) -> list[Place]:
    """The places whose testers are in the middle of the edition that it corrects, in a size that it touches."""
    places = (
        Place.objects.filter(round__edition=erratum.edition_id, tester__isnull=False, tester__is_active=True)
        .filter(state__in=MAKING)
        .select_related("tester", "round__edition__pattern")
        .order_by("pk")
    )
    return [place for place in places if touches(erratum, place.size)]


@transaction.atomic
def erratum_tell(*, erratum: Erratum) -> int:
    """Mail every tester that it touches what it means to them, once; those who stopped such mail get none."""
    places = places_told_of(erratum)
    made = made_by(places)
    for place in places:
        tester = place.tester
        assert tester is not None  # noqa: S101 -- only places that are held are told
        with speaking_to(tester):
            said = _letter(erratum, place, what_it_means(erratum, place, made[place.pk], reader_of(tester)))
        mail_send(
            to=tester.email,
            letter=said,
            kind=Kind.NOTES,
            person=tester,
            name=place.name,
            about=place.round.code,
            once_key=f"erratum-{erratum.pk}-{place.pk}",
        )
    return len(places)


def _letter(erratum: Erratum, place: Place, said: Sequence[str]) -> Any:
    pattern = erratum.pattern.title
    if place.size:
        opening = _(
            "A correction to {pattern} is published that touches your size, {size}. What it means to you:"
        )
    else:
        opening = _("A correction to {pattern} is published that touches your piece. What it means to you:")
    return letter(
        _("Erratum {number} for {pattern}: what it means to you").format(
            number=erratum.number, pattern=pattern
        ),
        _("Hello {name},").format(name=place.name),
        opening.format(pattern=pattern, size=place.size),
        *(Words(sentence) for sentence in said),
        Action(_("Read the whole erratum"), _address(erratum, place.size, absolute=True)),
        why=_("You get this mail because you test {pattern}.").format(pattern=pattern),
    )
