"""How often the database is asked until a report is acknowledged: as often for the tenth as for the second."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from testround.outbox import services as outbox
from testround.rounds.models import Place
from tests.reports.test_views import Address

# What every report asks. Whose session it is and who that is; the place among those that they hold; then, in one
# transaction, the place locked, whether its key was taken, the submission, its row, the diary and the work that waits;
# and whether a draft was sent with it.
EVERY = 10

COSTS: dict[str, tuple[dict[str, str], int]] = {
    # The swatches that there are, to say whether they will do.
    "swatch": (
        {
            "gauge": "body",
            "state": "blocked",
            "tool": "4",
            "width": "10",
            "stitches": "20",
            "height": "10",
            "rows": "28",
        },
        EVERY + 1,
    ),
    # The counts that there are.
    "counts": ({"count_back_sts": "101"}, EVERY + 1),
    # Those before are superseded; and whether every measurement is in.
    "finished": ({"state": "blocked", "read_chest_1": "92"}, EVERY + 2),
    # Whether a timer was forgotten.
    "sitting": ({"hours": "1.5"}, EVERY + 1),
    # Whether what is private of the round is still kept.
    "remark": ({"kind": "unclear", "remark": "Which edge is meant here?"}, EVERY + 1),
}


@pytest.mark.parametrize("before", [1, 9])
@pytest.mark.parametrize("kind", COSTS)
def test_a_report_costs_the_same_whatever_was_sent_before(
    kind: str,
    before: int,
    as_tester: Client,
    address: Address,
    place: Place,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # As while workers have not begun yet.
    monkeypatch.setattr(outbox, "send_off", lambda *_: None)
    said, asked = COSTS[kind]

    def send() -> Any:
        return as_tester.post(address(kind), {**said, "key": str(uuid.uuid4())})

    for _time in range(before):
        assert send().status_code == 302
    if kind == "counts":
        said = {"count_back_sts": "102"}
        asked += 1  # the one before is superseded

    with CaptureQueriesContext(connection) as found:
        assert send().status_code == 302

    statements = [query["sql"] for query in found if "SAVEPOINT" not in query["sql"]]
    assert len(statements) == asked, "\n".join(statements)
