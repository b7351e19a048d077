"""What the pages of the call read."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Count
from django.utils.translation import gettext as _

from testround.kernel.cautions import Caution, cautions_for
from testround.kernel.measuring import how_to_measure
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.units import YARN_WEIGHTS, decimal
from testround.kernel.words import commas, listed
from testround.patterns.models import Edition
from testround.prepared import Prepared
from testround.rounds.models import Candidate, Round, SuppliedYarn
from testround.rounds.services.call import CallState, call_state, offers_wanted, sizes_sought

METRES_PER_YARD = 0.9144
_WEIGHTS = {weight.category: weight for weight in YARN_WEIGHTS}


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture of the piece: where it is, how large, and what it shows."""

    url: str
    width: int
    height: int
    shows: str


Picturer = Callable[[Round], Sequence[Picture]]
_picturers: list[Picturer] = []


def pictures(picturer: Picturer) -> Picturer:
    """Register a function that gives the pictures of a round's call; they are kept by a room above this one."""
    _picturers.append(picturer)
    return picturer


@dataclass(frozen=True, slots=True)
class Line:
    """One measurement of the table: what it is, how it is taken, and its length in cm by size."""

    label: str
    how: str
    values: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class Yarn:
    """A yarn the designer supplies, in the words of its band."""

    label: str
    words: str


@dataclass(frozen=True, slots=True)
class Bring:
    """How much yarn one piece takes: of a size, or of a square metre where ``size`` is None."""

    size: str | None
    metres: float

    @property
    def yards(self) -> int:
        return math.ceil(self.metres / METRES_PER_YARD)


@dataclass(frozen=True, slots=True)
class CallPage:
    """Is this a piece I would like to make, and what would I take on?"""

    round: Round
    document: SheetDocument
    state: CallState
    sizes: tuple[str, ...]
    body: tuple[Line, ...]
    finished: tuple[Line, ...]
    yarns: tuple[SuppliedYarn, ...]
    supplied: tuple[Yarn, ...]
    bring: tuple[Bring, ...]
    pictures: tuple[Picture, ...]
    cautions: tuple[Caution, ...]

    @property
    def span(self) -> int:
        """Columns of sizes in the table."""
        return len(self.sizes)

    @property
    def body_said(self) -> str:
        """What is measured of a body, in words."""
        return commas(line.label for line in self.body)

    @property
    def sought(self) -> str:
        """In which sizes testers are looked for, in words; empty where it is in all of them."""
        sought = sizes_sought(self.round)
        return listed(sought) if 0 < len(sought) < len(self.sizes) else ""

    @property
    def wanted(self) -> str:
        """The sizes that somebody who offers may get, in words."""
        return self.sought or listed(self.sizes)

    @property
    def is_crochet(self) -> bool:
        return self.document.craft == "crochet"


def call_page(round: Round) -> CallPage:
    """The page of a call, in a number of queries that does not depend on who offered: a count and the yarns."""
    document = round.edition.document
    counts = call_counts(round)
    yarns = tuple(_YARNS.rows(round=round))
    body = tuple(
        Line(
            measure.label,
            how_to_measure(measure.key, measure.label, measure.how),
            tuple((measure.values or {}).get(size) for size in document.sizes),
        )
        for measure in document.measures
    )
    if document.yarn:
        bring = tuple(Bring(size, document.yarn[size]) for size in document.sizes if size in document.yarn)
    else:
        bring = (Bring(None, document.yarn_per_m2),) if document.yarn_per_m2 else ()
    return CallPage(
        round=round,
        document=document,
        state=call_state(round, confirmed=counts.confirmed),
        sizes=document.sizes,
        body=body,
        finished=_finished(round.edition),
        yarns=yarns,
        supplied=tuple(Yarn(yarn.label, band_words(yarn)) for yarn in yarns),
        bring=bring,
        pictures=tuple(picture for picturer in _picturers for picture in picturer(round)),
        cautions=tuple(c for c in cautions_for(document) if c.kind in ("cords", "small-parts")),
    )


_YARNS: Prepared[SuppliedYarn] = Prepared(lambda round: SuppliedYarn.objects.filter(round=round))


def _finished(edition: Edition) -> tuple[Line, ...]:
    """Finished measurements by size: as printed, else as the sheet computes them."""
    document = edition.document
    if not document.sizes or not document.dimensions:
        return ()
    sheet = edition.compiled
    inputs = sheet.stated()
    computed = sheet.dimensions(inputs, sheet.numbers(inputs))
    lines = []
    for dimension in document.dimensions:
        printed = dimension.printed or {}
        values = tuple(
            printed.get(size, float(computed[dimension.key][j])) for j, size in enumerate(document.sizes)
        )
        lines.append(Line(dimension.label, dimension.how or "", values))
    return tuple(lines)


def band_words(yarn: SuppliedYarn) -> str:
    """What a yarn's band says, on one line; empty where nothing is known of it."""
    said = []
    if yarn.weight is not None and yarn.weight in _WEIGHTS:
        said.append(_("weight {weight}").format(weight=_WEIGHTS[yarn.weight].label))
    if yarn.fibre:
        said.append(yarn.fibre)
    if yarn.metres_per_ball and yarn.grams_per_ball:
        said.append(
            _("{metres} m to {grams} g").format(
                metres=decimal(yarn.metres_per_ball), grams=decimal(yarn.grams_per_ball)
            )
        )
    elif yarn.metres_per_ball:
        said.append(_("{metres} m to a ball").format(metres=decimal(yarn.metres_per_ball)))
    return commas(said)


@dataclass(frozen=True, slots=True)
class CallCounts:
    """How many offers there are, by how far they came."""

    unconfirmed: int
    confirmed: int
    waiting: int
    withdrawn: int
    wanted: int


def call_counts(round: Round) -> CallCounts:
    """One query. ``confirmed`` counts those, too, who have a place by now."""
    State = Candidate.State
    found: Counter[Any] = Counter(dict(_BY_STATE.rows(round=round)))
    return CallCounts(
        unconfirmed=found[State.OFFERED],
        confirmed=found[State.CONFIRMED] + found[State.PLACED],
        waiting=found[State.WAITING],
        withdrawn=found[State.WITHDRAWN],
        wanted=offers_wanted(round),
    )


_BY_STATE: Prepared[tuple[str, int]] = Prepared(
    lambda round: (
        Candidate.objects.filter(round=round).order_by().values_list("state").annotate(count=Count("pk"))
    )
)
