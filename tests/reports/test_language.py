"""A tester's room in a second language: who reads what in which, and that what is typed in one is read in the other."""

from __future__ import annotations

import datetime as dt
import html
import uuid
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone, translation

from testround.people.models import User
from testround.reports import services
from testround.reports.call_pictures import picture_encode
from testround.reports.models import CallPicture, Photo, Remark
from testround.reports.photos import photo_encode
from testround.reports.privacy import WORDLESS
from testround.rounds.models import Place, Round
from tests.spoken import bracketed, own_words, unspoken

WORDS = {
    "{name} sent a swatch.": "{name} hat eine Maschenprobe geschickt.",
    "{name} sent {n} count.\0{name} sent {n} counts.": "{name} hat {n} Zahl geschickt.\0{name} hat {n} Zahlen geschickt.",
    "{name} sent a remark on {where}.": "Zu {where} gibt es eine Bemerkung von {name}.",
    "{sentence}, after the date.": "{sentence}, nach dem Termin.",
    "{name} moved from {before} to {after}.": "{name}: bisher {before}, nun {after}.",
    "{sentence}: {reason}.": "{sentence} – {reason}.",
    "a swatch came": "eine Maschenprobe kam",
    "The file did not get through. Please send the photo again.": "Die Datei kam nicht durch.",
    "(The words are deleted.)": "(Die Worte sind gelöscht.)",
    "between a number and its decimals\x04.": ",",
    "What you had written here and not sent yet is back.": "Was hier noch nicht gesendet war, ist wieder da.",
    "Send it now": "Jetzt senden",
    "{count} stitch in {length}\0{count} stitches in {length}": "{length} mit {count} Masche\0{length} mit {count} Maschen",
}

Speak = Callable[[dict[str, str]], None]
Diary = Callable[[Round], list[str]]
Address = Callable[..., str]
SignIn = Callable[[User], Client]
GERMAN = {"accept-language": "de"}
SWATCH = {"gauge": "body", "state": "blocked", "width": 10.0, "stitches": 18.0, "height": 10.0, "rows": 30.0}


@pytest.fixture
def two_languages(german: Speak) -> None:
    german(WORDS)


def test_the_diary_is_kept_in_the_language_of_who_sends(
    two_languages: None, a_round: Round, place: Place, tester: User, diary_of: Diary
) -> None:
    place.state = Place.State.TAKEN
    place.save()

    with translation.override("de"):
        services.swatch_submit(place=place, key=uuid.uuid4(), by=tester, **SWATCH)
        services.remark_submit(
            place=place, key=uuid.uuid4(), by=tester, kind="unclear", text="Which side?", where="Back, step 3"
        )

    assert set(diary_of(a_round)) >= {
        "Tester one hat eine Maschenprobe geschickt.",
        "Zu Back, step 3 gibt es eine Bemerkung von Tester one.",
    }


def test_what_comes_late_is_noted_as_late_in_the_same_sentence(
    two_languages: None, a_round: Round, place: Place, tester: User, diary_of: Diary
) -> None:
    a_round.closes = timezone.localdate() - dt.timedelta(days=3)
    a_round.save()
    place.refresh_from_db()

    with translation.override("de"):
        services.counts_submit(place=place, key=uuid.uuid4(), by=tester, counts={"back_sts": 104.0})

    assert "Tester one hat 1 Zahl geschickt, nach dem Termin." in diary_of(a_round)


def test_what_is_wrong_with_a_photo_is_said_in_the_language_of_who_sent_it(
    two_languages: None, place: Place, tester: User
) -> None:
    tester.language = "de"
    tester.save()
    photo = Photo.objects.create(place=place, name="lost.jpg")

    photo_encode({"photo": photo.pk})

    photo.refresh_from_db()
    assert (photo.state, photo.problem) == ("refused", "Die Datei kam nicht durch.")


def test_what_is_wrong_with_a_picture_of_a_call_is_said_in_the_language_of_its_designer(
    two_languages: None, a_round: Round, designer: User
) -> None:
    designer.language = "de"
    designer.save()
    picture = CallPicture.objects.create(round=a_round, shows="The front")

    picture_encode({"picture": picture.pk})

    picture.refresh_from_db()
    assert (picture.state, picture.problem) == ("refused", "Die Datei kam nicht durch.")


def test_a_number_shown_in_a_form_in_one_language_is_read_in_it_again(
    two_languages: None, as_tester: Client, address: Address, place: Place
) -> None:
    place.guess_hours = 32.5
    place.save()

    page = as_tester.get(address("guess"), headers=GERMAN)
    shown = page.context["form"]["hours"].value()
    as_tester.post(address("guess"), {"key": str(uuid.uuid4()), "hours": shown}, headers=GERMAN)

    place.refresh_from_db()
    assert (shown, place.guess_hours) == ("32,5", 32.5)


def test_what_was_sent_is_told_in_the_language_of_who_reads(
    two_languages: None, signed_in: SignIn, place: Place, tester: User, designer: User
) -> None:
    services.swatch_submit(place=place, key=uuid.uuid4(), by=tester, **SWATCH)
    Remark.objects.create(place=place, kind="unclear", text=WORDLESS)

    own = signed_in(tester).get(reverse("reports:sent", args=[place.pk]))
    runs = signed_in(designer).get(
        reverse("reports:of_tester", args=[place.round.code, place.pk]), headers=GERMAN
    )

    assert "18 stitches in 10 cm" in html.unescape(own.text)
    assert "(The words are deleted.)" in own.text
    assert "10 cm mit 18 Maschen" in html.unescape(runs.text)
    assert "(Die Worte sind gelöscht.)" in html.unescape(runs.text)


@pytest.mark.parametrize("page", ["guess", "place", "counting"])
def test_scripts_are_given_the_words_that_they_say(
    two_languages: None, as_tester: Client, address: Address, page: str
) -> None:
    found = as_tester.get(address(page), headers=GERMAN)

    assert 'data-now="Jetzt senden"' in found.text
    assert ('data-back="Was hier noch nicht gesendet war, ist wieder da."' in found.text) is (page != "place")


def test_a_form_of_what_is_said_gives_the_script_of_drafts_its_words(
    two_languages: None, as_tester: Client, place: Place
) -> None:
    found = as_tester.get(reverse("talk:ask", args=[place.pk]), headers=GERMAN)

    assert 'data-back="Was hier noch nicht gesendet war, ist wieder da."' in found.text


PAGES = (
    "place",
    "swatch",
    "counts",
    "finished",
    "sitting",
    "remark",
    "fit",
    "guess",
    "yarn",
    "measures",
    "photo_new",
    "consents",
    "worksheet",
    "counting",
    "sent",
)


@pytest.mark.parametrize("page", PAGES)
def test_a_page_of_a_place_says_nothing_past_the_catalogue(
    as_tester: Client, address: Address, place: Place, tester: User, page: str
) -> None:
    services.swatch_submit(place=place, key=uuid.uuid4(), by=tester, **SWATCH)
    services.counts_submit(place=place, key=uuid.uuid4(), by=tester, counts={"back_sts": 104.0})

    with bracketed():
        found = as_tester.get(address(page))

    # What stands behind the comma in the pattern's "Back, step 1" is the pattern's own too.
    assert unspoken(found.text, [*own_words(), "step 1", "step 3"]) == []


@pytest.mark.parametrize(
    "page", ["swatch", "counts", "finished", "sitting", "remark", "fit", "guess", "yarn"]
)
def test_a_form_that_is_refused_says_nothing_past_the_catalogue(
    as_tester: Client, address: Address, page: str
) -> None:
    typed = {
        "hours": "?!",
        "done": "140",
        "metres": "?!",
        "grams": "0",
        "width": "10",
        "rows": "?!",
        "remark": "",
    }

    with bracketed():
        found = as_tester.post(address(page), typed)

    assert found.status_code == 422
    assert unspoken(found.text, own_words()) == []


def test_the_places_of_a_person_and_those_pages_of_a_round_say_nothing_past_the_catalogue(
    signed_in: SignIn, place: Place, tester: User, designer: User
) -> None:
    Photo.objects.create(place=place, name="a.jpg", state=Photo.State.READY, width=40, height=30)
    CallPicture.objects.create(round=place.round, shows="Front of it", state=Photo.State.WAITING)
    round_pages = [
        reverse(name, args=[place.round.code]) for name in ("reports:round_photos", "reports:call_pictures")
    ]

    with bracketed():
        pages = [signed_in(tester).get(reverse("reports:places"))]
        pages += [
            signed_in(designer).get(address)
            for address in (*round_pages, reverse("reports:of_tester", args=[place.round.code, place.pk]))
        ]

    assert [unspoken(page.text, own_words()) for page in pages] == [[], [], [], []]
