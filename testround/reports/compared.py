"""The photos of a round side by side: of one size, of one measurement, and one by one in that order."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from django.db.models import Case, IntegerField, Prefetch, QuerySet, Value, When

from testround.kernel import round as kernel
from testround.reports.models import Photo
from testround.rounds.models import Consent, Round
from testround.rounds.services.privacy import CHOSEN_APART


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which photos are asked for; empty for all."""

    size: str = ""
    dimension: str = ""

    @classmethod
    def asked(cls, query: Mapping[str, str], pattern: kernel.Pattern) -> Wanted:
        """What an address asks for, as far as the pattern has it."""
        size, dimension = query.get("size", ""), query.get("dimension", "")
        return cls(
            size if size in pattern.sizes else "",
            dimension if any(dimension == one.key for one in pattern.dimensions) else "",
        )

    @property
    def query(self) -> str:
        """As the end of an address, without a question mark."""
        kept = {name: value for name, value in (("size", self.size), ("dimension", self.dimension)) if value}
        return urlencode(kept)


def photos_in(test_round: Round, wanted: Wanted | None = None) -> QuerySet[Photo]:
    """The photos of a round that are ready, with who sent them and what they allow.

    In wearing order of the sizes, and within a size newest first, so that what is to be compared stands together.
    """
    wanted = wanted or Wanted()
    photos = Photo.objects.filter(place__round=test_round, state=Photo.State.READY, superseded_at=None)
    if wanted.size:
        photos = photos.filter(place__size=wanted.size)
    if wanted.dimension:
        photos = photos.filter(dimension=wanted.dimension)
    sizes = test_round.edition.document.sizes
    rank = Case(
        *(When(place__size=size, then=Value(k)) for k, size in enumerate(sizes)),
        default=Value(len(sizes)),
        output_field=IntegerField(),
    )
    allowed = Prefetch(
        "place__consents",
        Consent.objects.filter(withdrawn_at=None)
        .exclude(kind__in=(Consent.Kind.SEEN, *CHOSEN_APART))
        .order_by("kind"),
        to_attr="standing",
    )
    return photos.select_related("place").prefetch_related(allowed).order_by(rank, "-pk")


@dataclass(frozen=True, slots=True)
class OnePhoto:
    """One photo large, and its neighbours in the order of the page."""

    photo: Photo
    number: int
    of: int
    before: uuid.UUID | None
    after: uuid.UUID | None


def one_photo(photos: QuerySet[Photo], code: str) -> OnePhoto | None:
    """The photo of that code among those asked for; None where it is not one of them."""
    codes = list(photos.values_list("code", flat=True))
    at = next((k for k, each in enumerate(codes) if str(each) == code), None)
    if at is None:
        return None
    photo = photos.filter(code=codes[at]).first()
    if photo is None:
        return None
    return OnePhoto(
        photo,
        at + 1,
        len(codes),
        codes[at - 1] if at else None,
        codes[at + 1] if at + 1 < len(codes) else None,
    )
