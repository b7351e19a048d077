"""A round from nothing to published errata, by the API alone, with a client generated from the OpenAPI document."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.test import Client

from testround.api.openapi import document, operations
from testround.people.models import User
from tests.api.generated_client import PACKAGE, GeneratedClient, generate
from tests.api.programs import program_of
from tests.api.rows_errata import MISPRINT

# Files are no models: the generator has no way to read them, and says so.
FILES = {
    "files_import",
    "files_export_zip",
    "photos_file",
    "photos_download",
    "analysis_report",
    "worksheets_print",
    "values_xlsx",
    "values_try",
    "values_keep_csv",
    "values_keep_xlsx",
    "held_download",
}


@pytest.fixture(scope="module")
def generated(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, str]]:
    folder = tmp_path_factory.mktemp("client")
    yield folder, generate(folder)
    # Another test may generate another one.
    sys.path[:] = [path for path in sys.path if path != str(folder)]
    for name in [name for name in sys.modules if name.partition(".")[0] == PACKAGE]:
        del sys.modules[name]


def client_of(person: User, folder: Path) -> GeneratedClient:
    return GeneratedClient(folder, program_of(person).headers["Authorization"].removeprefix("Bearer "))


def test_a_generator_of_clients_reads_all_of_the_document(generated: tuple[Path, str]) -> None:
    _folder, said = generated
    names = {(method.upper(), path): one["operationId"] for path, method, one in operations(document())}

    left_out = {names[found] for found in re.findall(r"WARNING parsing (\w+) (\S+) within", said)}

    assert left_out <= FILES
    assert "Unable to" not in said


@pytest.mark.usefixtures("within_the_test")
def test_a_round_is_driven_from_nothing_to_published_errata(
    generated: tuple[Path, str], designer: User, tester: User, little_top: dict[str, Any], client: Client
) -> None:
    folder, _said = generated
    by_designer, by_tester = client_of(designer, folder), client_of(tester, folder)
    little_top["numbers"][0]["printed"]["M"] = 118

    # The designer writes the numbers down, and opens a round with a place in it.
    pattern = by_designer("patterns_create", body={"sheet": little_top})
    (edition,) = pattern["editions"]
    check = by_designer("checks_retrieve", pattern["code"], edition["id"])
    assert [(count["size"], count["computed"]) for count in check["counts"]] == [("M", 114)]
    round = by_designer("rounds_open", body={"edition": edition["id"], "title": "First test"})
    code = round["code"]
    by_designer("round_places_add", code, body={"names": ["Heron"], "size": "M"})
    (place,) = by_designer("round_places_list", code)["results"]
    invited = by_designer("invitations_create", code, place["id"], body={"email": tester.email})

    # The tester takes it, and sends what is worked and measured.
    taken = by_tester("invitations_accept", invited["secret"], body={"agree": True, "name": "Heron"})
    at = taken["place"]
    by_designer("rounds_move", code, body={"state": "swatching"})
    swatch = {
        "gauge": "body",
        "state": "blocked",
        "tool_mm": 4,
        "width": 10,
        "stitches": 22,
        "height": 10,
        "rows": 30,
    }
    by_tester("swatches_send", at, body=swatch)
    by_designer("rounds_move", code, body={"state": "making"})
    by_tester("counts_send", at, body={"counts": {"back_sts": 114, "body_rows": 96}})
    by_tester("sittings_send", at, body={"hours": 2.5})
    by_tester(
        "remarks_send", at, body={"where": "Back, step 1", "kind": "wrong-number", "text": "118 is too many."}
    )
    by_designer("rounds_move", code, body={"state": "measuring"})
    readings = {"chest": [103.5, 103.8], "body_length": [32.0]}
    by_tester("finished_send", at, body={"state": "blocked", "readings": readings})
    by_tester("places_finish", at)

    # The designer decides, words and publishes, and makes the next edition.
    found = {finding["id"] for finding in by_designer("findings_retrieve", code)["findings"]}
    assert MISPRINT in found
    draft = by_designer("findings_accept", code, body={"findings": [MISPRINT]})
    tag = by_designer.tag("drafts_retrieve", code, draft["id"])
    by_designer("drafts_edit", code, draft["id"], body={"text": "Cast on 114 stitches in size M."}, match=tag)
    published = by_designer("drafts_publish", code, draft["id"])
    following = by_designer("editions_correct", code, body={"label": "1.1"})
    sheet = by_designer("sheets_retrieve", pattern["code"], following["id"])

    assert sheet["numbers"][0]["printed"] == {"XS": 92, "S": 104, "M": 114}
    errata = client.get(published["document"]).json()["errata"]
    assert [(erratum["number"], erratum["text"]) for erratum in errata] == [
        (1, "Cast on 114 stitches in size M.")
    ]
