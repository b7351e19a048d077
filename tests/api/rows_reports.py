"""Who may send and read reports by the API."""

from __future__ import annotations

import uuid
from functools import cache
from typing import TYPE_CHECKING, Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test.client import BOUNDARY, encode_multipart

from tests.api.rows_shape import Row, row
from tests.reports.pictures import phone_jpeg

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


@cache
def a_photo(*, seen: bool = True) -> bytes:
    """The body of a form of several parts with a photo in it."""
    file = SimpleUploadedFile("IMG_1234.jpg", phone_jpeg(), "image/jpeg")
    return encode_multipart(BOUNDARY, {"photo": file, **({"seen": "true"} if seen else {})})


def _photo(scene: Scene) -> tuple[Any, ...]:
    return (scene.place.pk, scene.photo.code)


def _remark_form(scene: Scene) -> tuple[Any, ...]:
    return (scene.place.pk, "remark")


REPORT_ROWS |= {
    "photos_list": row(place, tester=200),
    "photos_send": row(place, lambda scene: a_photo(), tester=201),
    "photos_retrieve": row(_photo, tester=200),
    "photos_remove": row(_photo, tester=204),
    "photos_file": row(lambda scene: (*_photo(scene), 320), tester=200),
    "reports_stand": row(lambda scene: (scene.round.code, scene.place.pk), designer=200, editor=200),
    "photos_read": row(of_round, designer=200, editor=200),
    "photos_download": row(lambda scene: (scene.round.code, scene.photo.code, 320), designer=200, editor=200),
    "unsent_list": row(place, tester=200),
    "unsent_retrieve": row(_remark_form, tester=200),
    "unsent_keep": row(_remark_form, {"values": {"text": "Which side"}}, tester=200),
    "unsent_drop": row(_remark_form, tester=204),
    "timer_retrieve": row(place, tester=200),
    "timer_start": row(place, {}, tester=200),
    # None is under way.
    "timer_stop": row(place, {}, tester=409),
    "timer_drop": row(place, tester=204),
    "counting_retrieve": row(place, tester=200),
    "counting_send": row(
        place,
        {"events": [{"id": str(uuid.uuid4()), "kind": "tick", "number": "back_sts", "done": True}]},
        tester=200,
    ),
    "thanks_retrieve": row(place, tester=200),
    "thanks_set": row(place, {"thanked_as": "", "in_report": False}, tester=200),
    "consents_retrieve": row(place, tester=200),
    "consents_set": row(place, {"kinds": []}, tester=200),
}
