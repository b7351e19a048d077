"""The disk is full: photos come back with clear words, what was taken stays, and everything goes on once there is room."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from tests.failures.conftest import RoundOfTesters, with_session_of
from tests.failures.disk import Disk
from tests.served.browser import eventually
from tests.served.conftest import Installation

pytestmark = [pytest.mark.failures, pytest.mark.postgres, pytest.mark.redis]

SEND = (
    "from testround.outbox.mail import mail_send; from testround.outbox.letters import letter; "
    "mail_send(to='hazel@example.org', letter=letter('Your place', 'It is yours.'))"
)


def noisy_photo() -> bytes:
    """Of some two megabytes, which is more than any single file may have where no disk can be mounted."""
    pixels = np.random.default_rng(7).integers(0, 255, (1000, 1500, 3), dtype=np.uint8)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=90)
    return out.getvalue()


def state_of(installation: Installation, caption: str) -> list[tuple[str]]:
    return installation.query("SELECT state FROM reports_photo WHERE caption = %s", caption)


def test_on_a_full_disk_a_photo_comes_back_and_all_else_goes_on(
    installation: Installation, testers: RoundOfTesters, disk: Disk
) -> None:
    phone, place = testers.phones[0]
    tester = with_session_of(installation, phone.cookies["sessionid"])
    form = tester.get(f"{place}photo/")

    with disk.full(installation.web.pid):
        refused = tester.send(form, holding="caption", photo=noisy_photo(), caption="full", seen="on")
        remark = tester.send(tester.get(f"{place}remark/"), holding="remark", kind="typo", remark="Row 3")
        health = tester.get("/healthz")
        left = sorted(path.name for path in (disk.folder / "media").rglob("*.upload"))
    meanwhile = state_of(installation, "full")
    taken = tester.send(form, holding="caption", photo=noisy_photo(), caption="full", seen="on")

    assert (refused.status, refused.headers["retry-after"]) == (503, "20")
    assert "There is no room left on this server for what you sent" in refused.text
    assert (meanwhile, left) == ([], [])
    assert ("Your remark has arrived." in remark.text, health.status) == (True, 200)
    assert "Your photo has arrived." in taken.text
    eventually(lambda: state_of(installation, "full") == [("ready",)], within=60)


def test_a_photo_that_finds_no_room_to_be_made_anew_waits_until_there_is(
    installation: Installation, testers: RoundOfTesters, disk: Disk
) -> None:
    phone, place = testers.phones[0]
    tester = with_session_of(installation, phone.cookies["sessionid"])
    trouble = "SELECT state, problem FROM outbox_work WHERE kind = 'photo' AND problem <> ''"
    with installation.without_worker():
        form = tester.get(f"{place}photo/")
        tester.send(form, holding="caption", photo=noisy_photo(), caption="no room", seen="on")
        installation.lose_all_tasks()

    with disk.full(installation.worker.pid):
        installation.a_minute_passes()
        installation.do_chores()
        ((state, problem),) = eventually(lambda: installation.query(trouble))
    meanwhile = state_of(installation, "no room")
    installation.a_minute_passes()
    installation.do_chores()

    assert state == "waiting"
    assert problem.startswith("OSError: ")
    assert meanwhile == [("waiting",)]
    eventually(lambda: state_of(installation, "no room") == [("ready",)], within=60)


def test_a_mail_that_finds_no_room_in_its_folder_waits_until_there_is(
    installation: Installation, disk: Disk
) -> None:
    if not disk.is_mounted:
        # Who may mount nothing has no disk to fill; `tests/outbox` holds the same of a folder that refuses.
        return
    waiting = "SELECT state, problem FROM outbox_mail WHERE \"to\" = 'hazel@example.org'"

    with disk.full():
        installation.python(SEND)
        ((state, problem),) = eventually(
            lambda: [row for row in installation.query(waiting) if row[1]], within=30
        )
        parts = list((disk.folder / "mail").glob(".*.part"))
    installation.a_minute_passes()
    installation.do_chores()

    assert (state, parts) == ("waiting", [])
    assert "No space left on device" in problem
    (mail,) = eventually(lambda: installation.mails_to("hazel@example.org"), within=60)
    assert mail["Subject"] == "Your place"
