"""The call, offers to test, and candidates by the API."""

from __future__ import annotations

from typing import Any

import pytest
from django.conf import settings

from testround.api.models import Answered
from testround.patterns.models import Edition
from testround.people.models import User
from testround.rounds import throttle
from testround.rounds.models import Candidate, Round
from testround.rounds.services import round_open
from tests.api.programs import Program, assert_costs_the_same, queries_of
from tests.api.test_requests import problem
from tests.api.test_rounds import pointers
from tests.rounds.calls import confirmed, in_days, letters_to, offer, secret_mailed

ANYBODY = Program()
WREN = {
    "name": " Wren ",
    "email": "wren@example.org",
    "adult": True,
    "measures": {"bust": 92.5},
    "wishes": ["S", "M"],
    "yarns": ["wool_blue"],
    "own_yarn": True,
    "tests_before": 3,
    "units": "in",
    "photo_uses": ["pattern"],
}


def path_of(round: Round, more: str = "") -> str:
    return f"/rounds/{round.code}/call{more}"


# -- the designer's side ------------------------------------------------------------------------------------


def test_a_call_is_written_opened_closed_and_given_another_address(
    program: Program, edition: Edition, designer: User, diary_of: Any
) -> None:
    round = round_open(edition=edition, by=designer, title="First test", terms="Be kind.")
    unwritten = program.get(path_of(round))
    body = {
        "closes": in_days(20).isoformat(),
        "asked": "Make one.",
        "given": "Wool.",
        "photo_uses": ["online", "pattern"],
        "for_child": True,
        "offers_wanted": 9,
    }

    written = program.patch(path_of(round), body, match=unwritten.headers["ETag"])
    opened = program.post(path_of(round, "/open"))
    closed = program.post(path_of(round, "/close"))
    renewed = program.post(path_of(round, "/address"))

    round.refresh_from_db()
    assert (unwritten.json()["code"], unwritten.json()["url"]) == (None, "")
    assert written.json() == {
        "code": written.json()["code"],
        "url": f"{settings.SITE_URL}/rounds/call/{written.json()['code']}/",
        "opens": None,
        "closes": body["closes"],
        "closed_at": None,
        "asked": "Make one.",
        "given": "Wool.",
        "terms": "Be kind.",
        "photo_uses": ["pattern", "online"],
        "for_child": True,
        "offers_wanted": 9,
    }
    assert opened.json() == written.json()
    assert closed.json()["closed_at"] is not None
    assert renewed.json()["code"] not in (None, written.json()["code"])
    assert round.state == Round.State.GATHERING
    assert diary_of(round)[1:] == [
        "Call for testers written.",
        "Round moved from planned to gathering: the call was opened.",
        "Call closed by hand: offers wait from here on.",
        "The call's page has a new address.",
    ]


def test_a_call_that_is_not_written_is_not_opened(program: Program, opened: Round) -> None:
    assert problem(program.post(path_of(opened, "/open"))) == (409, "conflict")
    assert problem(program.post(path_of(opened, "/close"))) == (409, "conflict")
    assert problem(program.post(path_of(opened, "/address"))) == (409, "conflict")
    assert pointers(program.patch(path_of(opened), {"given": "Wool."})) == ["/asked"]


@pytest.mark.parametrize(
    ("change", "at"),
    [
        ({"asked": ""}, "/asked"),
        ({"opens": "2030-02-01", "closes": "2030-01-01"}, "/closes"),
        ({"offers_wanted": 0}, "/offers_wanted"),
        ({"photo_uses": ["everywhere"]}, "/photo_uses/0"),
        ({"state": "open"}, "/state"),
    ],
)
def test_what_is_wrong_with_a_call_is_pointed_to(
    program: Program, called: Round, change: dict[str, Any], at: str
) -> None:
    assert at in pointers(program.patch(path_of(called), change))


def test_how_a_call_stands_is_told_with_the_offers_by_how_far_they_came(
    program: Program, called: Round
) -> None:
    confirmed(called, "wren@example.org")
    offer(called, "hazel@example.org")

    standing = program.get(path_of(called, "/standing")).json()

    assert standing == {
        "state": "open",
        "unconfirmed": 1,
        "confirmed": 1,
        "waiting": 0,
        "withdrawn": 0,
        "wanted": 12,
    }


# -- for everybody ------------------------------------------------------------------------------------------


def test_whoever_has_the_address_of_a_call_reads_the_piece_and_the_terms(called: Round) -> None:
    shown = ANYBODY.get(f"/calls/{called.call_code}").json()

    assert shown == {
        "code": called.call_code,
        "state": "open",
        "pattern": "Little top",
        "edition": "1.0",
        "craft": "knit",
        "designer": "Designer",
        "opens": in_days(30).isoformat(),
        "swatches_due": in_days(44).isoformat(),
        "closes": in_days(90).isoformat(),
        "purge_on": called.purge_on.isoformat() if called.purge_on else None,
        "asked": "Make one piece, and send a swatch by 25 January.",
        "given": "The pattern.",
        "terms": "Show nothing before publication.",
        "photo_uses": ["pattern", "online"],
        "for_child": False,
        "sizes": ["XS", "S", "M"],
        "sought": ["XS", "S", "M"],
        "body": [
            {
                "key": "bust",
                "label": "Full bust",
                "how": shown["body"][0]["how"],
                "values": [76.0, 86.0, 96.0],
            }
        ],
        "finished": [
            {
                "label": "Chest circumference",
                "how": "Lay flat after blocking; measure straight across under the arms, then double.",
                "values": shown["finished"][0]["values"],
            },
            {"label": "Hem to underarm", "how": "", "values": [32.0, 32.0, 32.0]},
        ],
        "yarns": [
            {
                "key": "wool_blue",
                "label": "Wool, supplied",
                "weight": 4,
                "fibre": "wool",
                "metres_per_ball": 200.0,
                "grams_per_ball": 100.0,
                "makers": 2,
            }
        ],
        "bring": [],
        "pictures": [],
        "cautions": [],
    }
    assert shown["body"][0]["how"]
    assert shown["finished"][0]["values"] == pytest.approx([83.6, 94.5, 103.6], abs=0.1)


def test_a_call_is_not_there_before_it_is_opened_and_gone_when_it_is_over(
    called: Round, designer: User
) -> None:
    path = f"/calls/{called.call_code}"
    Round.objects.filter(pk=called.pk).update(state="planned")
    before = ANYBODY.get(path), ANYBODY.post(f"{path}/offers", WREN)
    Round.objects.filter(pk=called.pk).update(state="making")
    after = ANYBODY.get(path), ANYBODY.post(f"{path}/offers", WREN)

    assert [problem(one) for one in before] == [(404, "not-found")] * 2
    assert [problem(one) for one in after] == [(410, "gone")] * 2
    assert problem(ANYBODY.get("/calls/nothing")) == (404, "not-found")


def test_an_offer_is_made_confirmed_changed_and_taken_back_by_the_secrets_in_the_mails(
    called: Round,
) -> None:
    made = ANYBODY.post(f"/calls/{called.call_code}/offers", WREN)
    to_confirm = secret_mailed("wren@example.org")
    seen = ANYBODY.get(f"/offers/{to_confirm}")
    confirmed_ = ANYBODY.post(f"/offers/{to_confirm}/confirm")
    to_change = secret_mailed("wren@example.org")
    before = ANYBODY.get(f"/offers/{to_change}")
    changed = ANYBODY.patch(
        f"/offers/{to_change}", {"wishes": ["M"], "photo_uses": []}, match=before.headers["ETag"]
    )
    withdrawn = ANYBODY.post(f"/offers/{to_change}/withdraw")

    answers = {
        "pattern": "Little top",
        "round": "First test",
        "name": "Wren",
        "measures": {"bust": 92.5},
        "wishes": ["S", "M"],
        "yarns": ["wool_blue"],
        "own_yarn": True,
        "tests_before": 3,
        "units": "in",
        "terms": "us",
        "photo_uses": ["pattern"],
    }
    assert (made.status_code, made.content) == (202, b"")
    assert seen.json() == {"state": "offered", **answers}
    assert confirmed_.json() == before.json() == {"state": "confirmed", **answers}
    assert changed.json() == {"state": "confirmed", **answers, "wishes": ["M"], "photo_uses": []}
    assert withdrawn.json()["state"] == "withdrawn"
    assert withdrawn.json()["measures"] == {}
    assert problem(ANYBODY.get(f"/offers/{to_confirm}")) == (410, "gone")
    assert problem(ANYBODY.get(f"/offers/{to_change}")) == (410, "gone")


def test_nothing_kept_for_a_day_opens_an_offer(called: Round) -> None:
    ANYBODY.post(f"/calls/{called.call_code}/offers", WREN)
    ANYBODY.post(f"/offers/{secret_mailed('wren@example.org')}/confirm")
    to_change = secret_mailed("wren@example.org")

    assert not [row for row in Answered.objects.all() if to_change in row.body + row.location]


def test_an_offer_sent_twice_with_its_key_is_one_and_that_an_address_offered_before_is_not_told(
    called: Round,
) -> None:
    path = f"/calls/{called.call_code}/offers"
    first = ANYBODY.post(path, WREN, key="once")
    again = ANYBODY.post(path, WREN, key="once")
    ANYBODY.post(f"/offers/{secret_mailed('wren@example.org')}/confirm")
    another = ANYBODY.post(path, WREN)

    assert (first.status_code, again.status_code, another.status_code) == (202, 202, 202)
    assert again.content == another.content == first.content
    assert called.candidates.count() == 1
    assert len(letters_to("wren@example.org")) == 3


@pytest.mark.parametrize(
    ("change", "at"),
    [
        ({"name": ""}, "/name"),
        ({"email": "wren"}, "/email"),
        ({"adult": False}, "/adult"),
        ({"wishes": ["XXL"]}, "/wishes"),
        ({"wishes": ["S", "S"]}, "/wishes"),
        ({"wishes": ["XS", "S", "M", "XS"]}, "/wishes"),
        ({"measures": {"hip": 90}}, ""),
        ({"measures": {"bust": 0}}, "/measures/bust"),
        ({"measures": {"bust": 36}}, "/measures/bust"),
        ({"wishes": [], "measures": {}}, "/wishes"),
        ({"yarns": ["silk"]}, "/yarns"),
        ({"yarns": [], "own_yarn": False}, "/yarns"),
        ({"photo_uses": ["face"]}, "/photo_uses/0"),
        ({"tests_before": -1}, "/tests_before"),
        ({"state": "confirmed"}, "/state"),
    ],
)
def test_what_is_wrong_with_an_offer_is_pointed_to(called: Round, change: dict[str, Any], at: str) -> None:
    answer = ANYBODY.post(f"/calls/{called.call_code}/offers", {**WREN, **change})

    assert answer.status_code in (409, 422)
    if at:
        assert at in pointers(answer)
    assert not called.candidates.exists()


def test_nobody_offers_a_size_in_which_no_tester_is_looked_for(called: Round) -> None:
    Round.objects.filter(pk=called.pk).update(places_plan={"most": {"S": 0}})

    answer = ANYBODY.post(f"/calls/{called.call_code}/offers", WREN)

    assert pointers(answer) == ["/wishes/0"]


def test_too_many_offers_from_one_network_wait(called: Round, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(throttle, "OFFERS_FROM_A_NETWORK", 1)
    path = f"/calls/{called.call_code}/offers"

    first = ANYBODY.post(path, WREN)
    second = ANYBODY.post(path, {**WREN, "email": "hazel@example.org"})

    assert first.status_code == 202
    assert problem(second) == (429, "too-many-requests")
    assert second.headers["Retry-After"]
    assert called.candidates.count() == 1


# -- candidates ---------------------------------------------------------------------------------------------


def test_candidates_are_read_with_what_they_offer_and_found_by_state(program: Program, called: Round) -> None:
    candidate, _secret = confirmed(called, "wren@example.org")
    offer(called, "hazel@example.org")
    path = f"/rounds/{called.code}/candidates"

    (one,) = program.get(f"{path}?state=confirmed").json()["results"]

    assert one == {
        "id": candidate.pk,
        "key": "c01",
        "name": "Wren",
        "state": "confirmed",
        "email": "wren@example.org",
        "measures": {"bust": 92.5},
        "wishes": ["S", "M"],
        "yarns": ["wool_blue"],
        "own_yarn": True,
        "tests_before": 3,
        "photo_uses": ["pattern"],
        "answered": one["answered"],
        "created": one["created"],
    }
    assert len(program.get(path).json()["results"]) == 2
    assert program.get(f"{path}/{candidate.pk}").json() == one
    assert problem(program.get(f"{path}?state=gone")) == (422, "invalid")


def test_who_waits_is_taken_into_reserve_and_who_has_a_place_is_not(program: Program, called: Round) -> None:
    candidate, _secret = confirmed(called, "wren@example.org")
    path = f"/rounds/{called.code}/candidates/{candidate.pk}/take-back"
    Candidate.objects.filter(pk=candidate.pk).update(state="waiting")

    taken = program.post(path)
    Candidate.objects.filter(pk=candidate.pk).update(state="placed")

    assert taken.json()["state"] == "confirmed"
    assert problem(program.post(path)) == (409, "conflict")


def test_reading_the_call_and_its_candidates_takes_as_many_queries_however_many_there_are(
    program: Program, called: Round
) -> None:
    confirmed(called, "wren@example.org")
    (first,) = called.candidates.all()

    def more() -> None:
        for number in range(4):
            called.candidates.create(key=f"x{number}", name="Rowan", wishes=["S"], yarns=["wool_blue"])

    def changed() -> None:
        called.candidates.filter(pk=first.pk).update(measures={"bust": 93})

    def yarns() -> None:
        for number in range(3):
            called.yarns.create(key=f"wool_{number}", label=f"Wool {number}")

    path = f"/rounds/{called.code}"
    assert_costs_the_same(lambda: program.get(f"{path}/call/standing"), more)
    assert_costs_the_same(
        lambda: program.get(f"{path}/candidates"),
        lambda: called.candidates.create(key="y1", name="Rowan"),
    )
    assert_costs_the_same(lambda: program.get(f"{path}/candidates/{first.pk}"), changed)
    assert_costs_the_same(lambda: ANYBODY.get(f"/calls/{called.call_code}"), yarns)
    assert queries_of(lambda: program.get(f"{path}/call")) <= 4
    assert queries_of(lambda: ANYBODY.get(f"/offers/{secret_mailed('wren@example.org')}")) <= 2
