"""Sheets made by Hypothesis that are freer than those of `tests/generated.py`: any counts, parts and dimensions."""

from __future__ import annotations

import json
from typing import Any

from hypothesis import strategies as st

from testround.kernel.round import Pattern

_PLACES = st.sampled_from([None, "Back, step 1", "Back, step 2", "Sleeves, step 1", "Yoke", "Body, step 9"])
_STITCHES = st.sampled_from(["a_sts", "b_sts", "c_sts", "d_sts"])
_ROWS = st.sampled_from(["a_rows", "b_rows", "c_rows"])


@st.composite
def _part_formulas(draw: st.DrawFn) -> str:
    """Strips and wedges, and now and then something that is neither."""

    def width() -> str:
        one, other, times = draw(_STITCHES), draw(_STITCHES), draw(st.integers(1, 3))
        return draw(
            st.sampled_from(
                [
                    one,
                    f"{times} * {one}",
                    f"({one} + {other}) / 2",
                    f"({one} + {other})",
                    f"max({one}, {other})",
                ]
            )
        )

    def height() -> str:
        one, other = draw(_ROWS), draw(_ROWS)
        return draw(st.sampled_from([one, f"({one} + {other})", f"{one} / 2"]))

    terms = [f"{width()} * {height()}" for _ in range(draw(st.integers(1, 4)))]
    return " + ".join(terms)


@st.composite
def _dimension_formulas(draw: st.DrawFn) -> str:
    gauge, sts, other = draw(st.sampled_from(["body", "rib"])), draw(_STITCHES), draw(_STITCHES)
    rows, more = draw(_ROWS), draw(_ROWS)
    return draw(
        st.sampled_from(
            [
                f"{sts} / {gauge}.st",
                f"2 * {sts} / {gauge}.st",
                f"({sts} + 2 * {other}) / body.st + ease",
                f"{rows} / {gauge}.row",
                f"{rows} / rib.row + {more} / body.row",
                f"({rows} + {more}) / body.row",
                f"{sts} / body.st + {rows} / body.row",
                "bust + ease",
                "ease * 2",
            ]
        )
    )


@st.composite
def free_patterns(draw: st.DrawFn) -> Pattern:
    """A graded pattern of one size, with one to thirty dimensions of any kind."""
    words = st.sampled_from(
        ["Hem", "Waist", "Neck", "Cuff", "Edge", "A very long name of a measurement", "é <b>"]
    )
    hows = st.sampled_from([None, "Across, then double.", "Straight up.", "Lay it flat."])
    document: dict[str, Any] = {
        "title": "Free",
        "edition": "1",
        "craft": draw(st.sampled_from(["knit", "crochet"])),
        "kind": "graded",
        "gauges": [
            {"key": key, "label": key, "stitches": draw(st.integers(8, 40)), "rows": draw(st.integers(8, 50))}
            for key in ("body", "rib")
        ],
        "sizes": ["M"],
        "measures": [{"key": "bust", "label": "Bust", "values": {"M": draw(st.integers(10, 150))}}],
        "constants": [{"key": "ease", "label": "Ease", "value": draw(st.integers(1, 30)), "unit": "cm"}],
        "numbers": [
            {
                "key": f"{name}_{unit}",
                "label": draw(words),
                "place": draw(_PLACES),
                "unit": unit.removesuffix("s"),
                "formula": str(draw(st.integers(1, 400))),
            }
            for unit, names in (("sts", "abcd"), ("rows", "abc"))
            for name in names
        ],
        "dimensions": [
            {
                "key": f"dim_{k}",
                "label": draw(words),
                "tolerance": 1,
                "formula": draw(_dimension_formulas()),
                "how": draw(hows),
            }
            for k in range(draw(st.integers(1, 30)))
        ],
        "parts": [
            {"key": f"part_{k}", "label": draw(words), "stitches": draw(_part_formulas())}
            for k in range(draw(st.integers(0, 4)))
        ],
    }
    return Pattern.model_validate_json(json.dumps(document), strict=True)
