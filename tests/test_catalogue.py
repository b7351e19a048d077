"""The German catalogue: complete, up to date with the source, and compiled as it stands."""

from __future__ import annotations

import gettext
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import read_po

ROOT = Path(__file__).resolve().parent.parent
FOLDER = Path("testround", "locale", "de", "LC_MESSAGES")
PLACES = re.compile(r"%\(\w+\)[sd]|\{\w+\}|</?\w+[^>]*>")


def catalogue(root: Path) -> Catalog:
    with (root / FOLDER / "django.po").open("rb") as file:
        return read_po(file, locale="de")


def messages(of: Catalog) -> list[Message]:
    return [message for message in of if message.id]


def forms(message: Message) -> list[tuple[str, str]]:
    """Every translation beside the English that it stands for."""
    if isinstance(message.id, tuple):
        return list(zip(message.id, message.string, strict=True))
    return [(message.id, message.string)]


def name(message: Message) -> tuple[str | None, str]:
    return message.context, message.id[0] if isinstance(message.id, tuple) else message.id


@pytest.fixture(scope="module")
def german() -> Catalog:
    return catalogue(ROOT)


def test_every_message_is_translated_and_none_is_guessed(german: Catalog) -> None:
    untold = [
        name(message)[1]
        for message in messages(german)
        if message.fuzzy or not all(said.strip() for _, said in forms(message))
    ]

    assert untold == []
    assert len(messages(german)) > 2000


def test_a_translation_fills_the_same_places_and_keeps_the_same_tags(german: Catalog) -> None:
    differ = []
    for message in messages(german):
        for english, said in forms(message):
            # For exactly one, a language may leave the number out.
            known = set(PLACES.findall("".join(one for one, _ in forms(message))))
            needed = set() if english != forms(message)[-1][0] else set(PLACES.findall(english))
            found = set(PLACES.findall(said))
            if not needed <= found <= known:
                differ.append((english, said))

    assert differ == []


def test_what_is_compiled_is_what_is_written(german: Catalog) -> None:
    with (ROOT / FOLDER / "django.mo").open("rb") as file:
        compiled = gettext.GNUTranslations(file)

    for message in messages(german):
        if isinstance(message.id, tuple):
            one, many = message.id
            said = (
                [compiled.npgettext(message.context, one, many, n) for n in (1, 2)]
                if message.context
                else [compiled.ngettext(one, many, n) for n in (1, 2)]
            )
            assert said == list(message.string)
        elif message.context:
            assert compiled.pgettext(message.context, message.id) == message.string
        else:
            assert compiled.gettext(message.id) == message.string


@pytest.mark.gettext
def test_it_has_every_message_of_the_source_and_no_other(german: Catalog, tmp_path: Path) -> None:
    for part in ("testround", "templates"):
        shutil.copytree(ROOT / part, tmp_path / part, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "manage.py", tmp_path)

    subprocess.run(
        [sys.executable, "manage.py", "makemessages", "--locale=de", "--add-location=file", "--no-obsolete"],
        cwd=tmp_path,
        env={"PATH": os.environ["PATH"]},
        check=True,
        capture_output=True,
    )

    assert {name(message) for message in messages(catalogue(tmp_path))} == {
        name(message) for message in messages(german)
    }
