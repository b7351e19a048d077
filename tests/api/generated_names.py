"""What is there for generated calls to name: addresses, and what bodies and queries refer to."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from django.conf import settings
from django.db.models import Value

from testround.api.v1.examples import patterns as patterns_examples
from testround.api.v1.examples import rounds as rounds_examples
from testround.errata.models import Erratum
from testround.following.models import Delivery, Webhook
from testround.outbox.letters import letter as letter_of
from testround.outbox.letters import to_data
from testround.outbox.models import Mail
from testround.patterns.models import Edition, Membership, Pattern
from testround.people.models import User
from testround.reports.exchange import round_import
from testround.reports.models import CallPicture, Photo, Remark, Swatch
from testround.rounds.models import Candidate, Place, Round, SuppliedYarn, Vacancy
from testround.rounds.services import call_open
from testround.talk.models import Question
from tests.api.programs import Program
from tests.rounds.calls import WREN, confirmed, in_days, written
from tests.test_access import Scene, invited_to

# Where an address of this beginning leads: what stands in its places, in their order.
_THERE: dict[str, Callable[[], Any]] = {
    "/patterns/{code}": lambda: Pattern.objects.values_list("code"),
    "/patterns/{code}/editions/{id}": lambda: Edition.objects.values_list("pattern__code", "pk"),
    "/patterns/{code}/memberships/{id}": lambda: Membership.objects.values_list("pattern__code", "pk"),
    "/patterns/{code}/webhooks/{key}": lambda: Webhook.objects.values_list("pattern__code", "key"),
    "/patterns/{code}/webhooks/{key}/deliveries/{id}": lambda: Delivery.objects.values_list(
        "webhook__pattern__code", "webhook__key", "pk"
    ),
    "/rounds/{code}": lambda: Round.objects.values_list("code"),
    "/rounds/{code}/places/{id}": lambda: Place.objects.values_list("round__code", "pk"),
    "/rounds/{code}/candidates/{id}": lambda: Candidate.objects.values_list("round__code", "pk"),
    "/rounds/{code}/vacancies/{id}": lambda: Vacancy.objects.values_list("place__round__code", "pk"),
    "/rounds/{code}/yarns/{key}": lambda: SuppliedYarn.objects.values_list("round__code", "key"),
    "/rounds/{code}/mails/{id}": lambda: Mail.objects.exclude(about="").values_list("about", "pk"),
    "/rounds/{code}/drafts/{id}": lambda: Erratum.objects.exclude(round=None).values_list(
        "round__code", "pk"
    ),
    "/rounds/{code}/questions/{id}": lambda: Question.objects.values_list("round__code", "pk"),
    "/rounds/{code}/call/pictures/{picture}": lambda: CallPicture.objects.values_list("round__code", "code"),
    "/rounds/{code}/photos/{photo}/{width}": lambda: Photo.objects.values_list(
        "place__round__code", "code", Value(320)
    ),
    "/places/{id}": lambda: Place.objects.values_list("pk"),
    "/places/{id}/unsent/{form}": lambda: Place.objects.values_list("pk", Value("sitting")),
    "/places/{id}/photos/{photo}": lambda: Photo.objects.values_list("place", "code"),
    "/places/{id}/photos/{photo}/{width}": lambda: Photo.objects.values_list("place", "code", Value(1280)),
}


def more_is_there(scene: Scene, designer: User, tester: User, program: Program) -> None:
    """Beside the scene: the examples' pattern with editions that may be changed and a round that has a call and
    candidates, a round in which everything was reported, and single things that some operations are about."""
    of_round = {"pattern": scene.edition.pattern, "edition": scene.edition, "round": scene.round}
    Erratum.objects.create(**of_round, place="Back, step 1", text="Cast on 114 in size M.")
    invited_to(scene.edition.pattern, "stranger@example.org", "onlooker")
    for state in (Mail.State.FAILED, Mail.State.UNCERTAIN):
        letter = to_data(letter_of("How it goes", "…"))
        Mail.objects.create(to="tester@example.org", about=scene.round.code, state=state, letter=letter)
    program.post(
        f"/patterns/{scene.edition.pattern.code}/editions", {"after": scene.edition.pk, "label": "1.1"}
    )
    program.post("/patterns", {"sheet": {**patterns_examples.SHEET, "title": "Without a round"}})
    sheet = patterns_examples.SHEET
    pattern = program.post("/patterns", {"sheet": sheet}).json()
    edition = f"/patterns/{pattern['code']}/editions/{pattern['editions'][0]['id']}"
    program.put(f"{edition}/sheet", {**sheet, "title": "Fenlight"})
    program.post(
        f"/patterns/{pattern['code']}/editions", {"after": pattern["editions"][0]["id"], "label": "1.0"}
    )
    days = {name: in_days(ahead).isoformat() for name, ahead in (("opens", 30), ("closes", 90))}
    sent = {
        **rounds_examples.ROUND_SENT,
        **days,
        "swatches_due": None,
        "edition": pattern["editions"][0]["id"],
    }
    made = program.post("/rounds", sent)
    assert made.status_code == 201, made.content
    calling = Round.objects.get(code=made.json()["code"])
    call_open(round=written(calling, designer), by=designer)
    for name, wishes in (("ash", ("S",)), ("birch", ("M", "L")), ("cedar", ("XS", "M"))):
        confirmed(calling, f"{name}@example.org", replace(WREN, wishes=wishes, yarns=()))
    places = program.post(
        f"/rounds/{calling.code}/places", {"names": ["Juniper", "Kelp"], "size": "M"}
    ).json()["places"]
    Place.objects.filter(pk=places[0]["id"]).update(tester=tester, state=Place.State.TAKEN)
    tested = round_import(
        data=(settings.BASE_DIR / "fixtures" / "quillwork.json").read_bytes(), owner=designer
    )
    place = tested.places.order_by("pk")[0]
    place.tester = tester
    place.save(update_fields=["tester"])


def names_in(path: str) -> list[str]:
    return [part.strip("{}") for part in path.split("/") if part.startswith("{")]


def addresses(path: str) -> list[dict[str, Any]]:
    """Every address of this path that leads somewhere, as far as it can be told."""
    names = names_in(path)
    short = path.removeprefix("/api/v1")
    for beginning in sorted(_THERE, key=len, reverse=True):
        if short.startswith(beginning) and names_in(beginning) == names:
            return [dict(zip(names, found, strict=True)) for found in _THERE[beginning]().order_by("pk")]
    return []


def names_there(program: Program) -> dict[str, list[Any]]:
    """What bodies and queries may name, by the name of the field."""

    def asked(what: str) -> list[Any]:
        codes = Round.objects.order_by("pk").values_list("code", flat=True)
        answers = [program.get(f"/rounds/{code}/{what}") for code in codes]
        return [answer.json() for answer in answers if answer.status_code == 200]

    found: dict[str, list[Any]] = {
        "finding": [one["id"] for found in asked("findings") for one in found["findings"]],
        "seen": [found["seen"] for found in asked("proposal")],
        "round": _of(Round.objects.all(), "code"),
        "pattern": _of(Pattern.objects.all(), "code"),
        "where": ["Back, step 1", "Back, step 3"],
        "revision": [0, 1, 2],
        "until": [in_days(ahead).isoformat() for ahead in (-1, 0, 1, 5, 30)],
        "secret": ["let-onlooker-in", "let-editor-in"],
    }
    of_sheets = _of_sheets(Edition.objects.order_by("pk"))
    return found | of_sheets | _of_editions(Edition.objects.all()) | _of_rounds(Round.objects.all())


def names_at(path: str, at: Mapping[str, Any]) -> dict[str, list[Any]]:
    """What of that belongs to the pattern, round or place of an address, if it leads to one."""
    match path.split("/")[3]:
        case "patterns":
            return _of_editions(Edition.objects.filter(pattern__code=at.get("code")))
        case "rounds" if "code" in at:
            rounds = Round.objects.filter(code=at["code"])
        case "places" if str(at.get("id")).isdecimal() and int(at["id"]) < 2**63:
            rounds = Round.objects.filter(places=int(at["id"]))
        case _:
            return {}
    return _of_rounds(rounds) | _of_sheets(Edition.objects.filter(rounds__in=rounds))


def _of_editions(editions: Any) -> dict[str, list[Any]]:
    there = _of(editions, "pk")
    return {"edition": there, "old": there, "new": there, "after": [*there, 0, 1]}


def _of_rounds(rounds: Any) -> dict[str, list[Any]]:
    places = Place.objects.filter(round__in=rounds)
    remarks = _of(Remark.objects.filter(place__in=places), "pk")
    drafts = _of(Erratum.objects.filter(round__in=rounds), "pk")
    yarns = _of(SuppliedYarn.objects.filter(round__in=rounds), "key")
    candidates = Candidate.objects.filter(round__in=rounds)
    return {
        "place": _of(places, "pk"),
        "places": _of(places, "pk"),
        "remark": remarks,
        "remarks": remarks,
        "draft": drafts,
        "drafts": drafts,
        "yarn": yarns,
        "yarns": yarns,
        "supplied": yarns,
        "candidate": [*_of(candidates, "key"), *_of(candidates, "pk")],
        "corrects": [*_of(Swatch.objects.filter(place__in=places), "pk"), *remarks],
    }


def _of_sheets(editions: Any) -> dict[str, list[Any]]:
    sheets = [edition.sheet for edition in editions]

    def keys(*parts: str) -> list[Any]:
        return sorted({one["key"] for sheet in sheets for part in parts for one in sheet.get(part, ())})

    sizes = sorted({size for sheet in sheets for size in sheet["sizes"]})
    return {
        "size": sizes,
        "wishes": sizes,
        "gauge": keys("gauges"),
        "number": keys("numbers"),
        "dimension": keys("dimensions"),
        "measure": keys("measures"),
        "part": [*keys("parts"), None],
        "subject": [*keys("numbers", "dimensions"), "body.st", "body.row"],
        "keep": [*keys("dimensions", "measures", "numbers"), True],
    }


def _of(rows: Any, field: str) -> list[Any]:
    return list(rows.order_by("pk").values_list(field, flat=True))
