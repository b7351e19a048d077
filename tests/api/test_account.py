"""What is held about a person, by a program of theirs."""

from __future__ import annotations

import io
import json
import zipfile

from testround.people.models import User
from tests.api.programs import Program, assert_costs_the_same
from tests.api.test_reports import GOOD, at, own

__all__ = ["at", "own"]


def test_all_that_is_held_is_told_and_taken_away(own: Program, at: str, tester: User) -> None:
    own.post(f"{at}/swatches", GOOD)

    told = {shelf["key"]: shelf["rows"] for shelf in own.get("/me/held").json()["shelves"]}
    file = own.get("/me/held/file")

    archive = zipfile.ZipFile(io.BytesIO(b"".join(file.streaming_content)))
    (name,) = [name for name in archive.namelist() if name.endswith(".json")]
    document = json.loads(archive.read(name))
    assert told["account"] == 1
    assert tester.email in json.dumps(document)
    assert told.keys() <= document.keys() | {
        key for part in document.values() if isinstance(part, dict) for key in part
    }


def test_telling_costs_the_same_whatever_is_held(own: Program, at: str) -> None:
    own.post(f"{at}/swatches", GOOD)

    assert_costs_the_same(
        lambda: own.get("/me/held"), lambda: [own.post(f"{at}/sittings", {"hours": 2}) for _ in range(3)]
    )
