"""Round files for the rounds of a large database: the demo's rounds with other testers, as far as they have come."""

from __future__ import annotations

import copy
import datetime as dt
import hashlib
import json
import random
from dataclasses import dataclass
from typing import Any

from django.conf import settings

NAMES = [
    "Amber",
    "Ash",
    "Aster",
    "Balsam",
    "Bay",
    "Birch",
    "Bracken",
    "Briar",
    "Bryony",
    "Burdock",
    "Cedar",
    "Chicory",
    "Clover",
    "Coltsfoot",
    "Comfrey",
    "Cress",
    "Dill",
    "Dock",
    "Elder",
    "Elm",
    "Fennel",
    "Fern",
    "Flax",
    "Gale",
    "Gorse",
    "Hawthorn",
    "Hazel",
    "Heath",
    "Holly",
    "Hyssop",
    "Iris",
    "Ivy",
    "Juniper",
    "Kelp",
    "Larch",
    "Laurel",
    "Linden",
    "Ling",
    "Lovage",
    "Mallow",
    "Maple",
    "Marram",
    "Medlar",
    "Mint",
    "Moss",
    "Myrtle",
    "Nettle",
    "Oak",
    "Olive",
    "Orris",
    "Osier",
    "Pine",
    "Privet",
    "Quince",
    "Reed",
    "Rowan",
    "Rue",
    "Rush",
    "Saffron",
    "Sage",
    "Sedge",
    "Sloe",
    "Sorrel",
    "Spruce",
    "Tansy",
    "Teasel",
    "Thistle",
    "Thyme",
    "Vetch",
    "Willow",
    "Woad",
    "Wren",
    "Yarrow",
    "Yew",
    "Zinnia",
]
REMARKS = (
    ("unclear", "Does this start on the row after the underarm, or once the armhole is done?"),
    ("unclear", "I read this three times and still guessed which edge is meant."),
    ("wrong-number", "With the numbers given I have two stitches left over at the end of the row."),
    ("missing", "It does not say which side faces here."),
    ("typo", "A letter is missing in the second word."),
    ("fit", "It sits well at the shoulders and is a little wide at the wrist."),
)
# What a tester counts before tiring of it, and the sittings that are logged.
MOST_COUNTS, MOST_SITTINGS = 10, 4


@dataclass(frozen=True, slots=True)
class Course:
    """How far a round has come: its state, how many testers it has, and how many days ago it opened."""

    state: str
    testers: int
    opened_days_ago: int
    candidates: int = 0


@dataclass(frozen=True, slots=True)
class Design:
    """A pattern to copy: one of the demo's, with the courses of its rounds, the oldest first."""

    fixture: str
    courses: tuple[Course, ...]
    errata: int


def document_for(design: Design, number: int, rng: random.Random) -> dict[str, Any]:
    """The round file of one of its rounds."""
    path = settings.BASE_DIR / "fixtures" / f"{design.fixture}.json"
    document: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    course = design.courses[number]
    document["pattern"]["edition"] = f"1.{number}"
    finished = [tester for tester in document["testers"] if tester.get("finished")]
    document["testers"] = [
        _tester(finished[index % len(finished)], index, course.state, rng) for index in range(course.testers)
    ]
    offers = document.get("candidates", [])[:1] or [{"measures": {}, "yarns": [], "own_yarn": True}]
    document["candidates"] = [
        _candidate(offers[0], index, document["pattern"], rng) for index in range(course.candidates)
    ]
    plan = document["round"]
    plan["title"] = f"Test of edition 1.{number}"
    # As many places as there are, whatever the demo's plan was.
    plan.pop("places", None)
    opens = dt.date.today() - dt.timedelta(days=course.opened_days_ago)
    plan["opens"] = opens.isoformat()
    plan["swatches_due"] = (opens + dt.timedelta(days=16)).isoformat()
    plan["closes"] = (opens + dt.timedelta(days=75)).isoformat()
    return document


def _tester(like: dict[str, Any], index: int, state: str, rng: random.Random) -> dict[str, Any]:
    tester = copy.deepcopy(like)
    tester["id"], tester["name"] = f"t{index + 1:02}", NAMES[index % len(NAMES)]
    tester["counts"] = tester.get("counts", [])[:MOST_COUNTS]
    tester["sittings"] = tester.get("sittings", [])[:MOST_SITTINGS]
    tester["remarks"] = []
    if rng.random() < 0.4:
        kind, text = rng.choice(REMARKS)
        tester["remarks"] = [{"place": None, "kind": kind, "text": text}]
    if state in ("closed", "measuring") and rng.random() < 0.5:
        name = f"{tester['id']}-1.jpg"
        tester["photos"] = [
            {
                "name": name,
                "sha256": hashlib.sha256(name.encode()).hexdigest(),
                "caption": "Laid flat after blocking",
            }
        ]
    measured = {"closed": 0.94, "measuring": 0.5}.get(state, 0.0)
    begun = {"making": 0.85, "swatching": 0.0}.get(state, 1.0)
    swatched = {"swatching": 0.6}.get(state, 1.0)
    if rng.random() >= measured:
        for key in ("finished", "fit", "yarn_used", "remarks", "photos"):
            tester.pop(key, None)
    if rng.random() >= begun:
        for key in ("counts", "sittings"):
            tester[key] = []
    if rng.random() >= swatched:
        tester["swatches"] = []
    return tester


def _candidate(
    like: dict[str, Any], index: int, pattern: dict[str, Any], rng: random.Random
) -> dict[str, Any]:
    sizes = pattern.get("sizes") or []
    return {
        **like,
        "id": f"c{index + 1:02}",
        "name": NAMES[-1 - index % len(NAMES)],
        "wishes": rng.sample(sizes, k=min(2, len(sizes))),
        "yarns": [],
        "own_yarn": True,
        "tests_before": rng.choice((0, 0, 1, 2, 5)),
        "answered": (dt.datetime.now(tz=dt.UTC) - dt.timedelta(days=1)).isoformat(),
    }
