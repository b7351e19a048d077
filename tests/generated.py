"""Round files made by Hypothesis: every part of the format, in combinations nobody would think of."""

from __future__ import annotations

import datetime as dt
import json
import string
from typing import Any

from hypothesis import strategies as st

from testround.kernel.round import Round

words = (
    st.text(alphabet=string.ascii_letters + "éßøλ ½–'\"<&>", min_size=1, max_size=20)
    .map(str.strip)
    .filter(bool)
)
lengths = st.floats(0.5, 400, allow_nan=False).map(lambda cm: round(cm, 3))
counts = st.integers(0, 4000).map(lambda quarters: quarters / 4)
identifiers = st.text(alphabet=string.ascii_letters + string.digits, min_size=1, max_size=8)
dates = st.dates(dt.date(2020, 1, 1), dt.date(2040, 1, 1))
moments = st.datetimes(dt.datetime(2020, 1, 1), dt.datetime(2040, 1, 1)).map(lambda at: f"{at.isoformat()}Z")


def sometimes(**entries: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    """An object in which each of these keys may be missing."""
    return st.fixed_dictionaries({}, optional=entries)


def yarns(**more: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries(
        {"label": words, **more},
        optional={
            "weight": st.integers(0, 7),
            "fibre": words,
            "metres_per_ball": lengths,
            "grams_per_ball": lengths,
        },
    )


def _shapings() -> st.SearchStrategy[dict[str, Any]]:
    """Along rows, with stitches that share out over their places, or along stitches, which have no places."""
    named = {"key": st.sampled_from(["waist", "sleeve", "hem"]), "label": words}
    ends = {"start": st.just("back_sts"), "end": st.sampled_from(["back_sts - 8", "1.2 * back_sts", "60"])}
    along_rows = st.fixed_dictionaries(
        {**named, **ends, "over": st.sampled_from(["body_rows", "multiple(body_rows / 3)", "12"])},
        optional={
            "place": words,
            "along": st.sampled_from(["rows", "right-side-rows", "rounds"]),
            "at": words,
        },
    )
    shared_out = st.tuples(st.integers(1, 4), st.integers(1, 3)).map(
        lambda drawn: {"each": drawn[0] * drawn[1], "places": drawn[1]}
    )
    return st.one_of(
        st.tuples(along_rows, st.just({}) | shared_out).map(lambda both: {**both[0], **both[1]}),
        st.fixed_dictionaries(
            {**named, **ends, "over": st.just("back_sts"), "along": st.just("stitches")},
            optional={"place": words, "each": st.integers(1, 3)},
        ),
    )


@st.composite
def patterns(draw: st.DrawFn) -> dict[str, Any]:
    """A pattern whose numbers can be computed: of one to four sizes, or made to measure."""
    graded = draw(st.booleans())
    sizes = draw(st.lists(identifiers, min_size=1, max_size=4, unique=True)) if graded else []
    rising = sorted(draw(st.lists(st.integers(40, 160), min_size=len(sizes), max_size=len(sizes))))
    some_sizes = st.lists(st.sampled_from(sizes), unique=True) if graded else st.just([])

    def by_size(values: st.SearchStrategy[Any]) -> dict[str, Any]:
        return {size: draw(values) for size in draw(some_sizes)}

    pattern: dict[str, Any] = {
        "title": draw(words),
        "edition": draw(words),
        "craft": draw(st.sampled_from(["knit", "crochet"])),
        "kind": "graded" if graded else "made-to-measure",
        "gauges": [
            {
                "key": "body",
                "label": draw(words),
                "stitches": draw(st.integers(10, 30)),
                "rows": draw(st.integers(10, 40)),
                **draw(sometimes(tool_mm=st.sampled_from([3.5, 4.0, 5.5]), yarn_weight=st.integers(0, 7))),
            }
        ],
        "sizes": sizes,
        "measures": [{"key": "bust", "label": draw(words)}],
        "constants": [{"key": "ease", "label": draw(words), "value": draw(st.integers(0, 20)), "unit": "cm"}],
        "numbers": [
            {
                "key": "back_sts",
                "label": draw(words),
                "place": draw(words),
                "unit": "st",
                "formula": "multiple((bust + ease) / 2 * body.st, of=2)",
            },
            {"key": "body_rows", "label": draw(words), "unit": "row", "formula": "multiple(32 * body.row)"},
        ],
        "shapings": draw(st.lists(_shapings(), max_size=2, unique_by=lambda shaping: shaping["key"])),
        "dimensions": [
            {
                "key": "chest",
                "label": draw(words),
                "tolerance": draw(st.floats(0.5, 5).map(lambda cm: round(cm, 2))),
                "formula": "2 * back_sts / body.st",
                **draw(sometimes(how=words)),
            },
            {"key": "body_length", "label": draw(words), "tolerance": 2, "formula": "body_rows / body.row"},
        ],
        "parts": draw(
            st.sampled_from([[], [{"key": "back", "label": "Back", "stitches": "back_sts * body_rows"}]])
        ),
    }
    if graded:
        pattern["measures"][0]["values"] = dict(zip(sizes, rising, strict=True))
        pattern["numbers"][0]["printed"] = by_size(counts)
        pattern["dimensions"][0]["printed"] = by_size(lengths)
        pattern["yarn"] = by_size(lengths)
        pattern["hours"] = by_size(lengths)
    elif draw(st.booleans()):
        pattern["yarn_per_m2"] = draw(lengths)
    return pattern


def _swatches() -> st.SearchStrategy[dict[str, Any]]:
    both = {"gauge": st.just("body"), "state": st.sampled_from(["worked", "blocked"])}
    stitches = {"width": lengths, "stitches": counts.filter(bool)}
    rows = {"height": lengths, "rows": counts.filter(bool)}
    tools = {"tool_mm": st.sampled_from([3.5, 4.0, 5.5])}
    return st.one_of(
        st.fixed_dictionaries({**both, **pairs}, optional=tools)
        for pairs in (stitches, rows, {**stitches, **rows})
    )


@st.composite
def testers(draw: st.DrawFn, identifier: str, pattern: dict[str, Any]) -> dict[str, Any]:
    states = st.sampled_from(["worked", "blocked"])
    dimensions = st.sampled_from(["chest", "body_length"])
    parts = [part["key"] for part in pattern["parts"]]
    tester: dict[str, Any] = {"id": identifier, "name": draw(words)}
    if pattern["sizes"]:
        tester["size"] = draw(st.sampled_from(pattern["sizes"]))
    else:
        tester |= draw(sometimes(worked_out=st.fixed_dictionaries({}, optional={"back_sts": counts})))
    return tester | draw(
        sometimes(
            measures=st.just({}) | st.fixed_dictionaries({"bust": lengths}),
            yarn=yarns(),
            swatches=st.lists(_swatches(), max_size=3),
            counts=st.lists(
                st.fixed_dictionaries(
                    {"number": st.sampled_from(["back_sts", "body_rows"]), "worked": counts}
                ),
                max_size=2,
                unique_by=lambda count: count["number"],
            ),
            finished=st.lists(
                st.fixed_dictionaries(
                    {
                        "dimension": dimensions,
                        "state": states,
                        "values": st.lists(lengths, min_size=1, max_size=3),
                    }
                ),
                max_size=3,
                unique_by=lambda finished: (finished["dimension"], finished["state"]),
            ),
            yarn_used=st.fixed_dictionaries({"metres": lengths}) | st.fixed_dictionaries({"grams": lengths}),
            sittings=st.lists(
                st.fixed_dictionaries(
                    {"hours": lengths},
                    optional={"done": st.floats(0, 1), **({"part": st.sampled_from(parts)} if parts else {})},
                ),
                max_size=3,
            ),
            guess=st.fixed_dictionaries({"hours": lengths}),
            fit=st.lists(
                st.fixed_dictionaries(
                    {"dimension": dimensions, "says": st.sampled_from(["too-small", "right", "too-large"])}
                ),
                max_size=2,
            ),
            remarks=st.lists(
                st.fixed_dictionaries(
                    {
                        "kind": st.sampled_from(["wrong-number", "unclear", "missing", "typo", "fit"]),
                        "text": words,
                    },
                    optional={"place": words},
                ),
                max_size=2,
            ),
            photos=st.lists(
                st.fixed_dictionaries(
                    {
                        "name": identifiers.map(lambda name: f"{identifier}-{name}.jpg"),
                        "sha256": st.text(alphabet="0123456789abcdef", min_size=64, max_size=64),
                    },
                    optional={"caption": words},
                ),
                max_size=2,
                unique_by=lambda photo: photo["name"],
            ),
        )
    )


@st.composite
def round_documents(draw: st.DrawFn) -> dict[str, Any]:
    """A valid round file, as plain JSON values."""
    pattern = draw(patterns())
    sizes = pattern["sizes"]
    ids = draw(st.lists(identifiers, max_size=5, unique=True))
    opens, swatches_due, closes = sorted(draw(st.lists(dates, min_size=3, max_size=3)))
    supplied = draw(
        st.lists(yarns(key=st.sampled_from(["wool", "cotton"])), max_size=2, unique_by=lambda y: y["key"])
    )
    document: dict[str, Any] = {
        "format": "testround/round",
        "version": 1,
        "pattern": pattern,
        "round": {
            "title": draw(words),
            "opens": opens.isoformat(),
            "swatches_due": swatches_due.isoformat(),
            "closes": closes.isoformat(),
            "yarns": supplied,
        },
        "testers": [draw(testers(identifier, pattern)) for identifier in ids[:3]],
        "candidates": [
            {
                "id": identifier,
                "name": draw(words),
                **draw(
                    sometimes(
                        measures=st.fixed_dictionaries({"bust": lengths}),
                        wishes=st.lists(st.sampled_from(sizes), unique=True) if sizes else st.just([]),
                        yarns=st.just([yarn["key"] for yarn in supplied]),
                        own_yarn=st.booleans(),
                        tests_before=st.integers(0, 50),
                        answered=moments,
                    )
                ),
            }
            for identifier in ids[3:]
        ],
    }
    if sizes:
        document["round"]["places"] = {"least": dict.fromkeys(sizes, 1), "most": dict.fromkeys(sizes, 2)}
    return document


def rounds() -> st.SearchStrategy[Round]:
    """A valid round as the kernel sees it."""
    return round_documents().map(
        lambda document: Round.model_validate_json(json.dumps(document), strict=True)
    )
