"""What the server holds about a person: to be read, taken away and erased, by themselves alone."""

from __future__ import annotations

import datetime as dt
import html
import io
import json
import re
import threading
import uuid
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from allauth.account.models import EmailAddress
from django.apps import apps
from django.core import mail
from django.core.cache import cache
from django.db import connection, connections, models
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from testround.errata.models import Erratum
from testround.errata.selectors import read_round
from testround.errata.services import erratum_publish
from testround.outbox.models import Mail
from testround.patterns.models import Membership, Pattern
from testround.people.held import CannotErase, held_of, person_erase
from testround.people.models import User
from testround.reports.bridge import kernel_round
from testround.reports.exchange import round_export, round_import
from testround.reports.models import Count, Finished, Photo, Remark, Sitting, Submission
from testround.reports.photos import photo_add, photo_encode
from testround.reports.services import measures_submit, remark_submit, swatch_submit
from testround.rounds.models import Candidate, Place, Round, Vacancy
from testround.rounds.selectors import round_page, rounds_with_progress
from testround.rounds.selectors.standing import standing_of
from testround.rounds.services.dates import rounds_follow_places
from testround.rounds.services.privacy import consents_set, purge
from tests.errata.conftest import round_document
from tests.outbox.databases import shared_by_threads
from tests.reports.pictures import phone_jpeg

__all__ = ["shared_by_threads"]

# Said nowhere but by this person, so that wherever it is found it is theirs.
NAME, ADDRESS, WORDS, BUST = "Quillaby Fenn", "quillaby@example.org", "My elbows disagree", 87.123
TRACES = (NAME, "Quillaby", ADDRESS, WORDS, "87.123")


@pytest.fixture
def person(db: None) -> User:
    user = User.objects.create_user(ADDRESS, "seven-grey-sheep", name=NAME)
    EmailAddress.objects.create(user=user, email=ADDRESS, primary=True, verified=True)
    return user


@pytest.fixture
def tested(
    person: User, designer: User, little_top: dict[str, Any], django_capture_on_commit_callbacks: Any
) -> Round:
    """A round of six testers, one of whom is this person, who has sent some of everything."""
    cache.clear()
    round_ = round_import(data=json.dumps(round_document(little_top, testers=6)).encode(), owner=designer)
    place = round_.places.order_by("pk")[1]
    place.tester, place.name, place.agreed_terms = person, NAME, "Show nothing."
    place.save()
    with django_capture_on_commit_callbacks(execute=True):
        send_everything(place, person)
    photo_encode({"photo": Photo.objects.get().pk})
    Candidate.objects.create(round=round_, key="c01", name=NAME, email=ADDRESS, measures={"bust": BUST})
    return round_


def send_everything(place: Place, person: User) -> None:
    measures_submit(
        place=place,
        key=uuid.uuid4(),
        by=person,
        measures={"bust": BUST},
        typed={"measure_bust": "87.123 cm"},
    )
    remark_submit(place=place, key=uuid.uuid4(), by=person, kind="unclear", text=WORDS, where="Back, step 1")
    consents_set(place=place, kinds={"seen", "standing"}, by=person)
    photo_add(place=place, key=uuid.uuid4(), by=person, data=phone_jpeg(), caption=WORDS)


def traces_of(*, besides: tuple[type[models.Model], ...] = ()) -> list[tuple[str, str]]:
    """Every table and column in which something of this person's is found, and what."""
    found = []
    for model in apps.get_models(include_auto_created=True):
        if model in besides:
            continue
        for row in model._default_manager.values():
            found += [(model._meta.label, trace) for trace in TRACES if trace.lower() in str(row).lower()]
    return found


def files_under(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()]


# -- to be read and taken away -----------------------------------------------------------------------------


def test_everything_that_was_sent_is_on_the_shelves(tested: Round, person: User) -> None:
    shelves = {shelf.key: shelf for shelf in held_of(person)}

    assert {key: len(shelf.rows) for key, shelf in shelves.items() if shelf.rows} == {
        "account": 1,
        "places": 1,
        "offers": 1,
        "reports": 3,
        # One swatch, two counts, two finished measurements, two remarks: one of them came with the round file.
        "values": 7,
        "photos": 1,
        "diary": 4,
    }
    (place,) = shelves["places"].rows
    assert place["body_measurements_cm"] == {"bust": BUST}
    assert [consent["to"] for consent in place["consents"]] == ["seen", "standing"]


def test_the_download_is_a_zip_of_one_document_and_the_photos(
    tested: Round, person: User, signed_in: Callable[[User], Client]
) -> None:
    answer = signed_in(person).get(reverse("people:held_download"))

    assert answer.streaming
    assert (answer.headers["Content-Type"], answer.headers["Cache-Control"]) == (
        "application/zip",
        "max-age=0, no-cache, no-store, must-revalidate, private",
    )
    archive = zipfile.ZipFile(io.BytesIO(answer.getvalue()))
    assert archive.testzip() is None
    document = json.loads(archive.read("about-me.json"))
    assert (document["format"], document["version"]) == ("testround/about-me", 1)
    (photo,) = document["photos"]
    assert archive.namelist() == ["about-me.json", photo["file"]]
    assert archive.read(photo["file"])[:3] == b"\xff\xd8\xff"


def test_the_documents_keys_are_those_that_are_described(tested: Round, person: User) -> None:
    described = Path("docs/privacy.md").read_text()

    missing = [shelf.key for shelf in held_of(person) if f"`{shelf.key}`" not in described]
    assert missing == []


def test_nothing_of_anyone_else_is_in_it(
    tested: Round, stranger: User, designer: User, signed_in: Callable[[User], Client]
) -> None:
    for someone in (stranger, designer):
        answer = signed_in(someone).get(reverse("people:held_download"))
        archive = zipfile.ZipFile(io.BytesIO(answer.getvalue()))

        assert archive.namelist() == ["about-me.json"]
        assert [trace for trace in TRACES if trace in archive.read("about-me.json").decode()] == []


def test_a_photo_that_is_lost_from_storage_does_not_keep_the_rest_back(
    tested: Round, person: User, signed_in: Callable[[User], Client], settings: Any
) -> None:
    for path in files_under(settings.MEDIA_ROOT):
        path.unlink()

    answer = signed_in(person).get(reverse("people:held_download"))

    assert zipfile.ZipFile(io.BytesIO(answer.getvalue())).namelist() == ["about-me.json"]


def test_the_page_shows_what_is_held_in_a_table_and_names_the_rest_in_a_sentence(
    person: User, tested: Round, signed_in: Callable[[User], Client]
) -> None:
    page = signed_in(person).get(reverse("people:held"))

    rows = re.findall(r'<th scope="row">([^<]+)</th><td class="held-number">(\d+)</td>', page.text)
    shelves = {shelf.title: len(shelf.rows) for shelf in held_of(person)}
    assert dict(rows) == {title: str(count) for title, count in shelves.items() if count}
    assert [title for title, _count in rows[:2]] == ["Your account", "Your places, with body measurements"]
    (sentence,) = re.findall(r"<strong>Nothing of these:</strong> (.*?)\.</p>", page.text)
    assert html.unescape(sentence).split("; ") == [title for title, count in shelves.items() if not count]


def test_the_page_reads_the_same_number_of_queries_however_much_there_is(
    tested: Round, person: User, signed_in: Callable[[User], Client]
) -> None:
    client, address = signed_in(person), reverse("people:held")
    client.get(address)
    with CaptureQueriesContext(
        connection,
    ) as before:
        client.get(address)
    place = Place.objects.get(tester=person)
    for number in range(12):
        swatch_submit(
            place=place,
            key=uuid.uuid4(),
            by=person,
            gauge="body",
            state="blocked",
            width=10,
            stitches=20 + number,
        )
    Place.objects.create(round=tested, key="t99", name=NAME, tester=person, size="S", state="making")

    with CaptureQueriesContext(connection) as after:
        client.get(address)

    assert len(after) == len(before)


# -- erased ------------------------------------------------------------------------------------------------


def test_nothing_of_a_person_is_left_anywhere(
    tested: Round, person: User, settings: Any, django_capture_on_commit_callbacks: Any
) -> None:
    assert {label for label, _ in traces_of()} > {"people.User", "rounds.Place", "reports.Remark"}

    with django_capture_on_commit_callbacks(execute=True):
        person_erase(user=person)

    assert traces_of() == []
    assert files_under(settings.MEDIA_ROOT) == []


def test_what_the_errata_rest_on_stays_under_a_number(tested: Round, person: User) -> None:
    place = Place.objects.get(tester=person)

    person_erase(user=person)

    place.refresh_from_db()
    assert (place.name, place.tester, place.measures) == ("a tester, no. 2", None, {})
    assert {
        model.__name__: model.objects.filter(place=place).count()
        for model in (apps.get_model("reports", name) for name in ("Swatch", "Count", "Finished"))
    } == {"Swatch": 1, "Count": 2, "Finished": 2}
    assert set(Remark.objects.filter(place=place).values_list("where", "text")) == {
        ("Back, step 1", "(The words are deleted.)")
    }


def test_the_analysis_of_a_round_in_sizes_says_the_same_before_and_after(tested: Round, person: User) -> None:
    before = read_round(tested)

    person_erase(user=person)

    after = read_round(Round.objects.get(pk=tested.pk))
    assert after.document["findings"] == before.document["findings"]
    assert len(before.document["findings"]) > 3
    # It was made anew: what it read is another round.
    assert after.input_hash != before.input_hash


@pytest.fixture
def made_to_measure(person: User, designer: User, little_top: dict[str, Any]) -> Round:
    """Three testers, each with a body of their own; one of them is the person."""
    document = round_document(little_top, testers=3)
    document["pattern"].update(kind="made-to-measure", sizes=[])
    for measure in document["pattern"]["measures"]:
        measure.pop("values")
    for number in document["pattern"]["numbers"]:
        number.pop("printed")
    for tester in document["testers"]:
        tester.update(size=None, measures={"bust": BUST})
    round_ = round_import(data=json.dumps(document).encode(), owner=designer)
    round_.places.filter(key="t001").update(tester=person)
    return round_


def test_made_to_measure_the_analysis_says_the_same_though_the_body_is_gone(
    made_to_measure: Round, person: User
) -> None:
    before = read_round(made_to_measure)

    person_erase(user=person)

    after = read_round(Round.objects.get(pk=made_to_measure.pk))
    place = made_to_measure.places.get(key="t001")
    assert {finding["subject"]: finding["testers"] for finding in before.document["findings"]} == {
        "chest": 3,
        "body_length": 3,
    }
    assert after.document["findings"] == before.document["findings"]
    # (87.123 + 8) / 2 at the swatch's 22 stitches to 10 cm is 104.6, of two: 104; 32 cm at 30 rows is 96.
    assert (place.measures, place.worked_out) == ({}, {"back_sts": 104.0, "body_rows": 96.0})


def test_forgotten_twice_what_was_worked_out_is_still_there(made_to_measure: Round, person: User) -> None:
    person_erase(user=person)
    Round.objects.filter(pk=made_to_measure.pk).update(purge_on=dt.date(2027, 1, 1))

    purge(now=dt.datetime(2027, 1, 3, tzinfo=dt.UTC))

    kept = made_to_measure.places.values_list("measures", "worked_out")
    assert list(kept) == 3 * [({}, {"back_sts": 104.0, "body_rows": 96.0})]


def test_of_a_body_that_nothing_was_made_for_nothing_is_kept(made_to_measure: Round, person: User) -> None:
    place = made_to_measure.places.get(key="t001")
    for model in (Count, Finished, Sitting):
        model.objects.filter(place=place).delete()
    Place.objects.filter(pk=place.pk).update(used_metres=None, used_grams=None)

    person_erase(user=person)

    place.refresh_from_db()
    assert (place.measures, place.worked_out) == ({}, {})


def test_a_round_with_a_body_gone_is_exported_and_imported_as_it_is(
    made_to_measure: Round, person: User, designer: User
) -> None:
    person_erase(user=person)
    exported = round_export(Round.objects.get(pk=made_to_measure.pk), photos=False)
    read = kernel_round(made_to_measure)
    made_to_measure.delete()

    again = round_import(data=exported, owner=designer)

    assert kernel_round(again) == read
    assert read.tester("t001").worked_out == {"back_sts": 104.0, "body_rows": 96.0}


def test_a_place_not_begun_is_given_back_and_one_with_numbers_is_done(
    tested: Round, person: User, designer: User, django_capture_on_commit_callbacks: Any
) -> None:
    idle = Place.objects.create(round=tested, key="t90", name=NAME, tester=person, size="S", state="taken")
    begun = Place.objects.create(round=tested, key="t91", name=NAME, tester=person, size="S", state="making")

    with django_capture_on_commit_callbacks(execute=True):
        person_erase(user=person)

    states = {place.key: place.state for place in Place.objects.filter(pk__in=[idle.pk, begun.pk])}
    assert states == {"t90": "given back", "t91": "done"}
    told = [message for message in mail.outbox if message.to == [designer.email]]
    assert {message.subject for message in told} >= {"A tester has left for good: Little top: First test"}
    assert [message for message in mail.outbox if NAME in message.body or NAME in message.subject] == []


def test_the_size_of_a_tester_who_left_before_measuring_wants_somebody_else(
    a_round: Round, person: User, designer: User, django_capture_on_commit_callbacks: Any
) -> None:
    Round.objects.filter(pk=a_round.pk).update(
        state="making",
        moved_at=timezone.now() - dt.timedelta(days=1),
        places_plan={"least": {"XS": 0, "M": 0}},
    )
    a_round.refresh_from_db()
    next_one = a_round.candidates.create(
        key="c1", name="Fern", state="confirmed", email="fern@example.org", wishes=["S"], own_yarn=True
    )
    place = Place.objects.create(round=a_round, key="t91", name=NAME, tester=person, size="S", state="making")

    with django_capture_on_commit_callbacks(execute=True):
        person_erase(user=person)
    moved = rounds_follow_places()

    page = round_page(a_round, today=dt.date(2027, 2, 1))
    assert (page.place_count, page.held_count, page.measured_count, page.left) == (0, 0, 0, 1)
    assert {row.size: row.sentence for row in page.rows}["S"] == "0 of 1 held; add a place and invite"
    assert [(one.place_count, one.measured_count) for one in rounds_with_progress(designer)] == [(0, 0)]
    assert standing_of(a_round).finished_count == 0
    # Nobody measured anything, so the round measures not yet; and who is next in reserve is proposed.
    assert moved == 0
    assert Vacancy.objects.get(place=place).candidate == next_one


def test_an_owner_hands_over_first_and_is_told_which_patterns(designer: User, tested: Round) -> None:
    with pytest.raises(CannotErase) as refused:
        person_erase(user=designer)

    assert [problem.sentence for problem in refused.value.problems] == [
        "You own Little top. Hand each pattern over to someone else, or delete it while it has no round: testers "
        "and readers of errata rely on it."
    ]
    assert User.objects.filter(pk=designer.pk).exists()


def test_an_owner_who_has_handed_over_goes_and_the_published_errata_stay(
    designer: User, stranger: User, tested: Round
) -> None:
    draft = Erratum.objects.create(
        pattern=tested.edition.pattern,
        edition=tested.edition,
        round=tested,
        place="Back",
        text="Cast on 104.",
    )
    erratum_publish(erratum=draft, by=designer)
    Pattern.objects.update(owner=stranger)

    person_erase(user=designer)

    kept = Erratum.objects.get()
    assert (kept.number, kept.text, kept.published_by) == (1, "Cast on 104.", None)


def test_parts_and_invitations_to_one_go_too(tested: Round, person: User) -> None:
    pattern = tested.edition.pattern
    shared: dict[str, Any] = {"pattern": pattern, "email": ADDRESS, "expires": tested.created}
    Membership.objects.create(**shared, role="editor", user=person, secret_hash="a", joined_at=tested.created)
    Membership.objects.create(**shared, role="onlooker", secret_hash="b")

    person_erase(user=person)

    assert Membership.objects.count() == 0


def test_mails_to_them_go_too(tested: Round, person: User) -> None:
    Mail.objects.create(to=ADDRESS.upper(), subject="Hello", letter={"text": NAME})

    person_erase(user=person)

    assert Mail.objects.filter(to__iexact=ADDRESS).count() == 0


def test_erasing_twice_is_erasing_once(tested: Round, person: User) -> None:
    person_erase(user=person)
    entries = tested.diary.count()

    person_erase(user=person)

    assert tested.diary.count() == entries


@pytest.mark.django_db(transaction=True)
def test_a_report_on_its_way_while_its_sender_erases_themselves_leaves_nothing_behind(
    shared_by_threads: None, edition: Any, person: User
) -> None:
    round_ = Round.objects.create(edition=edition, title="First test", state=Round.State.MAKING)
    place = Place.objects.create(
        round=round_, key="t01", name=NAME, tester=person, size="S", state=Place.State.MAKING
    )
    start = threading.Barrier(2)
    failures: list[BaseException] = []

    def at_once(job: Callable[[], object]) -> None:
        try:
            start.wait(timeout=10)
            job()
        except BaseException as error:
            failures.append(error)
        finally:
            connections["default"].close()

    jobs: list[Callable[[], object]] = [
        lambda: person_erase(user=person),
        lambda: remark_submit(
            place=Place.objects.get(pk=place.pk), key=uuid.uuid4(), by=person, kind="unclear", text=WORDS
        ),
    ]
    threads = [threading.Thread(target=at_once, args=[job]) for job in jobs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)

    # Whichever came first, the person is gone, and with them what they wrote.
    assert not User.objects.filter(pk=person.pk).exists()
    assert list(Remark.objects.filter(text=WORDS)) == []
    assert Submission.objects.filter(by=person.pk).count() == 0


# -- the page ----------------------------------------------------------------------------------------------

ERASE = {"password": "seven-grey-sheep", "sure": "on"}


def test_it_takes_the_password_and_a_yes(
    tested: Round, person: User, signed_in: Callable[[User], Client]
) -> None:
    client, address = signed_in(person), reverse("people:erase")

    answers = [
        client.post(address, form)
        for form in ({}, {"password": "seven-grey-sheep"}, {"password": "wrong", "sure": "on"})
    ]

    assert [answer.status_code for answer in answers] == [422, 422, 422]
    assert "Tick this if you are sure." in answers[1].text
    assert "This is not the password of your account. Nothing has been erased." in answers[2].text
    assert User.objects.filter(pk=person.pk).exists()

    gone = client.post(address, ERASE)

    assert (gone.status_code, gone.headers["Location"]) == (302, "/")
    assert not User.objects.filter(pk=person.pk).exists()
    assert client.get(reverse("people:held")).headers["Location"].startswith("/account/login/")


def test_pressed_twice_the_second_press_finds_nobody(
    person: User, signed_in: Callable[[User], Client]
) -> None:
    client, second = signed_in(person), Client()
    second.force_login(person)

    answers = [each.post(reverse("people:erase"), ERASE) for each in (client, second)]

    assert [answer.status_code for answer in answers] == [302, 302]
    assert answers[1].headers["Location"].startswith("/account/login/")


def test_guesses_at_the_password_are_counted(person: User, signed_in: Callable[[User], Client]) -> None:
    cache.clear()
    client = signed_in(person)

    answers = [client.post(reverse("people:erase"), {"password": "guess", "sure": "on"}) for _ in range(11)]

    assert "That was tried too often. Wait a minute, then try again." in answers[-1].text


def test_who_has_no_password_signs_in_anew_first(person: User, signed_in: Callable[[User], Client]) -> None:
    person.set_unusable_password()
    person.save()
    client = signed_in(person)

    answer = client.post(reverse("people:erase"), {"sure": "on"})

    assert answer.status_code == 422
    assert "Sign out, and in again with a code sent by mail" in answer.text
    back = "/account/login/code/?next=/me/erase/"
    assert f'name="next" value="{back}"' in answer.text
    assert client.post("/account/logout/", {"next": back})["Location"] == back
    assert User.objects.filter(pk=person.pk).exists()


def test_the_page_says_what_goes_what_stays_and_what_stands_in_the_way(
    tested: Round, designer: User, person: User, signed_in: Callable[[User], Client]
) -> None:
    tester_reads = signed_in(person).get(reverse("people:erase")).text
    designer_reads = signed_in(designer).get(reverse("people:erase")).text

    assert (
        "the counts that were worked out from your body stay beside its finished measurements" in tester_reads
    )
    assert "You own Little top." in designer_reads
    assert 'name="password"' not in designer_reads
