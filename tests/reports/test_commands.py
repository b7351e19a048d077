"""A round in and out of the database from the command line."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from testround.people.models import User
from testround.rounds.models import Round

Document = dict[str, Any]


@pytest.fixture
def document(little_top: Document) -> Document:
    return {
        "format": "testround/round",
        "version": 1,
        "pattern": little_top,
        "round": {"title": "First test", "opens": "2027-01-11", "closes": "2027-03-08"},
        "testers": [{"id": "t01", "name": "Tester one", "size": "S", "measures": {"bust": 86}}],
    }


@pytest.fixture
def imported(designer: User, document: Document, tmp_path: Path) -> Callable[[], str]:
    """Import the document as it is by then, for the designer, and give back what the command said."""

    def run() -> str:
        file, out = tmp_path / "round.json", io.StringIO()
        file.write_text(json.dumps(document), encoding="utf-8")
        call_command("import_round", str(file), owner=designer.email, stdout=out)
        return out.getvalue()

    return run


def test_an_import_says_what_it_stored_and_asks_nothing_of_an_ordinary_round(
    imported: Callable[[], str],
) -> None:
    said = imported()

    stored = Round.objects.get()
    assert said.splitlines()[-1] == (f"Imported {stored} as round {stored.code}: 1 testers, 0 candidates.")


def test_an_import_asks_about_what_cannot_be_meant_and_stores_it_all_the_same(
    document: Document, imported: Callable[[], str]
) -> None:
    document["testers"][0]["measures"]["bust"] = 34
    document["testers"][0]["finished"] = [{"dimension": "chest", "state": "blocked", "values": [380]}]

    said = imported()

    assert Round.objects.count() == 1
    _, questions = said.split("To ask about:\n")
    assert [line.split(": ")[0].strip() for line in questions.splitlines()] == [
        "testers[0].measures.bust",
        "t01",
    ]
    assert "Are these inches, written as centimetres? That would make it 86.4 cm." in questions
    assert "is given as 380 cm" in questions


def test_a_file_with_problems_ends_with_two_and_stores_nothing(
    document: Document, imported: Callable[[], str], capsys: pytest.CaptureFixture[str]
) -> None:
    document["testers"][0]["swatches"] = [{"gauge": "body", "state": "blocked", "width": 0, "stitches": 22}]

    with pytest.raises(SystemExit) as ended:
        imported()

    assert ended.value.code == 2
    assert not Round.objects.exists()
    assert capsys.readouterr().err.splitlines()[0] == ("testers[0].swatches[0].width: must be above 0; got 0")


def test_an_owner_nobody_knows_is_refused_with_two(db: None, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="let the designer sign up first") as refused:
        call_command("import_round", str(tmp_path / "round.json"), owner="nobody@example.org")

    assert refused.value.returncode == 2


@pytest.mark.parametrize(
    ("code", "name", "sentence"),
    [
        ("nosuchround", "round.json", "There is no round nosuchround"),
        (None, "round.txt", "ends in neither .json nor .zip"),
    ],
)
def test_an_export_that_cannot_be_is_refused_with_two(
    a_round: Round, tmp_path: Path, code: str | None, name: str, sentence: str
) -> None:
    with pytest.raises(CommandError, match=sentence) as refused:
        call_command("export_round", code or a_round.code, str(tmp_path / name))

    assert refused.value.returncode == 2
    assert not (tmp_path / name).exists()
