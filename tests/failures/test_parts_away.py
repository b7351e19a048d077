"""PostgreSQL and Redis stop and come back while testers report: nothing acknowledged is lost, and no page is left broken."""

from __future__ import annotations

import re

import pytest

from tests.failures.conftest import RoundOfTesters, with_session_of
from tests.failures.database import Postgres
from tests.served.browser import eventually
from tests.served.conftest import Installation

pytestmark = [pytest.mark.failures, pytest.mark.postgres, pytest.mark.redis]

REPORTS = 160


def remarks(n: int, what: str) -> list[str]:
    return [f"Row {i}, {what}" for i in range(n)]


def words_of(text: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", text).split())


# -- PostgreSQL ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("how", ["fast", "immediate"])
def test_postgresql_restarted_under_way_loses_nothing_and_pages_recover_by_themselves(
    installation: Installation, testers: RoundOfTesters, postgres: Postgres, how: str
) -> None:
    words = remarks(REPORTS, f"while the database restarts, {how}")
    web = installation.web.pid

    with testers.crowd(words) as crowd:
        for moment in (20, 60, 100):
            crowd.once_taken(moment)
            postgres.stop(how)
            postgres.start()

    assert sorted(crowd.taken) == testers.kept() == sorted(words)
    assert (testers.count("reports_submission"), testers.count("rounds_diaryentry")) == (REPORTS, REPORTS)
    # Never a bare mistake: taken, or come back in a moment, which `Phone.until_taken` holds to its Retry-After.
    assert set(crowd.statuses()) <= {200, 503}
    assert crowd.broken() == 0
    assert installation.web.pid == web
    page = testers.phones[0][0].ask("GET", testers.phones[0][1])
    assert page.status == 200


def test_while_postgresql_is_away_a_page_says_so_and_keeps_what_was_typed(
    installation: Installation, testers: RoundOfTesters, postgres: Postgres
) -> None:
    phone, place = testers.phones[0]
    tester = with_session_of(installation, phone.cookies["sessionid"])
    form = tester.get(f"{place}remark/")

    postgres.stop("fast")
    try:
        opened = tester.get(place)
        sent = tester.send(form, holding="remark", kind="unclear", remark="Which side faces me?")
    finally:
        postgres.start()
    taken = tester.send(sent, holding="remark")

    for page in (opened, sent):
        assert (page.status, page.headers["retry-after"]) == (503, "20")
        assert "Out of order for a moment" in words_of(page.text)
        assert "Traceback" not in page.text
    assert sent.form("remark").fields["remark"] == "Which side faces me?"
    assert "Your remark has arrived." in taken.text
    assert testers.kept() == ["Which side faces me?"]


def test_a_worker_goes_on_by_itself_when_postgresql_is_back(
    installation: Installation, testers: RoundOfTesters, postgres: Postgres
) -> None:
    phone, place = testers.phones[0]
    installation.do_chores()
    postgres.stop("immediate")
    postgres.start()

    phone.remark(place, "after the database was away")

    installation.a_minute_passes()
    installation.do_chores()
    eventually(
        lambda: installation.query("SELECT 1 FROM outbox_work WHERE state = 'waiting'") == [], within=60
    )
    assert installation.query("SELECT kind, problem FROM outbox_work WHERE state = 'failed'") == []


# -- Redis ---------------------------------------------------------------------------------------------------


def test_redis_stopped_and_started_under_way_loses_nothing_and_breaks_no_page(
    installation: Installation, testers: RoundOfTesters
) -> None:
    words = remarks(REPORTS, "while Redis stops")

    with testers.crowd(words) as crowd:
        for moment in (20, 70):
            crowd.once_taken(moment)
            with installation.without_redis():
                crowd.once_taken(moment + 30)

    assert sorted(crowd.taken) == testers.kept() == sorted(words)
    assert (set(crowd.statuses()), crowd.broken()) == ({200}, 0)
    # The tasks that were in Redis are gone with it; what they were for is done all the same.
    installation.a_minute_passes()
    installation.do_chores()
    eventually(
        lambda: installation.query("SELECT 1 FROM outbox_work WHERE state = 'waiting'") == [], within=60
    )


def test_without_redis_whoever_is_signed_in_stays_so_and_what_counts_attempts_refuses_nobody(
    installation: Installation, testers: RoundOfTesters
) -> None:
    phone, place = testers.phones[0]
    tester, stranger = with_session_of(installation, phone.cookies["sessionid"]), installation.browser()
    before = tester.get(place)

    with installation.without_redis():
        after = tester.get(place)
        wrong = [
            stranger.send(
                stranger.get("/account/login/"), holding="password", login="a@example.org", password="wrong"
            )
            for _ in range(3)
        ]
        by_code = stranger.send(
            stranger.get("/account/login/code/"), holding="email", email="nobody@example.org"
        )

    assert (before.status, after.status) == (200, 200)
    assert "Sign out" in after.text
    assert {page.status for page in wrong} == {200}
    assert by_code.status == 200
    assert "Sign out" in tester.get(place).text
