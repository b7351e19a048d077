"""Who may send and read reports by the API."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from tests.api.rows_shape import Row, row

if TYPE_CHECKING:
    from tests.test_access import Scene


def place(scene: Scene) -> tuple[Any, ...]:
    return (scene.place.pk,)


def of_round(scene: Scene) -> tuple[Any, ...]:
    return (scene.round.code,)


SWATCH = {"gauge": "body", "state": "blocked", "width": 10, "stitches": 22, "height": 10, "rows": 30}

REPORT_ROWS: dict[str, Row] = {
    name: row(place, tester=200)
    for name in (
        *(
            f"{kind}_list"
            for kind in ("swatches", "counts", "finished", "sittings", "remarks", "fit", "reports")
        ),
        *(f"{kind}_retrieve" for kind in ("measures", "guess", "yarn")),
        "swatches_answer",
        "places_finish",
    )
}
REPORT_ROWS |= {
    f"{kind}_read": row(of_round, designer=200, editor=200)
    for kind in ("swatches", "counts", "finished", "sittings", "remarks", "fit", "reports")
}
REPORT_ROWS |= {
    f"{kind}_send": row(place, body, tester=201)
    for kind, body in {
        "swatches": SWATCH,
        "counts": {"counts": {"back_sts": 92}},
        "finished": {"state": "blocked", "readings": {"chest": [84]}},
        "sittings": {"hours": 2.5},
        "remarks": {"kind": "unclear", "text": "Which side faces me?"},
        "fit": {"says": {"chest": "right"}},
        "measures": {"measures": {"bust": 78}},
        "guess": {"hours": 30},
        "yarn": {"grams": 400},
    }.items()
}
