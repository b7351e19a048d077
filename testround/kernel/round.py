"""A test round as the analysis sees it, and the round file, version 1.

The Pydantic models below are the single source of the published JSON Schema, of the importer and of the
object that every computation takes. All lengths are centimetres, weights grams, times hours; a gauge is
stitches or rows per 10 cm.
"""

from __future__ import annotations

import datetime as dt
from enum import StrEnum
from typing import Annotated, Any, ClassVar, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    SerializerFunctionWrapHandler,
    StringConstraints,
    model_serializer,
)

from testround.kernel.words import gettext as _

# Limits of what a file may say. They are far outside anything wearable: what is merely odd is asked about
# (see `plausible`), what is beyond these cannot be meant.
LONGEST_CM = 1000.0
LARGEST_COUNT = 1_000_000.0
MOST_TESTERS = 20_000

KEY_PATTERN = r"^[a-z][a-z0-9]*(_[a-z0-9]+)*$"

Key = Annotated[str, StringConstraints(pattern=KEY_PATTERN, max_length=60)]


def _without_null(text: str) -> str:
    """Nobody types a null character, and databases refuse it."""
    if "\0" in text:
        raise ValueError(_("holds a null character, which cannot be seen; type it afresh"))
    return text


_Readable = AfterValidator(_without_null)
Line = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200), _Readable]
Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=5000), _Readable]
SizeName = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=20), _Readable]
Identifier = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.-]*$", max_length=60)]
FormulaText = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=1000)]

Length = Annotated[float, Field(gt=0, le=LONGEST_CM, description="centimetres")]
SignedLength = Annotated[float, Field(ge=-LONGEST_CM, le=LONGEST_CM, description="centimetres")]
StitchCount = Annotated[float, Field(ge=0, le=LARGEST_COUNT, description="stitches, rows or repeats")]
PerTenCm = Annotated[float, Field(gt=0, le=500, description="stitches or rows per 10 cm")]
ToolSize = Annotated[float, Field(gt=0, le=50, description="hook or needle size in millimetres")]
YarnWeight = Annotated[int, Field(ge=0, le=7, description="standard yarn weight, 0 lace to 7 jumbo")]
Metres = Annotated[float, Field(gt=0, le=1_000_000, description="metres of yarn")]
Grams = Annotated[float, Field(gt=0, le=1_000_000, description="grams")]
Hours = Annotated[float, Field(gt=0, le=100_000, description="hours")]
Share = Annotated[float, Field(ge=0, le=1)]
WorkedOut = Annotated[
    float,
    Field(
        ge=-LARGEST_COUNT,
        le=LARGEST_COUNT,
        description="in the unit of its key: stitches, rows, repeats or cm",
    ),
]


def _with_zone(moment: dt.datetime) -> dt.datetime:
    if moment.tzinfo is None:
        raise ValueError(_("a time needs its zone, as in 2027-01-03T09:20:00Z"))
    return moment


Moment = Annotated[dt.datetime, AfterValidator(_with_zone)]


class Craft(StrEnum):
    KNIT = "knit"
    CROCHET = "crochet"


class Kind(StrEnum):
    GRADED = "graded"
    MADE_TO_MEASURE = "made-to-measure"


class Along(StrEnum):
    """What a shaping is spread along; right-side rows are every second row."""

    ROWS = "rows"
    RIGHT_SIDE_ROWS = "right-side-rows"
    ROUNDS = "rounds"
    STITCHES = "stitches"


class FabricState(StrEnum):
    """How the fabric was when it was measured: off the needles or hook, or washed and dried to shape."""

    WORKED = "worked"
    BLOCKED = "blocked"


class FitSays(StrEnum):
    TOO_SMALL = "too-small"
    RIGHT = "right"
    TOO_LARGE = "too-large"


class RemarkKind(StrEnum):
    WRONG_NUMBER = "wrong-number"
    UNCLEAR = "unclear"
    MISSING = "missing"
    TYPO = "typo"
    FIT = "fit"


class Entry(BaseModel):
    """One object of the file: immutable, and closed to keys it does not know."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        allow_inf_nan=False,
        use_attribute_docstrings=True,
        ser_json_inf_nan="null",
    )


def _without_empty(entry: Entry, write: SerializerFunctionWrapHandler, field: str) -> dict[str, Any]:
    document: dict[str, Any] = write(entry)
    if not getattr(entry, field):
        document.pop(field, None)
    return document


class StatedGauge(Entry):
    key: Key
    label: Line
    stitches: PerTenCm
    rows: PerTenCm
    tool_mm: ToolSize | None = None
    yarn_weight: YarnWeight | None = None


class Measure(Entry):
    """A body measurement. ``values`` by size for a graded pattern, none for a made-to-measure one."""

    key: Key
    label: Line
    values: dict[SizeName, Length] | None = None
    how: Text | None = None


class Constant(Entry):
    key: Key
    label: Line
    value: Annotated[float, Field(ge=-LARGEST_COUNT, le=LARGEST_COUNT)]
    unit: Literal["cm", "st", "row", "rep"] | None = None
    """None for a plain ratio."""


class Number(Entry):
    """A computed count with its place in the text."""

    key: Key
    label: Line
    place: Line | None = None
    unit: Literal["st", "row", "rep"]
    formula: FormulaText
    printed: dict[SizeName, StitchCount] | None = None


class Shaping(Entry):
    """Increases or decreases, spread as evenly as can be; whether they are one or the other follows from the
    stitches before and after, formulas in st."""

    key: Key
    label: Line
    place: Line | None = None
    start: FormulaText
    """Stitches before it, a formula in st."""
    end: FormulaText
    """Stitches after it, a formula in st."""
    over: FormulaText
    """What it is worked over: a formula in row, or in st where it is spread along stitches."""
    along: Along = Along.ROWS
    each: Annotated[int, Field(ge=1, le=1000)] = 1
    """Stitches gained or lost each time, in the whole row or round."""
    places: Annotated[int, Field(ge=1, le=1000)] = 1
    """In how many places of the row or round they are: 2 for both ends."""
    at: (
        Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=60), _Readable]
        | None
    ) = None
    """Where those places are, as in "each end"."""


class Dimension(Entry):
    """A finished measurement of the piece, with its tolerance in centimetres."""

    key: Key
    label: Line
    tolerance: Length
    formula: FormulaText
    printed: dict[SizeName, Length] | None = None
    how: Text | None = None


class Part(Entry):
    """A piece of work; ``stitches`` is a formula for how many stitches it takes (st*row)."""

    key: Key
    label: Line
    stitches: FormulaText


class Pattern(Entry):
    """One edition of a pattern: the sheet of its numbers."""

    title: Line
    edition: Line
    craft: Craft
    kind: Kind
    gauges: Annotated[tuple[StatedGauge, ...], Field(min_length=1, max_length=20)]
    sizes: Annotated[tuple[SizeName, ...], Field(max_length=60)] = ()
    measures: Annotated[tuple[Measure, ...], Field(max_length=100)] = ()
    constants: Annotated[tuple[Constant, ...], Field(max_length=200)] = ()
    numbers: Annotated[tuple[Number, ...], Field(max_length=500)] = ()
    shapings: Annotated[tuple[Shaping, ...], Field(max_length=200)] = ()
    dimensions: Annotated[tuple[Dimension, ...], Field(max_length=100)] = ()
    parts: Annotated[tuple[Part, ...], Field(max_length=100)] = ()
    yarn: dict[SizeName, Metres] | None = None
    yarn_per_m2: Metres | None = None
    hours: dict[SizeName, Hours] | None = None

    @property
    def is_graded(self) -> bool:
        return self.kind is Kind.GRADED

    @model_serializer(mode="wrap")
    def _without_empty_shapings(self, write: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """Shapings came to the format later: a file without any is written as it always was."""
        return _without_empty(self, write, "shapings")


class Places(Entry):
    """How many testers each size needs, and how many it can take."""

    least: dict[SizeName, Annotated[int, Field(ge=0, le=MOST_TESTERS)]] | None = None
    most: dict[SizeName, Annotated[int, Field(ge=0, le=MOST_TESTERS)]] | None = None


class Yarn(Entry):
    label: Line
    weight: YarnWeight | None = None
    fibre: Line | None = None
    metres_per_ball: Metres | None = None
    grams_per_ball: Grams | None = None


class SuppliedYarn(Yarn):
    """A yarn the designer supplies; ``makers`` is how many testers it can clothe."""

    key: Key
    makers: Annotated[int, Field(ge=0, le=MOST_TESTERS)] | None = None


class RoundPlan(Entry):
    title: Line
    opens: dt.date | None = None
    swatches_due: dt.date | None = None
    closes: dt.date | None = None
    places: Places | None = None
    yarns: Annotated[tuple[SuppliedYarn, ...], Field(max_length=100)] = ()


class Candidate(Entry):
    """Someone who offered to test and has no place yet."""

    id: Identifier
    name: Line
    measures: dict[Key, Length] = {}
    wishes: tuple[SizeName, ...] = ()
    yarns: tuple[Key, ...] = ()
    own_yarn: bool = False
    tests_before: Annotated[int, Field(ge=0, le=100_000)] | None = None
    answered: Moment | None = None


class Swatch(Entry):
    """Stitches counted over a width, rows counted over a height, or both."""

    gauge: Key
    state: FabricState
    tool_mm: ToolSize | None = None
    width: Length | None = None
    stitches: Annotated[float, Field(gt=0, le=LARGEST_COUNT)] | None = None
    height: Length | None = None
    rows: Annotated[float, Field(gt=0, le=LARGEST_COUNT)] | None = None


class Count(Entry):
    """What a tester arrived at for one number of the sheet."""

    number: Key
    worked: StitchCount


class Finished(Entry):
    """Repeat readings of one finished measurement, in the order taken."""

    dimension: Key
    state: FabricState
    values: Annotated[tuple[Length, ...], Field(min_length=1, max_length=50)]


class YarnUsed(Entry):
    metres: Metres | None = None
    grams: Grams | None = None


class Sitting(Entry):
    """A stretch of work on a part; ``done`` is the share of the part finished when it ended."""

    part: Key | None = None
    hours: Annotated[float, Field(gt=0, le=100_000)]
    done: Share | None = None


class Guess(Entry):
    hours: Hours | None = None
    metres: Metres | None = None


class Fit(Entry):
    dimension: Key
    says: FitSays


class Remark(Entry):
    place: Line | None = None
    kind: RemarkKind
    text: Text


class PhotoEntry(Entry):
    """A photo that travels beside the file in a ZIP, under ``photos/`` and this name."""

    name: Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.-]*$", max_length=120)]
    sha256: Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
    caption: Annotated[str, StringConstraints(strip_whitespace=True, max_length=500), _Readable] | None = None


class Tester(Entry):
    """One tester and everything that tester sent so far; any part may be missing."""

    # Test runners take a class of this name for one of theirs.
    __test__: ClassVar[bool] = False

    id: Identifier
    name: Line
    size: SizeName | None = None
    measures: dict[Key, Length] = {}
    worked_out: dict[Key, WorkedOut] = {}
    """Made to measure, once the measures are deleted: the numbers that were worked out from them, and a measure
    only where a dimension or a part names it itself."""
    yarn: Yarn | None = None
    swatches: Annotated[tuple[Swatch, ...], Field(max_length=200)] = ()
    counts: Annotated[tuple[Count, ...], Field(max_length=2000)] = ()
    finished: Annotated[tuple[Finished, ...], Field(max_length=500)] = ()
    yarn_used: YarnUsed | None = None
    sittings: Annotated[tuple[Sitting, ...], Field(max_length=5000)] = ()
    guess: Guess | None = None
    fit: Annotated[tuple[Fit, ...], Field(max_length=200)] = ()
    remarks: Annotated[tuple[Remark, ...], Field(max_length=1000)] = ()
    photos: Annotated[tuple[PhotoEntry, ...], Field(max_length=200)] = ()

    @model_serializer(mode="wrap")
    def _without_empty_worked_out(self, write: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """It came to the format later: a file without any is written as it always was."""
        return _without_empty(self, write, "worked_out")


class Round(Entry):
    """The whole round file: a pattern's edition, the round's plan, candidates and testers."""

    format: Literal["testround/round"]
    version: Literal[1]
    pattern: Pattern
    round: RoundPlan
    candidates: Annotated[tuple[Candidate, ...], Field(max_length=MOST_TESTERS)] = ()
    testers: Annotated[tuple[Tester, ...], Field(max_length=MOST_TESTERS)] = ()

    def tester(self, tester_id: str) -> Tester:
        """The tester of that id; KeyError when there is none."""
        for tester in self.testers:
            if tester.id == tester_id:
                return tester
        raise KeyError(tester_id)
