"""Patterns, editions, sheets, who has a part in them, and round files, by the API."""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest
from django.utils import timezone

from testround.api.v1.examples.files import ROUND_FILE
from testround.api.v1.examples.patterns import SHEET
from testround.patterns.models import Edition, Membership, Pattern
from testround.people.models import User
from testround.rounds.models import Round
from testround.rounds.services.invitations import secret_hash
from tests.api.programs import Program, assert_costs_the_same, program_of, queries_of
from tests.api.test_requests import problem


@pytest.fixture
def at(edition: Edition) -> str:
    return f"/patterns/{edition.pattern.code}/editions/{edition.pk}"


def pointers(response: Any) -> list[str]:
    return [error.get("pointer") for error in response.json()["errors"]]


# -- patterns -----------------------------------------------------------------------------------------------


def test_a_pattern_is_made_read_and_deleted(program: Program, designer: User) -> None:
    made = program.post("/patterns", {"sheet": SHEET, "terms": "uk"})
    path = made.headers["Location"]
    read = program.get(path)

    assert made.json() == read.json()
    assert made.headers["ETag"] == read.headers["ETag"]
    edition = Edition.objects.get()
    assert (edition.terms, edition.pattern.owner) == ("uk", designer)
    assert read.json() == {
        "code": edition.pattern.code,
        "title": "Fenlight Cardigan",
        "role": "owner",
        "created": read.json()["created"],
        "frame_origins": [],
        "editions": [
            {
                "id": edition.pk,
                "label": "0.9",
                "created": read.json()["editions"][0]["created"],
                "frozen_at": None,
                "released_at": None,
            }
        ],
    }

    assert program.delete(path, match=read.headers["ETag"]).status_code == 204
    assert Pattern.objects.count() == 0


def test_a_pattern_with_rounds_is_not_deleted(program: Program, a_round: Round) -> None:
    answer = program.delete(f"/patterns/{a_round.edition.pattern.code}")

    assert problem(answer) == (409, "conflict")
    assert "This pattern has rounds" in answer.json()["detail"]


def test_sites_that_may_frame_the_errata_are_said_as_on_the_page(program: Program, edition: Edition) -> None:
    path = f"/patterns/{edition.pattern.code}"

    taken = program.patch(path, {"frame_origins": ["HTTPS://www.example.org/"]})
    refused = program.patch(path, {"frame_origins": ["http://example.org"]})

    assert taken.json()["frame_origins"] == ["https://www.example.org"]
    assert problem(refused) == (422, "invalid")
    assert pointers(refused) == ["/frame_origins"]


def test_a_list_is_filtered_by_title(program: Program, designer: User) -> None:
    for title in ("Fenlight Cardigan", "Quillwork Skirt"):
        Pattern.objects.create(owner=designer, title=title)

    found = program.get("/patterns?title=quill").json()["results"]

    assert [pattern["title"] for pattern in found] == ["Quillwork Skirt"]


# -- editions and sheets ------------------------------------------------------------------------------------


def test_a_sheet_is_replaced_and_gone_back_to(program: Program, at: str, little_top: dict[str, Any]) -> None:
    read = program.get(f"{at}/sheet")
    little_top["constants"][0]["value"] = 10

    saved = program.put(f"{at}/sheet", little_top, match=read.headers["ETag"])
    stale = program.put(f"{at}/sheet", little_top, match=read.headers["ETag"])
    program.post(f"{at}/states", {"revision": 1})

    assert (saved.status_code, saved.json()["constants"][0]["value"]) == (200, 10)
    assert problem(stale) == (412, "changed")
    assert program.get(f"{at}/sheet").json() == read.json()
    states = program.get(f"{at}/states").json()["states"]
    assert [(state["revision"], state["way"], state["saved_by"]) for state in states] == [
        (3, "back", "Designer"),
        (2, "typed", "Designer"),
        (1, "typed", None),
    ]


def test_a_sheet_is_read_as_each_of_its_saves_left_it(
    program: Program, at: str, little_top: dict[str, Any]
) -> None:
    first = program.get(f"{at}/sheet").json()
    little_top["constants"][0]["value"] = 10
    program.put(f"{at}/sheet", little_top)

    assert program.get(f"{at}/states/1").json() == first
    assert program.get(f"{at}/states/2").json() == program.get(f"{at}/sheet").json() != first
    assert problem(program.get(f"{at}/states/3")) == (404, "not-found")
    assert queries_of(lambda: program.get(f"{at}/states/1")) == 3  # token, edition, state


def test_a_sheet_that_cannot_be_computed_is_refused_with_every_place(
    program: Program, at: str, little_top: dict[str, Any]
) -> None:
    little_top["numbers"][0]["formula"] = "bust *"
    little_top["dimensions"][1]["tolerance"] = "two"
    little_top["colour"] = "blue"

    answer = program.put(f"{at}/sheet", little_top)

    assert problem(answer) == (422, "invalid")
    assert {"/numbers/0/formula", "/dimensions/1/tolerance", "/colour"} <= set(pointers(answer))
    assert Edition.objects.get().revision == 1


def test_the_sheet_of_a_frozen_edition_stays_as_it_is(
    program: Program, at: str, edition: Edition, little_top: dict[str, Any]
) -> None:
    Edition.objects.update(frozen_at=timezone.now())

    answers = [
        program.put(f"{at}/sheet", little_top),
        program.patch(at, {"terms": "uk"}),
        program.post(f"{at}/states", {"revision": 1}),
    ]

    assert [problem(answer) for answer in answers] == [(409, "conflict")] * 3


def test_the_next_edition_begins_with_the_sheet_before_or_with_the_one_that_is_sent(
    program: Program, edition: Edition, little_top: dict[str, Any]
) -> None:
    path = f"/patterns/{edition.pattern.code}/editions"

    second = program.post(path, {"after": edition.pk, "label": "2.0"})
    third = program.post(
        path, {"after": second.json()["id"], "label": "3.0", "sheet": {**little_top, "sizes": []}}
    )
    taken = program.post(path, {"after": edition.pk, "label": "2.0"})
    unknown = program.post(path, {"after": 10**12, "label": "4.0"})

    sheet = program.get(f"{second.headers['Location']}/sheet").json()
    assert sheet == {**program.get(f"{path}/{edition.pk}/sheet").json(), "edition": "2.0"}
    assert problem(third) == (422, "invalid")
    assert all(pointer.startswith("/sheet/") for pointer in pointers(third))
    assert (problem(taken), pointers(taken)) == ((422, "invalid"), ["/label"])
    assert (problem(unknown), pointers(unknown)) == ((422, "invalid"), ["/after"])
    assert [one["label"] for one in program.get(path).json()["results"]] == ["2.0", "1.0"]
    assert [one["label"] for one in program.get(f"{path}?label=1.0").json()["results"]] == ["1.0"]


def test_an_edition_is_released_for_good(program: Program, at: str) -> None:
    released = program.post(f"{at}/release", {"corrected": []}).json()
    again = program.post(f"{at}/release", {"corrected": []}).json()
    unknown = program.post(f"{at}/release", {"corrected": [3]})

    assert released["frozen_at"] is not None
    assert again == released
    assert (problem(unknown), pointers(unknown)) == ((422, "invalid"), ["/corrected"])


def test_the_desk_check_says_what_is_printed_and_what_would_be(
    program: Program, at: str, little_top: dict[str, Any]
) -> None:
    wrong = copy.deepcopy(little_top)
    wrong["numbers"][0]["printed"]["S"] = 106

    stored, tried = program.get(f"{at}/check").json(), program.post("/checks", wrong).json()

    assert (stored["clean"], stored["counts"]) == (True, [])
    assert tried["clean"] is False
    assert tried["counts"] == [
        {"key": "back_sts", "size": "S", "printed": 106.0, "computed": 104.0, "place": "Back, step 1"}
    ]
    assert [caution["kind"] for caution in stored["cautions"]] == ["steam", "repetitive-work"]
    assert problem(program.post("/checks", [])) == (422, "invalid")
    assert Edition.objects.get().revision == 1


# -- who has a part -----------------------------------------------------------------------------------------


def test_a_part_is_offered_by_mail_taken_and_ended(
    program: Program,
    edition: Edition,
    stranger: User,
    mailoutbox: list[Any],
    django_capture_on_commit_callbacks: Any,
) -> None:
    path = f"/patterns/{edition.pattern.code}/memberships"

    with django_capture_on_commit_callbacks(execute=True):
        made = program.post(path, {"email": stranger.email, "role": "editor"})
    assert [mail.to for mail in mailoutbox] == [[stranger.email]]
    assert (made.status_code, made.json()["name"], made.json()["joined_at"]) == (201, None, None)
    assert "secret" not in made.text

    Membership.objects.update(secret_hash=secret_hash("the-link"))
    theirs = program_of(stranger)
    held = theirs.post("/memberships/accept", {"secret": "the-link"})
    assert (held.status_code, held.json()["name"]) == (200, "Stranger")
    assert theirs.get(f"/patterns/{edition.pattern.code}").json()["role"] == "editor"

    read = theirs.get(made.headers["Location"])
    assert theirs.delete(made.headers["Location"], match=read.headers["ETag"]).status_code == 204
    assert theirs.get(f"/patterns/{edition.pattern.code}").status_code == 404
    assert [one["id"] for one in program.get(f"{path}?ended=true").json()["results"]] == [held.json()["id"]]
    assert program.get(f"{path}?ended=false").json()["results"] == []
    assert problem(theirs.post("/memberships/accept", {"secret": "the-link"})) == (410, "gone")
    assert problem(theirs.post("/memberships/accept", {"secret": "another"})) == (404, "not-found")


def test_ones_own_address_is_refused_at_its_field(program: Program, edition: Edition, designer: User) -> None:
    answer = program.post(
        f"/patterns/{edition.pattern.code}/memberships", {"email": designer.email, "role": "editor"}
    )

    assert (problem(answer), pointers(answer)) == ((422, "invalid"), ["/email"])


# -- round files --------------------------------------------------------------------------------------------


def test_a_round_file_goes_in_and_comes_out_the_same(program: Program) -> None:
    made = program.post("/round-files", ROUND_FILE, key="one")
    again = program.post("/round-files", ROUND_FILE, key="one")
    out = program.get(f"/rounds/{made.json()['round']}/file")

    assert (made.status_code, again.json()) == (201, made.json())
    assert Round.objects.count() == 1
    assert out.json()["testers"][0]["swatches"][0]["stitches"] == 33
    assert program.post("/round-files", out.content, key="two").status_code == 422
    assert (
        program.get(
            f"/rounds/{made.json()['round']}/file", **{"If-None-Match": out.headers["ETag"]}
        ).status_code
        == 304
    )


def test_a_zip_of_a_round_goes_in_as_it_came_out(program: Program, other_designer: User) -> None:
    code = program.post("/round-files", ROUND_FILE).json()["round"]
    packed = program.get(f"/rounds/{code}/file.zip")

    taken = program_of(other_designer).post(
        "/round-files", packed.content, **{"Content-Type": "application/zip"}
    )

    assert packed.headers["Content-Type"] == "application/zip"
    assert taken.status_code == 201
    assert Round.objects.count() == 2


def test_a_round_file_with_something_to_mend_is_refused_with_every_place(program: Program) -> None:
    wrong = json.loads(json.dumps(ROUND_FILE))
    wrong["testers"][0]["size"] = "XXL"
    wrong["testers"][0]["swatches"][0]["stitches"] = "many"

    answer = program.post("/round-files", wrong)

    assert problem(answer) == (422, "invalid")
    assert {"/testers/0/size", "/testers/0/swatches/0/stitches"} <= set(pointers(answer))
    assert (Pattern.objects.count(), Round.objects.count()) == (0, 0)


def test_a_round_file_without_anything_in_it_is_refused(program: Program) -> None:
    answer = program.post("/round-files", b"")

    assert problem(answer) == (422, "invalid")
    assert "the file is empty" in answer.json()["detail"]


# -- what it costs ------------------------------------------------------------------------------------------


def test_one_thing_is_read_at_a_fixed_price(program: Program, edition: Edition) -> None:
    """However much hangs on it: a token, the thing itself, and what the comment names."""
    pattern = edition.pattern
    at = f"/patterns/{pattern.code}/editions/{edition.pk}"
    prices = {
        f"/patterns/{pattern.code}": 3,  # its editions
        at: 2,
        f"{at}/sheet": 2,
        f"{at}/states": 3,  # the states
        f"{at}/check": 2,
    }
    first = {path: queries_of(lambda path=path: program.get(path)) for path in prices}

    for n in range(4):
        revised = {**edition.sheet, "constants": [{**edition.sheet["constants"][0], "value": n}]}
        program.put(f"{at}/sheet", revised)
        Edition.objects.create(pattern=pattern, label=f"x{n}", sheet=edition.sheet)

    assert first == prices
    assert {path: queries_of(lambda path=path: program.get(path)) for path in prices} == prices


def test_reading_costs_the_same_for_few_and_many(program: Program, edition: Edition, designer: User) -> None:
    pattern = edition.pattern
    kinds = {
        "editions": lambda n: Edition.objects.create(pattern=pattern, label=f"x{n}", sheet=edition.sheet),
        "memberships": lambda n: Membership.objects.create(
            pattern=pattern,
            role="editor",
            email=f"m{n}@example.org",
            user=User.objects.create_user(f"m{n}@example.org", "a-long-password", name=f"M{n}"),
            secret_hash=f"{n}",
            expires=timezone.now(),
        ),
    }
    for name, add in kinds.items():
        assert_costs_the_same(
            lambda name=name: program.get(f"/patterns/{pattern.code}/{name}"),
            lambda add=add: [add(n) for n in range(3)],
        )
