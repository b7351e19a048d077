"""The demo: what was planted in its rounds is found, and it loads once, as a newcomer would load it."""

from __future__ import annotations

import io
import json
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from fixtures import make
from testround.errata.models import Erratum
from testround.home import demo
from testround.kernel.analysis import Analysis, analyse
from testround.kernel.findings import Verdict
from testround.kernel.roundfile import read_round
from testround.people.models import User
from testround.reports.models import Photo
from testround.rounds.models import Place, Round

FIXTURES = Path(make.__file__).parent


def analysed(name: str) -> Analysis:
    return analyse(read_round((FIXTURES / f"{name}.json").read_bytes()))


def amended(analysis: Analysis) -> dict[str, Any]:
    return {finding.id: finding for finding in analysis.findings.findings if finding.verdict is Verdict.AMEND}


def test_every_fault_planted_in_the_cardigan_is_found_under_its_own_name_and_nothing_else() -> None:
    found = amended(analysed("fenlight"))

    assert set(found) == {
        "printed-count:sleeve_sts",
        "schematic:chest",
        "worked-count:neckband_sts",
        "stated-gauge:body.row",
        "finished-size:cuff",
        "finished-size:back_width",
        "yarn",
        "clarity:Fronts, step 6",
    }
    assert found["printed-count:sleeve_sts"].proposed == {"2X": 96}
    assert found["schematic:chest"].sizes == ("4X",)
    assert found["stated-gauge:body.row"].proposed == {"rows": 28}
    assert found["finished-size:back_width"].sizes == ("3X", "4X", "5X")
    assert found["finished-size:cuff"].extent == "all-sizes"
    planted = make.FENLIGHT_TRUTH.offsets
    for key in ("cuff", "back_width"):
        low, high = found[f"finished-size:{key}"].interval
        assert low < max(planted[key].values()) < high


def test_both_slips_in_the_cardigans_round_are_asked_about_and_nobody_else_is() -> None:
    questions = analysed("fenlight").questions

    assert [(question.tester, question.subject, question.cause) for question in questions] == [
        ("t07", "chest", "half"),
        ("t14", "sleeve_length", "inches"),
    ]


def test_the_skirt_that_drops_when_it_hangs_is_the_only_fault_of_its_round() -> None:
    analysis = analysed("quillwork")

    assert set(amended(analysis)) == {"finished-size:skirt_length"}
    assert analysis.questions == ()


def test_the_round_files_are_what_the_script_draws_up() -> None:
    for name, document in (("fenlight", make.fenlight()), ("quillwork", make.quillwork())):
        assert json.loads((FIXTURES / f"{name}.json").read_text()) == make.whole(document)


@pytest.fixture
def loaded(db: None, django_capture_on_commit_callbacks: Callable[..., Any]) -> list[str]:
    """What loading the demo said, step by step."""
    said: list[str] = []
    with django_capture_on_commit_callbacks(execute=True):
        demo.load(said.append)
    return said


def test_the_demo_brings_every_kind_of_door_its_photos_and_an_erratum(
    loaded: list[str], client: Client, mailoutbox: list[Any]
) -> None:
    ways = demo.ways_in()

    assert [way.who for way in ways] == [
        "designer",
        "tester with a swatch to send",
        "tester in mid-garment",
        "reader of errata, no account",
    ]
    for way in ways:
        if way.email:
            assert client.login(email=way.email, password=demo.PASSWORD)
        assert client.get(way.page).status_code == 200
        client.logout()
    assert [mail.to[0] for mail in mailoutbox] == [
        *("elder@example.org", "kelp@example.org"),  # a note
        demo.DESIGNER,  # a question
        *("elder@example.org", "kelp@example.org"),  # its answer
        *(demo.DESIGNER, demo.DESIGNER),  # another question, and a private word
        demo.INVITED,
    ]
    assert len(loaded) > 5
    assert set(Photo.objects.values_list("state", flat=True)) == {Photo.State.READY}
    assert Photo.objects.count() == len(demo.FENLIGHT_PHOTOS) + len(demo.QUILLWORK_PHOTOS)
    assert [(erratum.number, erratum.is_published) for erratum in Erratum.objects.all()] == [(1, True)]


def test_loading_again_doubles_nothing(loaded: list[str], settings: Any) -> None:
    counts = [model.objects.count() for model in (User, Round, Place, Photo, Erratum)]
    out = io.StringIO()

    call_command("demo", no_serve=True, stdout=out)

    assert [model.objects.count() for model in (User, Round, Place, Photo, Erratum)] == counts
    assert "The demo is loaded already" in out.getvalue()
    assert f"password: {demo.PASSWORD}" in out.getvalue()


def test_a_served_installation_has_no_demo(settings: Any) -> None:
    settings.SERVED = True

    with pytest.raises(CommandError, match="well-known passwords"):
        call_command("demo", no_serve=True)


def test_a_port_that_is_taken_is_said_with_another_to_try() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]

        with pytest.raises(
            CommandError, match=f"Port {port} is in use. Choose another: demo --port {port + 1}"
        ):
            call_command("demo", port=port)


def test_a_port_that_cannot_be_is_refused() -> None:
    with pytest.raises(CommandError, match="choose one from 1 to 65535"):
        call_command("demo", port=70000)
