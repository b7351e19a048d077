"""The example of the round file's description, and small changes to it."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

from testround.kernel.analysis import analyse
from testround.kernel.findings import findings_json
from testround.kernel.roundfile import RoundFileError, read_round

EXAMPLE_FILE = Path(__file__).with_name("example.json")
_EXAMPLE: dict[str, Any] = json.loads(EXAMPLE_FILE.read_text(encoding="utf-8"))

Document = dict[str, Any]


def example(*testers: Document) -> Document:
    """A copy of the example, to be changed in place; with these testers instead of its own if any are given."""
    document = copy.deepcopy(_EXAMPLE)
    if testers:
        document["testers"] = list(testers)
    return document


def untested() -> Document:
    """The example before anybody sent anything."""
    document = example()
    document["testers"] = []
    return document


def findings_text(document: Document) -> str:
    return findings_json(analyse(read_round(json.dumps(document).encode())).findings)


def findings(document: Document) -> Document:
    """The findings file of a round file, as any reader of JSON takes it."""
    return json.loads(findings_text(document))


def finding(document: Document, finding_id: str) -> Document:
    """The one finding of that id."""
    (found,) = [one for one in findings(document)["findings"] if one["id"] == finding_id]
    return found


def ids(document: Document) -> list[str]:
    return [one["id"] for one in findings(document)["findings"]]


def verdicts(document: Document) -> dict[str, str]:
    return {one["id"]: one["verdict"] for one in findings(document)["findings"]}


def problems(document: Document) -> dict[str, str]:
    """What the reader has against a file: path to sentence."""
    try:
        read_round(json.dumps(document).encode())
    except RoundFileError as refused:
        return {problem.path: problem.sentence for problem in refused.problems}
    return {}


def made_to_measure(*testers: Document) -> Document:
    """The example worked from each tester's own measures."""
    document = example(*testers)
    pattern = document["pattern"]
    pattern.update(kind="made-to-measure", sizes=[])
    del pattern["yarn"], pattern["hours"], document["round"]["places"]
    for entry in (*pattern["numbers"], *pattern["dimensions"]):
        entry.pop("printed", None)
    del pattern["measures"][0]["values"]
    for candidate in document["candidates"]:
        candidate["wishes"] = []
    for tester in document["testers"]:
        tester["size"] = None
    return document


def swatch(stitches: float, rows: float, *, state: str = "blocked", tool_mm: float | None = 4.0) -> Document:
    """Counted over ten centimetres both ways."""
    taken = {
        "gauge": "body",
        "state": state,
        "width": 10,
        "stitches": stitches,
        "height": 10,
        "rows": rows,
    }
    return taken if tool_mm is None else {**taken, "tool_mm": tool_mm}


def finished(dimension: str, *values: float, state: str = "blocked") -> Document:
    return {"dimension": dimension, "state": state, "values": list(values)}


def person(number: int = 1, size: str | None = "S", **sent: Any) -> Document:
    return {"id": f"t{number:02d}", "name": f"Tester {number}", "size": size, **sent}


SIZES = ("XS", "S", "M")
PRINTED = {"XS": (92, 96), "S": (104, 96), "M": (114, 96)}
# Hands and rulers of a small round: stitches and rows in 10 cm, and by how much two readings err, cm.
HANDS = (
    (22.0, 30.0, 0.0, 0.5),
    (22.5, 30.5, 0.5, -0.5),
    (21.5, 29.5, -0.5, 0.0),
    (22.0, 31.0, 0.5, 0.0),
    (22.25, 29.0, 0.0, -0.5),
    (21.75, 30.0, -0.5, 0.5),
)


def makers(n: int, *, longer: float = 0.0, wider: float = 0.0) -> list[Document]:
    """People who work what is printed at gauges of their own, and measure to the half centimetre."""
    found = []
    for i in range(n):
        st, row, first, second = HANDS[i % len(HANDS)]
        size = SIZES[i % len(SIZES)]
        back, rows = PRINTED[size]
        chest, length = 20 * back / st + wider, 10 * rows / row + longer
        found.append(
            {
                "id": f"t{i + 1:04d}",
                "name": f"Tester {i + 1}",
                "size": size,
                "swatches": [swatch(st, row)],
                "counts": [
                    {"number": "back_sts", "worked": back},
                    {"number": "body_rows", "worked": rows},
                ],
                "finished": [
                    finished("chest", to_the_half(chest + first), to_the_half(chest + second)),
                    finished("body_length", to_the_half(length + second), to_the_half(length + first)),
                ],
            }
        )
    return found


def to_the_half(cm: float) -> float:
    return round(2 * cm) / 2
