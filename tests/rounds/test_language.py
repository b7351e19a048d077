"""The rounds' room in a second language: who reads what in which, and that a diary in it keeps no name either."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from importlib import import_module

import pytest
from django.apps import apps
from django.core import mail
from django.test import Client
from django.urls import reverse
from django.utils import translation

from testround.people.models import User
from testround.rounds.models import DiaryEntry, Place, Round
from testround.rounds.refusals import Refused
from testround.rounds.services import (
    diary_write,
    invitation_create,
    place_add,
    place_edit,
    place_give_back,
    place_move,
    privacy,
    reminders_send,
    round_move,
)
from testround.rounds.services.privacy import consents_set, purge

from .calls import confirmed

WORDS = {
    "Hello {name},": "Hallo {name},",
    "Place offered: {name}, size {size}, {yarn}.": "{name}s Platz wurde angeboten: Größe {size}, {yarn}.",
    "Invitation for {name} made.": "Einladung für {name} angelegt.",
    "{name}: changed {changes}.": "Geändert bei {name}: {changes}.",
    "what changed of a place\x04name": "Name",
    "{what} from {before} to {after}": "{what} bisher {before}, nun {after}",
    "“{value}”": "„{value}“",
    "{name} moved from {before} to {after}.": "{name}s Platz: bisher {before}, nun {after}.",
    "Round moved from {before} to {after}.": "Die Runde, bisher {before}, ist nun {after}.",
    "{sentence}: {reason}.": "{sentence} – {reason}.",
    "state of a place\x04offered": "angeboten",
    "state of a place\x04taken": "vergeben",
    "state of a place\x04given back": "zurückgegeben",
    "state of a place\x04done": "fertig",
    "state of a round\x04planned": "geplant",
    "state of a round\x04swatching": "bei den Proben",
    "a tester, no. {number}": "jemand, Nr. {number}",
    "a tester": "jemand",
    "a candidate": "jemand aus dem Aufruf",
    "{name} allows the designer to: {uses}.": "{name} erlaubt: {uses}.",
    "see my photos": "meine Fotos zu sehen",
    "{name} confirmed an offer by mail; it counts.": "{name}s Angebot ist bestätigt und zählt.",
    "{name} gave a place back: {round}": "{name} gibt einen Platz zurück: {round}",
    "A place for you: testing {title}": "Ein Platz für dich: Test von {title}",
    "{title}: your swatch is due on {day}": "{title}: deine Probe wird am {day} fällig",
    "A place that is {before} cannot become {after}: it can go to {states}.": (
        "Von {before} führt kein Weg zu {after}, nur zu: {states}."
    ),
    "Sizes by stage": "Größen nach Stand",
    "{n} person is late; a later date for all?\x00"
    "{n} people are late; a later date for all?": "{n} Person ist spät.\x00{n} Personen sind spät.",
}
NAME, NEXT, REASON = "Willow", "Rowan", "Rowan moved house"
DAY, NOON = dt.date(2027, 9, 1), dt.datetime(2027, 9, 1, 12, tzinfo=dt.UTC)

Speak = Callable[[dict[str, str]], None]
Diary = Callable[[Round], list[str]]


@pytest.fixture(autouse=True)
def two_languages(german: Speak) -> None:
    german(WORDS)


def speaks_german(person: User) -> None:
    person.language = "de"
    person.save()


@pytest.fixture
def told(offered: Place, designer: User) -> Place:
    """A place whose diary, in German, names its tester in every way: before, now, inflected and in a reason."""
    with translation.override("de"):
        second = place_add(
            round=offered.round, name=NAME, size="XS", yarn=offered.round.yarns.get(), by=designer
        )
        invitation_create(place=second, by=designer)
        place_edit(
            place=second,
            name=NEXT,
            size="XS",
            measures=None,
            yarn=offered.round.yarns.get(),
            by=designer,
        )
        place_give_back(place=second, by=designer, cause=REASON)
    Place.objects.filter(pk=offered.pk).delete()
    Round.objects.filter(pk=second.round_id).update(purge_on=DAY)
    return second


# -- the diary ---------------------------------------------------------------------------------------------


def test_a_diary_is_told_in_the_language_of_whoever_acts(told: Place, diary_of: Diary) -> None:
    assert diary_of(told.round)[-4:] == [
        "Willows Platz wurde angeboten: Größe XS, Wool, supplied.",
        "Einladung für Willow angelegt.",
        "Geändert bei Willow: Name bisher „Willow“, nun „Rowan“.",
        "Rowans Platz: bisher angeboten, nun zurückgegeben – Rowan moved house.",
    ]


def test_a_diary_in_another_language_keeps_no_name_and_no_reason(
    told: Place, designer: User, diary_of: Diary
) -> None:
    speaks_german(designer)

    purge(now=NOON)

    assert diary_of(told.round)[-5:-1] == [
        "jemand, Nr. 1 Platz wurde angeboten: Größe XS, Wool, supplied.",
        "Einladung für jemand, Nr. 1 angelegt.",
        "Geändert bei jemand, Nr. 1: Name bisher „jemand, Nr. 1“, nun „jemand, Nr. 1“.",
        "jemand, Nr. 1 Platz: bisher angeboten, nun zurückgegeben.",
    ]
    assert list(told.round.diary.exclude(names=[])) == []
    assert list(told.round.diary.exclude(without_reason="")) == []


def test_who_erases_themselves_is_named_nowhere_in_a_diary_in_another_language(
    offered: Place, tester: User, diary_of: Diary
) -> None:
    Place.objects.filter(pk=offered.pk).update(tester=tester, name="Anouk", state="taken")
    offered.refresh_from_db()
    with translation.override("de"):
        consents_set(place=offered, kinds=["seen"], by=tester)
        place_move(place=offered, state="done", by=tester, cause="Anouk is in haste")
        privacy.tester_erase(tester)

    said = diary_of(offered.round)
    assert said[-3].startswith("jemand, Nr. 1 ")
    assert said[-2] == "jemand, Nr. 1 Platz: bisher vergeben, nun fertig."
    assert [text for text in said if "Anouk" in text or NAME in text] == []


def test_an_entry_of_another_place_and_one_of_the_round_lose_the_names_too(
    told: Place, designer: User, diary_of: Diary
) -> None:
    diary_write(round=told.round, text="Fern ist für Willow eingeladen.", names=["Fern", NAME], by=designer)
    with translation.override("de"):
        round_move(round=told.round, state="swatching", by=designer, cause="Willow is in haste")

    purge(now=NOON)

    assert diary_of(told.round)[-3:-1] == [
        "a tester ist für a tester eingeladen.",
        "Die Runde, bisher geplant, ist nun bei den Proben.",
    ]


def test_who_offered_is_taken_out_of_the_diary_with_the_ending_of_the_name(
    called: Round, diary_of: Diary
) -> None:
    with translation.override("de"):
        confirmed(called, "wren@example.org")
    Round.objects.filter(pk=called.pk).update(purge_on=DAY)
    assert "Wrens Angebot ist bestätigt und zählt." in diary_of(called)

    purge(now=NOON)

    assert "a candidate Angebot ist bestätigt und zählt." in diary_of(called)


def test_a_short_name_takes_no_other_word_with_it(opened: Round, designer: User, diary_of: Diary) -> None:
    diary_write(round=opened, text="An wrote: And then An's place was free.", names=["An"], by=designer)
    Round.objects.filter(pk=opened.pk).update(purge_on=DAY)

    purge(now=NOON)

    assert diary_of(opened)[-2] == "a tester wrote: And then a tester's place was free."


def test_entries_from_before_say_who_is_named_in_them(opened: Round) -> None:
    texts = [
        "Place offered: Willow, size S, Wool, supplied.",
        "Invitation for Willow made and sent by mail.",
        "Willow: changed name from “Willow” to “Wil”; size from “S” to “M”.",
        "Wil moved from offered to given back: moved house.",
        "Wil sent a swatch.",
    ]
    DiaryEntry.objects.bulk_create(DiaryEntry(round=opened, text=text) for text in texts)

    import_module("testround.rounds.migrations.0018_who_is_named_in_the_diary").read_entries(apps, None)

    entries = opened.diary.filter(text__in=texts).order_by("pk")
    assert [(entry.names, entry.without_reason) for entry in entries] == [
        (["Willow"], ""),
        (["Willow"], ""),
        (["Willow", "Wil"], ""),
        ([], "Wil moved from offered to given back."),
        ([], ""),
    ]


# -- mails -------------------------------------------------------------------------------------------------


def test_the_designer_is_written_to_in_her_language_whoever_acts(
    offered: Place, designer: User, tester: User, django_capture_on_commit_callbacks: Callable[..., object]
) -> None:
    speaks_german(designer)
    Place.objects.filter(pk=offered.pk).update(tester=tester, state="taken")
    offered.refresh_from_db()

    with django_capture_on_commit_callbacks(execute=True):
        place_give_back(place=offered, by=tester)

    assert mail.outbox[0].subject == "Willow gibt einen Platz zurück: Little top: First test"


@pytest.mark.parametrize(
    ("address", "subject"),
    [
        ("TESTER@example.org", "Ein Platz für dich: Test von Little top"),
        ("somebody@example.org", "A place for you: testing Little top"),
    ],
)
def test_an_invitation_is_in_the_language_of_the_account_at_its_address(
    offered: Place,
    designer: User,
    tester: User,
    address: str,
    subject: str,
    django_capture_on_commit_callbacks: Callable[..., object],
) -> None:
    speaks_german(tester)

    with django_capture_on_commit_callbacks(execute=True):
        invitation_create(place=offered, email=address, by=designer)

    assert mail.outbox[0].subject == subject


def test_a_chore_reminds_a_tester_in_their_language(
    offered: Place, tester: User, django_capture_on_commit_callbacks: Callable[..., object]
) -> None:
    speaks_german(tester)
    Round.objects.filter(pk=offered.round_id).update(state="swatching")
    Place.objects.filter(pk=offered.pk).update(tester=tester, state="taken")

    with django_capture_on_commit_callbacks(execute=True):
        reminders_send(now=dt.datetime(2027, 1, 24, 12, tzinfo=dt.UTC))

    assert mail.outbox[0].subject == "Little top: deine Probe wird am 25. Januar 2027 fällig"


# -- refusals and pages --------------------------------------------------------------------------------------


def test_a_refusal_says_its_states_in_the_readers_language(offered: Place) -> None:
    with translation.override("de"), pytest.raises(Refused) as refused:
        place_move(place=offered, state="done", by=None)

    assert (
        refused.value.sentence == "Von angeboten führt kein Weg zu fertig, nur zu: vergeben, zurückgegeben."
    )


def test_what_is_stored_and_sent_by_a_form_is_the_same_in_every_language(
    offered: Place, designer: User, client: Client
) -> None:
    speaks_german(designer)
    client.force_login(designer)

    moved = client.post(reverse("rounds:move", args=[offered.round.code]), {"state": "swatching"})
    page = client.get(offered.round.get_absolute_url()).text

    offered.round.refresh_from_db()
    assert (moved.status_code, offered.round.state) == (302, "swatching")
    assert "Größen nach Stand" in page
    assert '<th scope="col">angeboten</th>' in page


def test_a_diary_is_dated_as_its_reader_writes_days(opened: Round, designer: User, client: Client) -> None:
    opened.diary.update(at=dt.datetime(2026, 8, 5, 9, 30, tzinfo=dt.UTC))
    client.force_login(designer)
    address = reverse("rounds:diary", args=[opened.code])

    english = client.get(address).text
    speaks_german(designer)
    german = client.get(address).text

    assert ("5 August 2026</time>" in english, "5. August 2026</time>" in german) == (True, True)
    assert (">09:30</time>" in english, ">09:30</time>" in german) == (True, True)
