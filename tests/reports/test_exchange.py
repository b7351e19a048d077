"""A round file in and out of the database: all or nothing, and equal when it comes back."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Callable
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from PIL import Image

from testround.kernel.round import Round as KernelRound
from testround.kernel.roundfile import RoundFileError, read_round, write_round
from testround.patterns.models import Edition, Pattern
from testround.people.models import User
from testround.reports.bridge import kernel_round
from testround.reports.exchange import round_export, round_import
from testround.reports.models import Photo, Swatch
from testround.reports.photos import reencode
from testround.reports.unpacking import unpacked
from testround.rounds.models import Place, Round
from tests.generated import rounds

Document = dict[str, Any]


@pytest.fixture
def document(little_top: Document) -> Document:
    return {
        "format": "testround/round",
        "version": 1,
        "pattern": little_top,
        "round": {"title": "First test", "opens": "2027-01-11", "closes": "2027-03-08"},
        "testers": [
            {
                "id": "t01",
                "name": "Tester one",
                "size": "S",
                "swatches": [{"gauge": "body", "state": "blocked", "width": 10, "stitches": 22.5}],
                "finished": [{"dimension": "chest", "state": "blocked", "values": [93, 93.5]}],
            },
            {"id": "t02", "name": "Tester two", "size": "M"},
        ],
    }


def as_bytes(document: Document) -> bytes:
    return json.dumps(document).encode()


def zipped(files: dict[str, bytes]) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return packed.getvalue()


def nothing_was_stored() -> bool:
    return not (Pattern.objects.exists() or Edition.objects.exists() or Round.objects.exists())


@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(read=rounds())
def test_a_round_exported_and_imported_again_is_equal(designer: User, read: KernelRound) -> None:
    with transaction.atomic():
        stored = round_import(data=write_round(read), owner=designer)

        exported = round_export(stored, photos=False)

        assert read_round(exported) == read
        transaction.set_rollback(True)


def test_photos_travel_in_the_zip_and_come_back_the_same(
    designer: User,
    other_designer: User,
    document: Document,
    django_capture_on_commit_callbacks: Callable[..., Any],
) -> None:
    photo = reencode(_picture((10, 120, 90))).original.data
    document["testers"][0]["photos"] = [
        {"name": "t01-1.jpg", "sha256": hashlib.sha256(photo).hexdigest(), "caption": "Cuff & edge"}
    ]
    with django_capture_on_commit_callbacks(execute=True):
        first = round_import(
            data=zipped({"round.json": as_bytes(document), "photos/t01-1.jpg": photo}), owner=designer
        )
    exported = round_export(first, photos=True)

    with django_capture_on_commit_callbacks(execute=True):
        second = round_import(data=exported, owner=other_designer)

    assert kernel_round(second) == kernel_round(first) == read_round(as_bytes(document))
    assert round_export(second, photos=True) == exported
    assert Photo.objects.get(place__round=second).state == Photo.State.READY


def test_photos_named_without_their_files_are_known_of_and_said_to_be_missing(
    designer: User, document: Document
) -> None:
    document["testers"][0]["photos"] = [{"name": "t01-1.jpg", "sha256": "0" * 64}]

    stored = round_import(data=as_bytes(document), owner=designer)

    photo = Photo.objects.get(place__round=stored)
    assert (photo.state, photo.problem) == (
        Photo.State.REFUSED,
        "The picture did not come with the round file. Import the ZIP to have it.",
    )
    assert kernel_round(stored) == read_round(as_bytes(document))


def test_the_number_of_queries_does_not_depend_on_the_testers(
    designer: User, document: Document, django_assert_num_queries: Callable[..., Any]
) -> None:
    one = document["testers"][0]
    for testers in (1, 30):
        document["round"]["title"] = f"With {testers}"
        document["testers"] = [one | {"id": f"t{i}"} for i in range(testers)]
        stored = Round.objects.select_related("edition__pattern").get(
            pk=round_import(data=as_bytes(document), owner=designer).pk
        )

        with django_assert_num_queries(10):  # places, seven kinds of reports, yarns, candidates
            assert len(kernel_round(stored).testers) == testers


def test_importing_a_second_round_of_the_same_numbers_uses_the_edition_there_is(
    designer: User, document: Document
) -> None:
    first = round_import(data=as_bytes(document), owner=designer)
    document["round"]["title"] = "Second test"

    second = round_import(data=as_bytes(document), owner=designer)

    assert second.edition == first.edition
    assert Pattern.objects.count() == 1


def test_another_edition_of_a_known_title_is_put_beside_the_first(designer: User, document: Document) -> None:
    first = round_import(data=as_bytes(document), owner=designer)
    document["pattern"]["edition"] = "1.1"

    second = round_import(data=as_bytes(document), owner=designer)

    assert second.edition.pattern == first.edition.pattern
    assert [edition.label for edition in first.edition.pattern.editions.all()] == ["1.1", "1.0"]


def test_importing_one_file_twice_is_refused_and_doubles_nothing(designer: User, document: Document) -> None:
    round_import(data=as_bytes(document), owner=designer)

    with pytest.raises(RoundFileError) as refused:
        round_import(data=as_bytes(document), owner=designer)

    assert [str(problem) for problem in refused.value.problems] == [
        "round.title: edition 1.0 of Little top already has a round called First test; give this one another title"
    ]
    assert Round.objects.count() == 1


def test_an_edition_with_other_numbers_is_not_overwritten(designer: User, document: Document) -> None:
    round_import(data=as_bytes(document), owner=designer)
    document["pattern"]["constants"][0]["value"] = 10
    document["round"]["title"] = "Second test"

    with pytest.raises(RoundFileError) as refused:
        round_import(data=as_bytes(document), owner=designer)

    assert [problem.path for problem in refused.value.problems] == ["pattern.edition"]
    assert Edition.objects.get().document.constants[0].value == 8


def test_a_file_with_a_problem_stores_nothing(designer: User, document: Document) -> None:
    document["testers"][1]["size"] = "XXL"

    with pytest.raises(RoundFileError):
        round_import(data=as_bytes(document), owner=designer)

    assert nothing_was_stored()


def test_a_fault_in_mid_import_leaves_neither_rows_nor_files(
    designer: User, document: Document, settings: Any, tmp_path: Any
) -> None:
    good, bad = _picture((1, 2, 3)), b"this is no photo"
    document["testers"][0]["photos"] = [
        {"name": "a.jpg", "sha256": hashlib.sha256(good).hexdigest()},
        {"name": "b.jpg", "sha256": hashlib.sha256(bad).hexdigest()},
    ]
    data = zipped({"round.json": as_bytes(document), "photos/a.jpg": good, "photos/b.jpg": bad})

    with pytest.raises(RoundFileError) as refused:
        round_import(data=data, owner=designer)

    assert [problem.path for problem in refused.value.problems] == ["photos/b.jpg"]
    assert nothing_was_stored()
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []


@pytest.mark.parametrize(
    "name",
    [
        "../round.json",
        "photos/../../etc/passwd",
        "/etc/passwd",
        "photos/a/b.jpg",
        "other.txt",
        "photos/..\\x.jpg",
    ],
)
def test_a_zip_whose_paths_climb_out_is_refused(designer: User, document: Document, name: str) -> None:
    data = zipped({"round.json": as_bytes(document), name: b"x"})

    with pytest.raises(RoundFileError) as refused:
        round_import(data=data, owner=designer)

    assert [problem.sentence for problem in refused.value.problems] == [
        "has no business in an exported round; only round.json and photos/NAME are taken"
    ]
    assert nothing_was_stored()


def test_a_zip_that_unpacks_to_too_much_is_refused_unread(
    designer: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("testround.reports.unpacking.MOST_UNPACKED_BYTES", 10_000)
    bomb = io.BytesIO()
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("round.json", b"0" * 1_000_000)

    with pytest.raises(RoundFileError, match="unpacks to more than"):
        round_import(data=bomb.getvalue(), owner=designer)


def test_a_file_without_a_name_in_a_zip_is_refused() -> None:
    data = zipped({"round.json": b"{}", "x": b"x"}).replace(b"x", b"\0")

    with pytest.raises(RoundFileError):
        unpacked(data)


@pytest.mark.parametrize("data", [b"PK\x03\x04 and nothing more", b"", b"\x00\x01\x02", b"[]", b"{}"])
def test_what_is_no_round_file_gets_a_sentence(designer: User, data: bytes) -> None:
    with pytest.raises(RoundFileError):
        round_import(data=data, owner=designer)

    assert nothing_was_stored()


def test_a_photo_changed_after_the_export_is_refused(designer: User, document: Document) -> None:
    document["testers"][0]["photos"] = [{"name": "a.jpg", "sha256": "0" * 64}]
    data = zipped({"round.json": as_bytes(document), "photos/a.jpg": _picture((0, 0, 0))})

    with pytest.raises(RoundFileError) as refused:
        round_import(data=data, owner=designer)

    assert [problem.path for problem in refused.value.problems] == ["testers[0].photos[0].sha256"]


def test_what_was_superseded_or_given_back_is_not_in_the_round(place: Place, a_round: Round) -> None:
    Swatch.objects.create(
        place=place, gauge="body", state="blocked", width=10, stitches=20, superseded_at=place.created
    )
    Swatch.objects.create(place=place, gauge="body", state="blocked", width=10, stitches=22)
    Place.objects.create(round=a_round, key="t02", name="Gone", size="S", state=Place.State.GIVEN_BACK)

    read = kernel_round(a_round)

    assert [(tester.id, [swatch.stitches for swatch in tester.swatches]) for tester in read.testers] == [
        ("t01", [22])
    ]


def _picture(colour: tuple[int, int, int]) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (40, 30), colour).save(out, "JPEG")
    return out.getvalue()
