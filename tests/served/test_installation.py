"""The served form, as it runs: real processes, real forms, and what happens when parts of it are away."""

from __future__ import annotations

import io
import json
import re

import pytest
from PIL import Image

from tests.reports.pictures import SECRETS, phone_jpeg
from tests.served.browser import Browser, Page, eventually
from tests.served.conftest import DESIGNER, PASSWORD, TESTER, Installation

pytestmark = [pytest.mark.postgres, pytest.mark.redis]

# Seconds. Nobody is kept waiting for a Redis that does not answer.
AT_ONCE = 5.0
Place = tuple[Browser, str]


def photos_on(page: Page) -> set[str]:
    return set(re.findall(r"/photos/([0-9a-f-]{36})/\d+/", page.text))


def send_photo(tester: Browser, place: str, caption: str) -> Page:
    page = tester.get(f"{place}photo/")
    return tester.send(page, holding="caption", photo=phone_jpeg(orientation=6), caption=caption, seen="on")


def photo_is_ready(installation: Installation, caption: str) -> bool:
    rows = installation.query("SELECT state FROM reports_photo WHERE caption = %s", caption)
    return rows == [("ready",)]


def waiting_work(installation: Installation) -> list[str]:
    rows = installation.query("SELECT kind FROM outbox_work WHERE state = 'waiting' ORDER BY id")
    return [kind for (kind,) in rows]


# -- everything in its place -------------------------------------------------------------------------------


def test_health_says_that_database_and_cache_answer(installation: Installation) -> None:
    page = installation.browser().get("/readyz")

    assert (page.status, json.loads(page.body)) == (
        200,
        {"database": "ok", "migrations": "ok", "storage": "ok", "redis": "ok"},
    )


def test_static_files_have_hashed_names_and_are_kept_for_ever(installation: Installation) -> None:
    browser = installation.browser()
    sheets = re.findall(r'href="(/static/css/[^"]+\.css)"', browser.get("/").text)
    assert sheets

    for sheet in sheets:
        page = browser.get(sheet)
        assert re.search(r"\.[0-9a-f]{12}\.css$", sheet)
        assert page.status == 200
        assert page.headers["cache-control"] == "max-age=315360000, public, immutable"


def test_a_host_it_does_not_answer_to_is_refused(installation: Installation) -> None:
    port = installation.address.rsplit(":", 1)[1]

    # The same server under a name that ALLOWED_HOSTS does not hold.
    assert Browser(f"http://localhost:{port}").get("/").status == 400


def test_a_newcomer_signs_up_confirms_by_mail_and_is_in(
    installation: Installation, designer_browser: Browser
) -> None:
    assert "Fen Designer" in designer_browser.get("/me/preferences/").text
    (mail,) = installation.mails_to(DESIGNER)[:1]
    (link,) = re.findall(r"https?://\S+", mail.get_body(("plain",)).get_content())
    assert link.startswith(f"{installation.address}/account/confirm-email/")


def test_a_form_without_its_token_is_refused(installation: Installation, designer_browser: Browser) -> None:
    refused = installation.browser().post("/account/login/", {"login": DESIGNER, "password": PASSWORD})

    assert refused.status == 403


def test_the_folder_of_mails_is_no_page_of_a_served_installation(designer_browser: Browser) -> None:
    assert designer_browser.get("/mail/").status == 404


def test_a_tester_follows_an_invitation_to_a_place(installation: Installation, tester_place: Place) -> None:
    tester, place = tester_place

    page = tester.get(place)

    assert page.status == 200
    assert "Fenlight" in page.text
    held = installation.query(
        "SELECT p.name, p.size, p.state FROM rounds_place p JOIN people_user u ON u.id = p.tester_id WHERE u.email = %s",
        TESTER,
    )
    assert held == [("Willow", "XL", "taken")]


def test_a_photo_is_made_anew_by_the_worker_and_keeps_no_secrets(
    installation: Installation, tester_place: Place
) -> None:
    tester, place = tester_place
    sent = phone_jpeg(orientation=6)
    assert all(secret in sent for secret in (b"Exif", b"at home"))
    before = photos_on(tester.get(f"{place}photo/"))

    answer = send_photo(tester, place, "laid flat")

    assert "Your photo has arrived." in answer.text
    (code,) = eventually(lambda: photos_on(tester.get(f"{place}photo/")) - before)
    picture = tester.get(f"/photos/{code}/320/")
    assert picture.headers["content-type"] == "image/jpeg"
    assert [secret for secret in SECRETS if secret in picture.body] == []
    with Image.open(io.BytesIO(picture.body)) as image:
        # Upright: the camera lay on its side.
        assert (image.width < image.height, dict(image.getexif())) == (True, {})
    assert list((installation.folder / "var" / "media" / "incoming").glob("*")) == []


def test_a_photo_is_for_its_tester_and_the_designer_only(
    installation: Installation, designer_browser: Browser, tester_place: Place
) -> None:
    tester, place = tester_place
    send_photo(tester, place, "for two")
    eventually(lambda: photo_is_ready(installation, "for two"))
    ((code,),) = installation.query("SELECT code FROM reports_photo WHERE caption = 'for two'")
    path = f"/photos/{code}/320/"

    signed_out = installation.browser().get(path)

    assert (tester.get(path).status, designer_browser.get(path).status) == (200, 200)
    assert "/account/login/" in signed_out.url


# -- parts of it away --------------------------------------------------------------------------------------


def test_what_is_sent_while_no_worker_runs_is_done_when_one_does(
    installation: Installation, tester_place: Place
) -> None:
    tester, place = tester_place

    with installation.without_worker():
        answer = send_photo(tester, place, "no worker")
        assert "Your photo has arrived." in answer.text
        assert not photo_is_ready(installation, "no worker")

    eventually(lambda: photo_is_ready(installation, "no worker"))


def test_work_whose_task_was_lost_is_picked_up_by_the_chores(
    installation: Installation, tester_place: Place
) -> None:
    tester, place = tester_place
    with installation.without_worker():
        send_photo(tester, place, "lost task")
        installation.lose_all_tasks()
    assert "photo" in waiting_work(installation)
    assert not photo_is_ready(installation, "lost task")

    installation.a_minute_passes()
    installation.do_chores()

    eventually(lambda: photo_is_ready(installation, "lost task"))


def test_without_redis_a_submission_is_taken_at_once_and_its_work_waits(
    installation: Installation, tester_place: Place
) -> None:
    tester, place = tester_place

    with installation.without_redis():
        remark = tester.send(
            tester.get(f"{place}remark/"), holding="remark", kind="unclear", remark="Which side faces me?"
        )
        photo = send_photo(tester, place, "no redis")

        assert "Your remark has arrived." in remark.text
        assert "Your photo has arrived." in photo.text
        assert (remark.status, photo.status) == (200, 200)
        assert max(remark.seconds, photo.seconds) < AT_ONCE
        assert "photo" in waiting_work(installation)

    assert installation.query("SELECT count(*) FROM reports_remark WHERE text = 'Which side faces me?'") == [
        (1,)
    ]
    installation.a_minute_passes()
    # The worker finds its way back to the queue by itself.
    installation.do_chores()
    eventually(lambda: photo_is_ready(installation, "no redis"), within=60)


def test_once_redis_is_back_work_goes_its_usual_way(installation: Installation, tester_place: Place) -> None:
    tester, place = tester_place
    with installation.without_redis():
        tester.get(place)

    send_photo(tester, place, "redis is back")

    eventually(lambda: photo_is_ready(installation, "redis is back"), within=60)


def test_without_redis_pages_and_signing_in_go_on(
    installation: Installation, designer_browser: Browser, round_code: str
) -> None:
    with installation.without_redis():
        somebody = installation.browser()
        front = somebody.get("/")
        signed_in = somebody.send(
            somebody.get("/account/login/"), holding="password", login=DESIGNER, password=PASSWORD
        )
        round_page = somebody.get(f"/rounds/{round_code}/")

    assert (front.status, signed_in.status, round_page.status) == (200, 200, 200)
    assert "Sign out" in signed_in.text
    assert max(front.seconds, signed_in.seconds, round_page.seconds) < AT_ONCE


def test_without_redis_the_server_says_that_it_is_redis_and_nothing_else(installation: Installation) -> None:
    with installation.without_redis():
        page = installation.browser().get("/readyz")
        alive = installation.browser().get("/healthz").status

    assert (page.status, json.loads(page.body)) == (
        503,
        {"database": "ok", "migrations": "ok", "storage": "ok", "redis": "no answer"},
    )
    assert alive == 200
    assert installation.browser().get("/readyz").status == 200
