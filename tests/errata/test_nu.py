"""The pages of published errata before the W3C's Nu HTML checker: no error, and no warning either.

The checker (https://validator.github.io/validator/) holds a document to the living standard of HTML
(https://html.spec.whatwg.org/), with ARIA and what of MathML and SVG may stand in it.
"""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest
from django.test import Client
from django.urls import reverse

from testround.errata.models import Erratum
from testround.patterns.models import Edition
from testround.patterns.released import edition_release, frame_origins_set
from testround.people.models import User
from testround.rounds.models import Place, Round
from tests.conftest import NU_JAR
from tests.errata.printed import change, misprint, next_edition, published, unclear

pytestmark = pytest.mark.nu

WAYS = ({}, {"units": "in", "terms": "uk"}, {"language": "de"})


def checked(folder: Path) -> list[str]:
    """What the checker says of every file of a folder; nothing of a clean one."""
    run = subprocess.run(
        ["java", "-jar", NU_JAR, "--format", "json", *sorted(map(str, folder.glob("*.html")))],
        capture_output=True,
        text=True,
        check=False,
    )
    messages = json.loads(run.stderr)["messages"]
    return [
        f"{Path(each['url']).name}:{each.get('lastLine', '')}: {each['message']} {each.get('extract', '')}"
        for each in messages
    ]


@pytest.fixture
def everything_published(a_round: Round, designer: User, place: Place) -> Edition:
    """Errata of every kind, some put right by others, an edition that has some of them, and thanks."""
    first = a_round.edition
    Place.objects.update(state=Place.State.DONE, thanked_as="Wren & <Rowan>")
    misprint(first, why="It is a misprint.")
    unclear(first, place="Edge & <band>", text="Turn <b>over</b>.\n\nThen & again.")
    published(
        first,
        3,
        corrects=Erratum.objects.get(number=1),
        changes=[
            change("back_sts", "st", {"XS": 92, "S": 104, "M": 118}, {"XS": 94, "S": 106, "M": 116}),
            change("body_length", "cm", {"XS": 32, "S": 32, "M": 32}, {"XS": 35.5, "S": 35.5, "M": 35.5}),
            change("body", "st/10 cm", {"stitches": 22}, {"stitches": 23.5}),
        ],
    )
    edition_release(edition=next_edition(first, "1.1", cast_on_m=116), corrected=[2], by=designer)
    frame_origins_set(pattern=first.pattern, origins=["https://shop.example.org"], by=designer)
    return first


def addresses_of(edition: Edition) -> dict[str, str]:
    code = edition.pattern.code
    return {
        "list": reverse("errata:list", args=[code]),
        "edition": reverse("errata:edition", args=[code, edition.pk]),
        "later edition": reverse("errata:edition", args=[code, edition.pk + 1]),
        **{f"erratum {n}": reverse("errata:erratum", args=[code, n]) for n in (1, 2, 3)},
        "embed": reverse("errata:embed", args=[code]),
        "nothing there": reverse("errata:erratum", args=[code, 99]),
    }


def keep(folder: Path, name: str, response) -> None:
    (folder / f"{name.replace(' ', '-')}.html").write_bytes(response.content)


def test_every_page_of_published_errata_is_clean(
    client: Client, everything_published: Edition, designer: User, tmp_path: Path
) -> None:
    for name, address in addresses_of(everything_published).items():
        for number, ways in enumerate(
            (*WAYS, {"size": "M"}, {"size": "XS", "edition": everything_published.pk})
        ):
            keep(tmp_path, f"{name}-{number}", client.get(address, ways))
    client.force_login(designer)
    keep(tmp_path, "readers", client.get(reverse("errata:readers", args=[everything_published.pattern.code])))
    assert len(list(tmp_path.glob("*.html"))) == 41

    assert checked(tmp_path) == []


def test_the_pages_of_a_pattern_without_errata_are_clean(
    client: Client, a_round: Round, tmp_path: Path
) -> None:
    for name in ("list", "embed"):
        keep(tmp_path, name, client.get(reverse(f"errata:{name}", args=[a_round.edition.pattern.code])))

    assert checked(tmp_path) == []


def test_the_checker_would_say_what_is_wrong(tmp_path: Path) -> None:
    (tmp_path / "wrong.html").write_text(
        '<!doctype html><html lang="en"><title>x</title><p id="a"><p id="a">'
    )

    assert [line for line in checked(tmp_path) if "Duplicate ID" in line] != []
