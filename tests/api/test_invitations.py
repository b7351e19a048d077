"""Invitations by the API: made, withdrawn, and answered by whoever has the secret."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.utils import timezone

from testround.api.models import Answered
from testround.people.models import User
from testround.rounds.models import Invitation, Place, Round
from testround.rounds.services import invitation_create, place_add
from tests.api.programs import Program, program_of, queries_of
from tests.api.test_requests import problem
from tests.api.test_rounds import pointers
from tests.rounds.conftest import secret_of

ANYBODY = Program()
JOIN = {"name": "Juniper", "email": "Juniper@example.org", "agree": True}


def path_of(place: Place) -> str:
    return f"/rounds/{place.round.code}/places/{place.pk}/invitation"


@pytest.fixture
def secret(offered: Place, designer: User) -> str:
    return secret_of(invitation_create(place=offered, email="juniper@example.org", by=designer)[1])


# -- by the owner -------------------------------------------------------------------------------------------


def test_an_invitation_tells_its_secret_when_it_is_made_and_not_afterwards(
    program: Program, offered: Place, mailoutbox: list[Any], django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        made = program.post(path_of(offered), {"email": "juniper@example.org"})

    secret = made.json().pop("secret")
    shown = program.get(path_of(offered))
    assert made.status_code == 201
    assert made.headers["Cache-Control"] == "no-store"
    assert made.json()["url"].endswith(f"/rounds/join/{secret}/")
    assert [mail.to for mail in mailoutbox] == [["juniper@example.org"]]
    assert shown.json() == {
        "place": offered.pk,
        "email": "juniper@example.org",
        "created": made.json()["created"],
        "expires": made.json()["expires"],
    }
    assert ANYBODY.get(f"/invitations/{secret}").status_code == 200


def test_the_answer_that_tells_the_secret_is_kept_so_that_only_its_token_can_read_it(
    program: Program, offered: Place, designer: User
) -> None:
    first = program.post(path_of(offered), {}, key="k1")
    again = program.post(path_of(offered), {}, key="k1")
    by_another_token = program_of(designer).post(path_of(offered), {}, key="k1")

    row = Answered.objects.get(key="k1")
    assert first.json() == again.json()
    assert again.headers["Idempotency-Replayed"] == "true"
    assert first.json()["secret"] not in row.body
    assert problem(by_another_token) == (422, "idempotency-key-reused")
    assert Invitation.objects.count() == 1


def test_a_later_invitation_ends_the_earlier_and_one_can_be_withdrawn(
    program: Program, offered: Place, secret: str
) -> None:
    second = program.post(path_of(offered), {}).json()["secret"]
    tag = program.get(path_of(offered)).headers["ETag"]

    assert problem(ANYBODY.get(f"/invitations/{secret}")) == (410, "gone")
    assert program.delete(path_of(offered), match=tag).status_code == 204
    assert problem(ANYBODY.get(f"/invitations/{second}")) == (410, "gone")
    assert problem(program.get(path_of(offered))) == (404, "not-found")
    assert problem(program.delete(path_of(offered))) == (404, "not-found")


def test_nobody_is_invited_to_a_place_that_is_taken(program: Program, offered: Place, tester: User) -> None:
    Place.objects.filter(pk=offered.pk).update(state=Place.State.TAKEN, tester=tester)

    assert problem(program.post(path_of(offered), {})) == (409, "conflict")


def test_an_offer_with_a_last_day_is_given_another(program: Program, offered: Place) -> None:
    Place.objects.filter(pk=offered.pk).update(offered_until=timezone.now() + dt.timedelta(days=2))
    day = timezone.localdate() + dt.timedelta(days=9)

    made = program.post(path_of(offered), {"until": day.isoformat()})
    past = program.post(path_of(offered), {"until": "2020-01-01"})

    assert dt.datetime.fromisoformat(made.json()["expires"]).date() == day
    assert pointers(past) == ["/until"]
    assert pointers(program.post(path_of(offered), {"email": "nobody"})) == ["/email"]


# -- by whoever has the secret ------------------------------------------------------------------------------


def test_whoever_has_the_secret_reads_what_the_place_is_and_the_terms(secret: str) -> None:
    response = ANYBODY.get(f"/invitations/{secret}")

    assert response.headers["Cache-Control"] == "no-store"
    assert response.json() == {
        "pattern": "Little top",
        "edition": "1.0",
        "craft": "knit",
        "round": "First test",
        "designer": "Designer",
        "name": "Willow",
        "size": "S",
        "yarn": "Wool, supplied",
        "opens": "2027-01-11",
        "swatches_due": "2027-01-25",
        "closes": "2027-03-08",
        "purge_on": response.json()["purge_on"],
        "expires": response.json()["expires"],
        "terms": "Show nothing before publication.",
        "asks_for": [],
    }
    assert problem(ANYBODY.get("/invitations/none-of-ours")) == (404, "not-found")


def test_reading_an_invitation_takes_few_queries(secret: str) -> None:
    assert queries_of(lambda: ANYBODY.get(f"/invitations/{secret}")) <= 1


def test_a_person_with_a_token_takes_the_place_by_a_yes_to_the_terms(
    secret: str, tester: User, offered: Place, diary_of: Any
) -> None:
    program = program_of(tester, ["places:write"])

    without = program.post(f"/invitations/{secret}/accept", {"agree": False})
    taken = program.post(f"/invitations/{secret}/accept", {"agree": True, "name": "Juniper"})
    again = program.post(f"/invitations/{secret}/accept", {"agree": True})

    offered.refresh_from_db()
    assert pointers(without) == ["/agree"]
    assert (
        taken.json()
        == again.json()
        == {
            "place": offered.pk,
            "name": "Juniper",
            "size": "S",
            "state": "taken",
        }
    )
    assert (offered.tester, offered.agreed_terms) == (tester, "Show nothing before publication.")
    assert diary_of(offered.round)[-1] == "Juniper moved from offered to taken: said yes to the terms."


def test_a_secret_that_was_used_is_gone_for_everybody_else(
    secret: str, tester: User, stranger: User, offered: Place
) -> None:
    program_of(tester).post(f"/invitations/{secret}/accept", {"agree": True})

    others = [
        program_of(stranger).post(f"/invitations/{secret}/accept", {"agree": True}),
        ANYBODY.post(f"/invitations/{secret}/join", JOIN),
        ANYBODY.post(f"/invitations/{secret}/decline", {}),
        ANYBODY.get(f"/invitations/{secret}"),
    ]

    assert [problem(answer) for answer in others] == [(410, "gone")] * 4


def test_one_person_takes_one_place_of_a_round_that_gives_each_one(
    secret: str, tester: User, opened: Round, designer: User
) -> None:
    other = place_add(round=opened, name="Rowan", size="XS", by=designer)
    other.tester, other.state = tester, Place.State.TAKEN
    other.save()

    assert problem(program_of(tester).post(f"/invitations/{secret}/accept", {"agree": True})) == (
        409,
        "conflict",
    )


def test_somebody_without_an_account_takes_the_place_and_has_one(secret: str, offered: Place) -> None:
    first = ANYBODY.post(f"/invitations/{secret}/join", JOIN, key="once")
    again = ANYBODY.post(f"/invitations/{secret}/join", JOIN, key="once")

    offered.refresh_from_db()
    assert (
        first.json()
        == again.json()
        == {
            "place": offered.pk,
            "name": "Juniper",
            "size": "S",
            "state": "taken",
        }
    )
    assert offered.tester is not None
    assert (offered.tester.email, offered.tester.units) == ("juniper@example.org", "cm")
    assert Answered.objects.get(key="once").user is None


def test_a_secret_never_opens_an_account_that_is_there(secret: str, tester: User, offered: Place) -> None:
    answer = ANYBODY.post(f"/invitations/{secret}/join", {**JOIN, "email": tester.email})

    offered.refresh_from_db()
    assert pointers(answer) == ["/email"]
    assert (offered.state, offered.tester) == (Place.State.OFFERED, None)
    assert pointers(ANYBODY.post(f"/invitations/{secret}/join", {"email": "x"})) == [
        "/agree",
        "/name",
        "/email",
    ]


def test_a_place_is_declined_by_its_secret_and_the_reason_told(
    secret: str, offered: Place, diary_of: Any
) -> None:
    first = ANYBODY.post(f"/invitations/{secret}/decline", {"cause": "no time"})
    again = ANYBODY.post(f"/invitations/{secret}/decline", {})

    offered.refresh_from_db()
    assert (first.status_code, again.status_code) == (200, 200)
    assert offered.state == Place.State.GIVEN_BACK
    assert diary_of(offered.round)[-1] == (
        "Willow moved from offered to given back: said no, thank you: no time."
    )
    assert problem(ANYBODY.post(f"/invitations/{secret}/join", JOIN)) == (410, "gone")


def test_two_who_have_no_account_and_choose_one_key_do_not_get_each_others_answers(
    secret: str, opened: Round, designer: User
) -> None:
    other = place_add(round=opened, name="Rowan", size="XS", by=designer)
    others = secret_of(invitation_create(place=other, by=designer)[1])

    first = ANYBODY.post(f"/invitations/{secret}/decline", {}, key="same")
    second = ANYBODY.post(f"/invitations/{others}/decline", {}, key="same")

    assert first.status_code == 200
    assert problem(second) == (422, "idempotency-key-reused")
