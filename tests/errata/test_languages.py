"""One analysis for readers of several languages: it is kept once, and no program sees who looked at it."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.html import escape

from testround.errata.forms import DraftForm
from testround.errata.models import Analysis, Erratum
from testround.errata.selectors import desk_of, read_round
from testround.errata.services import analysis_keep, erratum_publish, finding_accept, finding_decline
from testround.kernel.words import spoken
from testround.people.models import User
from testround.rounds.models import DiaryEntry, Round
from tests.spoken import LEFT, bracketed

MISPRINT = "printed-count:back_sts"
TOO_LONG = "finished-size:body_length"
SignIn = Callable[[User], Client]
Speak = Callable[[dict[str, str]], None]


def test_an_analysis_kept_for_one_reader_is_said_to_the_next_in_their_own_language(tested: Round) -> None:
    before = read_round(tested)

    with bracketed():
        after = read_round(tested)
        said = [spoken(finding["why"]) for finding in after.document["findings"]]
        said += [question.sentence for question in after.analysis.questions]
    again = read_round(tested)

    assert said
    assert all(LEFT in one for one in said)
    assert [spoken(finding.why) for finding in again.analysis.findings.findings] == [
        finding["why"] for finding in before.document["findings"]
    ]


def test_an_analysis_made_for_a_reader_of_another_language_is_english_to_the_next(tested: Round) -> None:
    with bracketed():
        read_round(tested)

    assert LEFT not in read_round(tested).file


def test_the_findings_file_is_english_and_the_same_whoever_takes_it(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    address = reverse("errata:findings", args=[tested.code])
    english = signed_in(designer).get(address).content

    with bracketed():
        assert signed_in(designer).get(address).content == english


def test_what_is_kept_of_an_analysis_is_english_under_one_hash_whoever_had_it_made(tested: Round) -> None:
    english = analysis_keep(round=tested)
    kept = english.document

    with bracketed():
        again = analysis_keep(round=tested)

    again.refresh_from_db()
    assert (again.pk, again.input_hash, again.document) == (english.pk, english.input_hash, kept)
    assert Analysis.objects.count() == 1


def test_a_decision_taken_in_one_language_is_not_taken_for_changed_in_another(
    tested: Round, designer: User
) -> None:
    with bracketed():
        finding_decline(round=tested, finding_id=TOO_LONG, reason="One batch of yarn.", by=designer)

    desk = desk_of(tested)
    assert [entry.changed for entry in desk.decided] == [""]
    assert LEFT not in desk.decided[0].decision.finding["why"]


def test_a_draft_gives_the_reason_in_the_language_of_whoever_accepts_the_finding(
    tested: Round, designer: User
) -> None:
    with bracketed():
        erratum = finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)

    assert erratum.why.startswith(LEFT)


def test_the_desk_and_the_results_say_why_in_the_readers_language(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    why = next(one for one in read_round(tested).analysis.findings.findings if one.id == TOO_LONG).why

    with bracketed():
        said = escape(spoken(why))
        pages = [
            signed_in(designer).get(reverse(f"errata:{name}", args=[tested.code])).content.decode()
            for name in ("desk", "results")
        ]

    assert said.startswith(LEFT)
    assert said in pages[1]
    assert f"{LEFT}The pieces of 9 testers say so, beyond what the counts" in pages[0]


# Published errata -------------------------------------------------------------------------------------------

WORDS = {
    "Edition {edition} · {n} erratum, the latest of {day}\x00Edition {edition} · {n} errata, the latest of {day}": (
        "Ausgabe {edition} · {n} Berichtigung, zuletzt am {day}"
        "\x00Ausgabe {edition} · {n} Berichtigungen, zuletzt am {day}"
    ),
    "Is my copy affected, and what do I change?": "Betrifft es mein Exemplar, und was ändere ich?",
    "Erratum %(number)s: %(place)s": "Berichtigung %(number)s: %(place)s",
    "Accepted for the errata: {subjects}.": "Für die Berichtigungen angenommen: {subjects}.",
    "a correction\x04Was": "Bisher",
    "name of this language\x04en-GB": "de",
}
TO_A_GERMAN = {"Accept-Language": "de"}


@pytest.fixture
def misprint(tested: Round, designer: User) -> Erratum:
    erratum = finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)
    return erratum_publish(erratum=erratum, by=designer)


def test_a_published_erratum_keeps_its_words_and_the_page_around_it_speaks_its_readers_language(
    client: Client, misprint: Erratum, german: Speak
) -> None:
    german(WORDS)

    page = client.get(
        reverse("errata:list", args=[misprint.pattern.code]), headers=TO_A_GERMAN
    ).content.decode()

    assert "Betrifft es mein Exemplar, und was ändere ich?" in page
    assert escape(f"Berichtigung 1: {misprint.place}") in page
    assert escape(misprint.text) in page
    assert "Bisher" in page


def test_the_errata_on_paper_are_made_anew_for_a_reader_of_another_language(
    client: Client, misprint: Erratum, german: Speak
) -> None:
    german(WORDS)
    address = reverse("errata:pdf", args=[misprint.pattern.code])

    english = client.get(address)
    in_german = client.get(address, headers=TO_A_GERMAN | {"If-None-Match": english["ETag"]})
    again = client.get(address, headers=TO_A_GERMAN | {"If-None-Match": in_german["ETag"]})

    assert (english.status_code, in_german.status_code, again.status_code) == (200, 200, 304)
    assert b"/Lang (en-GB)" in english.content
    assert b"/Lang (de)" in in_german.content
    assert in_german.content != english.content


def test_the_document_for_programs_is_the_same_in_any_language(client: Client, misprint: Erratum) -> None:
    address = reverse("errata:document", args=[misprint.pattern.code])
    english = json.loads(client.get(address).content)

    with bracketed():
        assert json.loads(client.get(address).content) == english


def test_the_diary_tells_of_a_decision_in_the_language_of_whoever_takes_it(
    signed_in: SignIn, designer: User, tested: Round, german: Speak
) -> None:
    german(WORDS)
    designer.language = "de"
    designer.save()

    signed_in(designer).post(reverse("errata:accept", args=[tested.code]), {"finding": MISPRINT})

    written = DiaryEntry.objects.filter(round=tested).order_by("pk").last()
    assert written is not None
    assert written.text.startswith("Für die Berichtigungen angenommen: ")


def test_a_draft_is_reworded_by_the_same_fields_in_any_language(tested: Round, designer: User) -> None:
    draft = finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)
    english = DraftForm(erratum=draft, units="cm")

    with bracketed():
        said = DraftForm(erratum=draft, units="cm")

        assert list(said.fields) == list(english.fields)
        assert str(said.fields["place"].label) == "⟦Place in the text⟧"
