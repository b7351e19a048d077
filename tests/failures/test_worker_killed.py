"""A worker is killed in the middle of a photo: it gets ready in the end, once."""

from __future__ import annotations

import io
from functools import partial

import numpy as np
import pytest
from PIL import Image

from tests.failures.conftest import RoundOfTesters, with_session_of
from tests.served.browser import Browser, eventually
from tests.served.conftest import Installation

pytestmark = [pytest.mark.failures, pytest.mark.postgres, pytest.mark.redis]

ATTEMPTS = 5


def large_photo() -> bytes:
    """So many pixels that making it anew takes a while: nothing is left to see of it in the file's size."""
    pixels = np.zeros((6000, 8000, 3), dtype=np.uint8)
    pixels[::50] = 200
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=60)
    return out.getvalue()


def work_on(installation: Installation, photo: int) -> list[tuple[str, int]]:
    """The state of the work that makes a photo, and how often it was begun."""
    rows = installation.query(
        "SELECT state, attempts FROM outbox_work WHERE kind = 'photo' AND (subject->>'photo')::int = %s",
        photo,
    )
    return [(str(state), int(attempts)) for state, attempts in rows]


def killed_in_the_middle(installation: Installation, tester: Browser, place: str) -> tuple[int, str]:
    """Send photos until the worker was killed while it made one; the photo's row and code."""
    data = large_photo()
    for attempt in range(ATTEMPTS):
        caption = f"killed {attempt}"
        form = tester.get(f"{place}photo/")
        answer = tester.send(form, holding="caption", photo=data, caption=caption, seen="on")
        assert "Your photo has arrived." in answer.text
        ((pk, code),) = installation.query("SELECT id, code FROM reports_photo WHERE caption = %s", caption)
        eventually(partial(is_begun, installation, pk))
        # With the processes it has, as a machine that is out of memory does.
        installation.worker.kill()
        caught = work_on(installation, pk) == [("waiting", 1)]
        installation.start_worker()
        if caught:
            return int(pk), str(code)
    pytest.fail(f"of {ATTEMPTS} photos none was in the making when its worker was killed")


def is_begun(installation: Installation, photo: int) -> bool:
    return work_on(installation, photo)[0][1] == 1


def test_a_photo_whose_worker_is_killed_gets_ready_once(
    installation: Installation, testers: RoundOfTesters
) -> None:
    phone, place = testers.phones[0]
    tester = with_session_of(installation, phone.cookies["sessionid"])

    pk, code = killed_in_the_middle(installation, tester, place)
    state = "SELECT state FROM reports_photo WHERE id = %s"
    meanwhile = installation.query(state, pk)
    for _ in range(2):
        installation.a_minute_passes()
        installation.do_chores()
    eventually(lambda: work_on(installation, pk) == [("done", 2)], within=60)

    assert (meanwhile, installation.query(state, pk)) == ([("waiting",)], [("ready",)])
    widths = installation.query("SELECT width FROM reports_rendition WHERE photo_id = %s ORDER BY 1", pk)
    assert len(widths) == len(set(widths)) > 0
    media = installation.folder / "var" / "media"
    files = {path.name for path in (media / "photos" / code).iterdir()}
    assert files == {"original.jpg", *(f"{width}.jpg" for (width,) in widths)}
    eventually(lambda: list((media / "incoming").iterdir()) == [])
