"""Safety pointers that a pattern calls for: shown in passing, without fuss, and never as advice.

The program points to the standards that govern children's garments, to care symbols and to rest. It does not
certify anything: the law of the place of sale, the standards' current editions and licensed practice decide.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from testround.kernel.round import Measure, Pattern
from testround.kernel.units import decimal
from testround.kernel.words import gettext_noop, ngettext, spoken, tell, told

CautionKind = Literal["cords", "small-parts", "steam", "repetitive-work", "long-sitting"]

SMALLEST_ADULT_CHEST_CM = 71.12
"""Bust of the smallest women's size, 28 in (Craft Yarn Council, body sizing). A size more than half a centimetre,
the rounding of such tables, below it is taken for a child's."""
LONG_SITTING_HOURS = 2.0
"""Common practice: a sitting longer than this brings a reminder to rest."""

# "3m", "6-12 months", "2T", "4 years", "age 8", "newborn". A plain "8" or "10" may be a child's or a woman's
# size and is told by the chest alone.
_CHILD_SIZE = re.compile(
    r"(?<![a-z0-9])(?:[0-9]+(?:\s*[-–/]\s*[0-9]+)?\s*(?:m|mo|mos|months?|mths?|t|y|yr|yrs|years?)"
    r"|ages?\s*[0-9]+|newborn|new-born|nb|preemie|premature|baby|babies|infant|toddler|child(?:ren)?|kids?)(?![a-z0-9])",
    re.IGNORECASE,
)
_CHEST_WORDS = frozenset({"bust", "chest"})


@dataclass(frozen=True, slots=True)
class Caution:
    """One pointer, in a sentence or two."""

    kind: CautionKind
    told: str

    @property
    def sentence(self) -> str:
        """The same in the reader's language."""
        return spoken(self.told)


# Titles and scope in our own words: ASTM F1816 and 16 CFR 1120 (drawstrings, US), EN 14682 (cords and
# drawstrings, EU and UK), 16 CFR 1501 (small parts, US).
_CORDS = Caution(
    "cords",
    tell(
        gettext_noop(
            "For a child’s garment, cords, drawstrings and ties are governed by safety standards and local law: ASTM "
            "F1816 and 16 CFR 1120 in the United States, EN 14682 in the EU and the UK, which allow no cords at the head "
            "and neck of young children. Check the law where it is sold; nothing here certifies a garment as safe."
        )
    ),
)
_SMALL_PARTS = Caution(
    "small-parts",
    tell(
        gettext_noop(
            "Buttons, beads and other small parts can be swallowed: for children under three, 16 CFR 1501 in the United "
            "States and local law elsewhere say what may be used. Sew small parts on fast or leave them out; nothing here "
            "certifies a garment as safe."
        )
    ),
)
_STEAM = Caution(
    "steam",
    tell(
        gettext_noop(
            "Before blocking with steam or heat, read the care symbols on the yarn label (ISO 3758): some fibres are "
            "ruined or melt."
        )
    ),
)
_REPETITIVE = Caution(
    "repetitive-work",
    tell(
        gettext_noop(
            "Knitting and crocheting repeat one movement: take short breaks often, stretch and rest. If something hurts, "
            "stop, and ask a health professional if the pain stays."
        )
    ),
)


def cautions_for(pattern: Pattern, own: Mapping[str, float] | None = None) -> tuple[Caution, ...]:
    """The pointers an edition calls for, the most particular first.

    ``own`` are the measures of one made-to-measure tester, cm by key: they may be a child's.
    """
    childrens = (_CORDS, _SMALL_PARTS) if is_for_children(pattern, own) else ()
    return (*childrens, _STEAM, _REPETITIVE)


def is_for_children(pattern: Pattern, own: Mapping[str, float] | None = None) -> bool:
    """Whether any size is a child's: by its name, or by a bust or chest below the smallest adult size."""
    if any(_CHILD_SIZE.search(size) for size in pattern.sizes):
        return True
    chests = [
        value
        for measure in pattern.measures
        if _is_chest(measure)
        for value in (*(measure.values or {}).values(), (own or {}).get(measure.key))
    ]
    return any(value is not None and value < SMALLEST_ADULT_CHEST_CM - 0.5 for value in chests)


def _is_chest(measure: Measure) -> bool:
    words = f"{measure.key.replace('_', ' ')} {measure.label}".lower().split()
    return not _CHEST_WORDS.isdisjoint(words)


def sitting_caution(hours: float) -> Caution | None:
    """A reminder to rest after a long sitting; None after a short one."""
    if not hours > LONG_SITTING_HOURS:
        return None
    return Caution(
        "long-sitting",
        told(_after_sitting, hours),
    )


def _after_sitting(hours: float) -> str:
    return ngettext(
        "That was a sitting of {hours} hour. Pause, stretch and rest your hands and eyes; pain is a matter for a health "
        "professional.",
        "That was a sitting of {hours} hours. Pause, stretch and rest your hands and eyes; pain is a matter for a health "
        "professional.",
        hours,
    ).format(hours=decimal(hours))
