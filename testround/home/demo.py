"""The demo: our invented rounds, loaded through the same import as anyone's file."""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import json
import uuid
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction
from django.urls import reverse

from testround.errata.models import Erratum
from testround.errata.services import erratum_publish, finding_accept
from testround.home import pictures
from testround.outbox.services import work_add
from testround.people.models import User
from testround.reports.exchange import round_import
from testround.reports.models import Sitting
from testround.reports.photos import reencode
from testround.rounds.forms.rounds import DEFAULT_TERMS
from testround.rounds.models import Place, Round
from testround.rounds.services import diary_write, invitation_create, place_add
from testround.rounds.services.credits import credit_choose
from testround.talk.services import note_write, question_answer, question_ask, word_write

Say = Callable[[str], None]

PASSWORD = "wool-and-patience"  # noqa: S105 -- of people who do not exist, on a laptop
DESIGNER = "designer@example.org"
TESTERS = {
    # Their places in the Fenlight round, by the tester's id: one has a swatch to send, one is knitting.
    "t11": "kelp@example.org",
    "t05": "elder@example.org",
}
INVITED = "willow@example.org"
# Testers who sent photos, and of what.
FENLIGHT_PHOTOS = {
    "t01": "garment",
    "t03": "garment",
    "t05": "swatch",
    "t06": "swatch",
    "t16": "garment",
    "t20": "garment",
}
QUILLWORK_PHOTOS = {"t01": "garment", "t02": "swatch"}
# The invented round is in its ninth week on the day the demo is loaded.
DAYS_AFTER_OPENING = 60
DAYS_BETWEEN_SITTINGS = 3


@dataclass(frozen=True, slots=True)
class WayIn:
    """How to come in: as whom, with what, and to what page."""

    who: str
    email: str
    page: str


def is_loaded() -> bool:
    return Round.objects.filter(edition__pattern__owner__email=DESIGNER).exists()


@transaction.atomic
def load(say: Say) -> None:
    """Load the designer, both rounds, two testers who can sign in, an invitation and a published erratum."""
    transaction.on_commit(lambda: say("Making the photos' three widths and the first analysis"))
    designer = User.objects.create_user(DESIGNER, PASSWORD, name="Fen Designer")
    rounds = {}
    for name, photos in (("fenlight", FENLIGHT_PHOTOS), ("quillwork", QUILLWORK_PHOTOS)):
        say(f"Drawing {len(photos)} photos for {name.capitalize()}")
        packed = _packed(settings.BASE_DIR / "fixtures" / f"{name}.json", photos)
        rounds[name] = round_import(data=packed, owner=designer, progress=say)
        # A round file carries no terms, and whoever is invited here is to read some.
        rounds[name].terms = str(DEFAULT_TERMS)
        rounds[name].save(update_fields=["terms"])
        _date_sittings(rounds[name])
    fenlight = rounds["fenlight"]
    say("Seating two testers who can sign in")
    for key, email in TESTERS.items():
        place = fenlight.places.get(key=key)
        place.tester = User.objects.create_user(email, PASSWORD, name=place.name)
        place.agreed_at, place.agreed_terms = place.created, fenlight.terms
        place.save(update_fields=["tester", "agreed_at", "agreed_terms"])
        diary_write(
            round=fenlight,
            text=f"{place.name} took the place in size {place.size}.",
            by=place.tester,
            place=place,
        )
    say("Letting them ask and answer")
    _talk(fenlight, designer)
    say("Inviting one more by mail")
    seat = place_add(round=fenlight, name="Willow", size="2X", measures={}, yarn=None, by=designer)
    invitation_create(place=seat, email=INVITED, by=designer)
    elder = fenlight.places.get(key="t05")
    credit_choose(place=elder, thanked_as="Elder", in_report=True, by=elder.tester)
    say("Publishing a first erratum")
    erratum = finding_accept(round=fenlight, finding_ids=["printed-count:sleeve_sts"], by=designer)
    erratum_publish(erratum=erratum, by=designer)
    for round_ in rounds.values():
        work_add(kind="analyse", subject={"round": round_.pk}, once_key=f"round-{round_.pk}")


def _talk(round_: Round, designer: User) -> None:
    """A note, a question with its answer, one that waits, and a private word."""
    elder, kelp = (round_.places.get(key=key) for key in ("t05", "t11"))
    note_write(
        round=round_,
        key=uuid.uuid4(),
        by=designer,
        text="Please measure after blocking, when the piece has dried flat for a day. Before that it tells little.",
    )
    asked = question_ask(
        place=elder,
        key=uuid.uuid4(),
        by=elder.tester,
        where="Fronts, step 6",
        text="Are the decreases of the neck and of the armhole worked in the same row, or one after the other?",
        by_name=True,
    )
    question_answer(
        question=asked,
        key=uuid.uuid4(),
        by=designer,
        text="In the same row, as long as both have decreases left. The armhole ends first.",
    )
    question_ask(
        place=kelp,
        key=uuid.uuid4(),
        by=kelp.tester,
        where="Sleeves, step 3",
        text="Is the first increase row a right-side row?",
    )
    word_write(
        place=kelp,
        key=uuid.uuid4(),
        by=kelp.tester,
        text="My yarn comes on Friday, so the swatch will be a few days late. Is that all right?",
    )


def _date_sittings(round_: Round) -> None:
    """Give every sitting its day, which a round file does not carry: one each few days, from the swatches on."""
    dated = []
    for place in round_.places.order_by("pk").prefetch_related("sitting_rows"):
        sittings = list(place.sitting_rows.all())
        finished = place.state in (Place.State.MEASURED, Place.State.DONE)
        last = dt.date.today() - dt.timedelta(days=8 if finished else 3)
        for back, sitting in enumerate(reversed(sittings)):
            sitting.day = last - dt.timedelta(days=DAYS_BETWEEN_SITTINGS * back)
            dated.append(sitting)
    Sitting.objects.bulk_update(dated, ["day"])


def ways_in() -> list[WayIn]:
    """The doors of a loaded demo."""
    # The first, should another have been opened on it since.
    fenlight = Round.objects.filter(
        edition__pattern__owner__email=DESIGNER, edition__pattern__title="Fenlight Cardigan"
    ).earliest("pk")
    ways = [WayIn("designer", DESIGNER, reverse("errata:results", args=[fenlight.code]))]
    stages = {"t11": "tester with a swatch to send", "t05": "tester in mid-garment"}
    for place in Place.objects.filter(round=fenlight, tester__email__in=TESTERS.values()).order_by("-key"):
        ways.append(WayIn(stages[place.key], TESTERS[place.key], reverse("reports:place", args=[place.pk])))
    erratum = Erratum.objects.filter(pattern=fenlight.edition.pattern, number=1).first()
    if erratum is not None:
        ways.append(
            WayIn("reader of errata, no account", "", reverse("errata:list", args=[erratum.pattern.code]))
        )
    return ways


def _packed(path: Path, photos: dict[str, str]) -> bytes:
    """The round file with its dates moved to today and photos beside it, as an exported ZIP would be."""
    document = json.loads(path.read_text(encoding="utf-8"))
    _move_dates(document)
    crochet = document["pattern"]["craft"] == "crochet"
    files: dict[str, bytes] = {}
    for tester in document["testers"]:
        if tester["id"] not in photos:
            continue
        draw = pictures.swatch_photo if photos[tester["id"]] == "swatch" else pictures.garment_photo
        # Re-encoded as every photo is, so that what the file names is what is kept.
        data = reencode(draw(seed=int(tester["id"][1:]), crochet=crochet)).original.data
        name = f"{tester['id']}-1.jpg"
        files[f"photos/{name}"] = data
        caption = {"swatch": "Swatch, blocked, beside a card", "garment": "Laid flat after blocking"}
        tester["photos"] = [
            {
                "name": name,
                "sha256": hashlib.sha256(data).hexdigest(),
                "caption": caption[photos[tester["id"]]],
            }
        ]
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("round.json", json.dumps(document))
        for name, data in files.items():
            archive.writestr(name, data)
    return packed.getvalue()


def _move_dates(document: dict[str, Any]) -> None:
    plan = document["round"]
    shift = dt.date.today() - dt.timedelta(days=DAYS_AFTER_OPENING) - dt.date.fromisoformat(plan["opens"])
    for key in ("opens", "swatches_due", "closes"):
        plan[key] = (dt.date.fromisoformat(plan[key]) + shift).isoformat()
    for candidate in document.get("candidates", []):
        answered = dt.datetime.fromisoformat(candidate["answered"])
        candidate["answered"] = (answered + shift).isoformat()
