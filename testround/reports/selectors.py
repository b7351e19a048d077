"""What a tester's pages read. Each starts from the places the person holds."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache, cached_property, partial
from typing import Any, TypeVar, cast

from django.db.models import Q, QuerySet
from django.http import Http404
from django.shortcuts import get_object_or_404
from django.utils.translation import get_language

from testround.kernel import round as kernel
from testround.kernel.gauge import SwatchAnswer, answer_swatch, swatches_will_do
from testround.kernel.sheet import Sheet
from testround.kernel.terms import Terms, translate
from testround.kernel.worksheet import Worksheet, worksheet
from testround.patterns.access import Right, patterns_open_to
from testround.patterns.compiled import named_document
from testround.patterns.models import Edition
from testround.people.models import User
from testround.prepared import Prepared
from testround.recent import Recent
from testround.reports.asides import SAID
from testround.reports.bridge import kernel_tester
from testround.reports.models import Count, Finished, Fit, Photo, Rendition, Reported, Submission, Swatch
from testround.rounds.models import Consent, Place
from testround.rounds.selectors import places_of
from testround.rows import RowsDigest, hanging_on

# What this process has just worked out, for the next page of the same tester.
_translated: Recent[kernel.Pattern] = Recent(16)
_sheets: Recent[Sheet] = Recent(32)
_answers: Recent[SwatchAnswer] = Recent(256)
_worksheets: Recent[Worksheet] = Recent(64)

AnyReported = TypeVar("AnyReported", bound=Reported)


def place_held(user: User, pk: int) -> Place:
    """The place, when this person holds it; otherwise there is no such page."""
    place = _HELD.first(user=user, pk=pk)
    if place is None:
        raise Http404
    return place


_HELD: Prepared[Place] = Prepared(lambda user, pk: places_of(user).filter(pk=pk))


def place_run(user: User, code: str, pk: int) -> Place:
    """A place of a round that this person runs; otherwise there is no such page."""
    places = Place.objects.filter(
        round__edition__pattern__in=patterns_open_to(user, Right.SEE), round__code=code
    )
    return get_object_or_404(places.select_related("round__edition__pattern__owner", "tester"), pk=pk)


def photos_visible_to(user: User) -> QuerySet[Photo]:
    """Photos that are ready: a tester's own, and those of the rounds a person runs."""
    return Photo.objects.filter(
        Q(place__tester=user) | Q(place__round__edition__pattern__in=patterns_open_to(user, Right.SEE)),
        state=Photo.State.READY,
        superseded_at=None,
    )


@dataclass(frozen=True)
class Desk:
    """A tester's place with what was sent so far, as the kernel takes it: one tester, not the whole round."""

    place: Place
    pattern: kernel.Pattern
    sheet_name: str
    """A name for all that the pattern says, in the dialect in which it says it."""
    known: Mapping[type[Reported], tuple[Any, ...]] = field(default_factory=dict)
    """What was read already, of many places at once; the rest is read when it is asked for."""

    @cached_property
    def swatches(self) -> tuple[Swatch, ...]:
        return self._current(Swatch)

    @cached_property
    def counts(self) -> tuple[Count, ...]:
        return self._current(Count)

    @cached_property
    def finished(self) -> tuple[Finished, ...]:
        return self._current(Finished)

    def _current(self, kind: type[AnyReported]) -> tuple[AnyReported, ...]:
        if kind in self.known:
            return self.known[kind]
        return tuple(current_rows(self.place, kind))

    @cached_property
    def sheet(self) -> Sheet:
        return _sheets.get_or_keep(self.sheet_name, lambda: Sheet(self.pattern))

    @cached_property
    def tester(self) -> kernel.Tester:
        return kernel_tester(self.place, {Swatch: self.swatches, Count: self.counts, Finished: self.finished})

    @cached_property
    def round(self) -> kernel.Round:
        """The round with this tester alone in it."""
        return self._round_of(self.tester)

    @cached_property
    def worksheet(self) -> Worksheet:
        return self._worksheet_of(self._swatched)

    @cached_property
    def worksheet_of_size(self) -> Worksheet:
        """What everybody works and should come out at who makes this size: no swatch is read for it.

        Made to measure, everybody has numbers of their own, and this is the tester's.
        """
        if not self.pattern.is_graded:
            return self.worksheet
        return self._worksheet_of(kernel.Tester(id="anybody", name="Anybody", size=self.place.size))

    def _worksheet_of(self, tester: kernel.Tester) -> Worksheet:
        return _worksheets.get_or_keep(
            self._name_with(tester),
            lambda: worksheet(self._round_of(tester), tester, sheet=self.sheet),
        )

    def swatches_will_do(self) -> bool:
        """Whether the answer to the swatches is that they will do, for less work than the whole answer is."""
        return bool(self.swatches) and swatches_will_do(self.sheet, self._swatched, self._swatched.swatches)

    def swatch_answer(self) -> SwatchAnswer | None:
        """What the swatches say; None before there is one."""
        return self._swatch_answer if self.swatches else None

    @cached_property
    def _swatch_answer(self) -> SwatchAnswer:
        # Several pages of a tester open with it.
        return _answers.get_or_keep(
            self._name_with(self._swatched),
            lambda: answer_swatch(self.sheet, self._swatched, self._swatched.swatches),
        )

    @cached_property
    def _swatched(self) -> kernel.Tester:
        """The tester as far as their own numbers and the answer to their swatches rest on them."""
        return kernel_tester(self.place, {Swatch: self.swatches})

    def _name_with(self, tester: kernel.Tester) -> str:
        """A name for this sheet and that much of a tester, as it is said in the present language."""
        said = repr((self.sheet_name, get_language(), tester.model_dump_json()))
        return hashlib.sha256(said.encode()).hexdigest()

    def _round_of(self, tester: kernel.Tester) -> kernel.Round:
        return kernel.Round(
            format="testround/round",
            version=1,
            pattern=self.pattern,
            round=kernel.RoundPlan(title=self.place.round.title),
            testers=(tester,),
        )

    @property
    def lacks_measures(self) -> tuple[kernel.Measure, ...]:
        """Body measurements without which the numbers cannot be worked out."""
        if self.pattern.is_graded:
            return ()
        return tuple(measure for measure in self.pattern.measures if measure.key not in self.place.measures)

    @property
    def unmeasured(self) -> tuple[kernel.Dimension, ...]:
        done = {row.dimension for row in self.finished}
        return tuple(dimension for dimension in self.pattern.dimensions if dimension.key not in done)


def desk_of(place: Place, terms: Terms | None = None) -> Desk:
    """No query yet; one for each kind of report that is then read off it, whatever was sent.

    With ``terms`` a crochet sheet's words are in that dialect.
    """
    name, pattern = _in_terms(place.round.edition, terms)
    return Desk(place=place, pattern=pattern, sheet_name=name)


def current_rows(place: Place, kind: type[AnyReported]) -> list[AnyReported]:
    """The swatches, counts or finished measurements of a place that count, in the order sent: one query."""
    return _CURRENT[kind].rows(place=place)


def _current_of(place: Place, kind: type[Any]) -> QuerySet[Any]:
    return kind._default_manager.filter(place=place, superseded_at=None).order_by("pk")


_CURRENT: dict[type[Any], Prepared[Any]] = {
    kind: Prepared(partial(_current_of, kind=kind)) for kind in (Swatch, Count, Finished)
}


@cache
def _rows_of_a_place() -> RowsDigest:
    # What was said in the round counts for every place in it.
    return RowsDigest({**hanging_on(Place, "{table}.id = %s"), **SAID})


def place_digest(place: Place) -> str:
    """A name for all that is stored of a place and of what was said in its round: one query, whatever was sent."""
    return _rows_of_a_place().of(place.pk)


def pattern_for(edition: Edition, terms: Terms) -> kernel.Pattern:
    """The sheet of an edition, a crochet one in the reader's dialect."""
    return _in_terms(edition, terms)[1]


def typed_before(place: Place, kind: str) -> dict[str, str]:
    """What was typed in the last submission of a kind whose content is kept on the place itself."""
    last = Submission.objects.filter(place=place, kind=kind).order_by("-sent", "-pk").first()
    return dict(last.typed) if last else {}


def current_fit(place: Place) -> dict[str, str]:
    rows = Fit.objects.filter(place=place, superseded_at=None).order_by("pk")
    return {row.dimension: row.says for row in rows}


def photos_of(place: Place) -> QuerySet[Photo]:
    """The photos a tester sent and did not take back, newest first."""
    return Photo.objects.filter(place=place, superseded_at=None).order_by("-pk")


def photos_may_be_seen(place: Place) -> bool:
    """Whether the tester allows it; photos from before this was asked were sent to be seen."""
    asked = list(place.consents.filter(kind=Consent.Kind.SEEN).values_list("withdrawn_at", flat=True))
    if asked:
        return None in asked
    return Photo.objects.filter(place=place, superseded_at=None).exists()


def consents_of(place: Place) -> set[str]:
    """The kinds that stand at a place; that photos may be seen, also where they were sent before it was asked."""
    standing = set(place.consents.filter(withdrawn_at=None).values_list("kind", flat=True))
    if photos_may_be_seen(place):
        standing.add(str(Consent.Kind.SEEN))
    return standing


def rendition_at(photo: Photo, width: int) -> Rendition:
    """The narrowest rendition at least that wide, or the widest there is."""
    renditions = sorted(photo.renditions.all(), key=lambda rendition: rendition.width)
    if not renditions:
        raise Http404
    return next((rendition for rendition in renditions if rendition.width >= width), renditions[-1])


def _in_terms(edition: Edition, terms: Terms | None) -> tuple[str, kernel.Pattern]:
    """The sheet with its labels and instructions in a dialect, and a name for it; places in the text keep theirs."""
    name, pattern = named_document(edition.sheet)
    written_in = cast(Terms, edition.terms)
    if terms is None or pattern.craft is not kernel.Craft.CROCHET or terms == written_in:
        return name, pattern
    name = f"{name}:{written_in}:{terms}"
    return name, _translated.get_or_keep(name, lambda: _translate(pattern, written_in, terms))


def _translate(pattern: kernel.Pattern, written_in: Terms, terms: Terms) -> kernel.Pattern:
    def said(entry: Any) -> Any:
        words = {"label": translate(entry.label, source=written_in, target=terms)}
        for name in ("how", "at"):
            if getattr(entry, name, None):
                words[name] = translate(getattr(entry, name), source=written_in, target=terms)
        return entry.model_copy(update=words)

    groups = ("gauges", "measures", "constants", "numbers", "shapings", "dimensions", "parts")
    return pattern.model_copy(
        update={group: tuple(said(entry) for entry in getattr(pattern, group)) for group in groups}
    )
