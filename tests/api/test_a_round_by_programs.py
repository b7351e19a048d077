"""A round from its opening to its closing by programs alone: the designer's, and those of who offers and who tests."""

from __future__ import annotations

from testround.patterns.models import Edition
from testround.people.models import User
from testround.rounds.models import Place, Round
from tests.api.programs import Program, program_of
from tests.rounds.calls import in_days, secret_mailed

ANYBODY = Program()


def test_a_round_gathers_by_its_call_gives_places_and_is_closed(
    program: Program, edition: Edition, tester: User
) -> None:
    made = program.post(
        "/rounds",
        {
            "edition": edition.pk,
            "title": "First test",
            "opens": in_days(30).isoformat(),
            "closes": in_days(90).isoformat(),
            "places": {"least": {"S": 1, "M": 1}, "most": {"XS": 0}},
        },
    )
    round = made.headers["Location"]
    call = program.patch(
        f"{round}/call", {"asked": "Make one."}, match=program.get(f"{round}/call").headers["ETag"]
    ).json()
    program.post(f"{round}/call/open")
    # One offers by the call, one is known to the designer.
    ANYBODY.post(
        f"/calls/{call['code']}/offers",
        {"name": "Wren", "email": "wren@example.org", "adult": True, "measures": {"bust": 87}},
    )
    ANYBODY.post(f"/offers/{secret_mailed('wren@example.org')}/confirm")
    program.post(f"{round}/call/close")
    proposal = program.get(f"{round}/proposal").json()
    accepted = program.post(
        f"{round}/proposal/accept",
        {"revision": proposal["revision"], "seen": proposal["seen"], "until": in_days(5).isoformat()},
    ).json()
    (added,) = program.post(f"{round}/places", {"names": ["Juniper"], "size": "M"}).json()["places"]
    wrens = accepted["offered"][0]["place"]["id"]
    secrets = [
        program.post(f"{round}/places/{place}/invitation", {}).json()["secret"]
        for place in (wrens, added["id"])
    ]
    ANYBODY.post(
        f"/invitations/{secrets[0]}/join", {"name": "Wren", "email": "wren@example.org", "agree": True}
    )
    own = program_of(tester, ["places:read", "places:write"])
    held = own.post(f"/invitations/{secrets[1]}/accept", {"agree": True, "name": "Juniper"}).json()["place"]

    assert [one["key"] for one in own.get(f"/places/{held}/worksheet").json()["measures"]] == ["bust"]
    for state in ("swatching", "making", "measuring", "closed"):
        assert program.post(f"{round}/move", {"state": state}).json()["state"] == state

    assert {(place.name, place.size, place.state) for place in Place.objects.all()} == {
        ("Wren", "S", Place.State.TAKEN),
        ("Juniper", "M", Place.State.TAKEN),
    }
    assert Round.objects.get().state == Round.State.CLOSED
    assert [row["held"] for row in program.get(f"{round}/course").json()["rows"]] == [0, 1, 1]
