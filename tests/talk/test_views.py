"""The pages of what is said: who reads what, what is kept when a form is refused, and what a page costs."""

from __future__ import annotations

import io
import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from testround.patterns.models import Membership
from testround.people.models import User
from testround.reports.models import Remark
from testround.rounds.models import Place, Round
from testround.talk.models import Look, Note, Question, Word
from testround.talk.selectors import Waiting, waiting_for
from testround.talk.services import note_write, question_to_desk, word_write
from tests.talk.conftest import STEP, SignIn, answer, ask


def form(**fields: str) -> dict[str, str]:
    return {"key": str(uuid.uuid4()), **fields}


def at(name: str, *args: Any) -> str:
    return reverse(f"talk:{name}", args=args)


def key_on(page: Any) -> str:
    """The key that a form shown again carries."""
    return str(page.context["form"]["key"].value())


@pytest.fixture
def pages_of(question: Question, place: Place) -> dict[str, str]:
    code = question.round.code
    return {
        "notes": at("notes", code),
        "questions": at("questions", code),
        "question": at("question", code, question.pk),
        "words": at("words", place.pk),
    }


@pytest.fixture
def member(designer: User, question: Question) -> Callable[[str], User]:
    """Somebody with a part in the pattern."""

    def of(role: str) -> User:
        person = User.objects.create_user(f"{role}@example.org", "a-long-password", name=role.capitalize())
        Membership.objects.create(
            pattern=question.round.edition.pattern,
            role=role,
            email=person.email,
            user=person,
            secret_hash=role,
            expires=timezone.now(),
            joined_at=timezone.now(),
        )
        return person

    return of


# -- who reads what ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("who", "reads"),
    [
        ("designer", {"notes", "questions", "question", "words"}),
        ("tester", {"notes", "questions", "question", "words"}),
        ("second_tester", {"notes", "questions", "question"}),
        ("stranger", set()),
        ("other_designer", set()),
    ],
)
def test_those_in_the_round_read_it_and_nobody_else(
    request: Any, signed_in: SignIn, pages_of: dict[str, str], who: str, reads: set[str]
) -> None:
    client = signed_in(request.getfixturevalue(who))

    answers = {page: client.get(path).status_code for page, path in pages_of.items()}

    assert answers == {page: 200 if page in reads else 404 for page in pages_of}


def test_who_gave_the_place_back_reads_it_no_more(
    signed_in: SignIn, pages_of: dict[str, str], place: Place, tester: User
) -> None:
    Place.objects.filter(pk=place.pk).update(state="given back")

    client = signed_in(tester)

    assert {client.get(path).status_code for path in [*pages_of.values(), at("ask", place.pk)]} == {404}


def test_an_editor_answers_and_reads_no_private_words(
    signed_in: SignIn, member: Callable[[str], User], question: Question, pages_of: dict[str, str]
) -> None:
    client = signed_in(member("editor"))

    answers = {page: client.get(path).status_code for page, path in pages_of.items()}
    client.post(at("answer", question.round.code, question.pk), form(text="The right side.", after="0"))

    assert answers == {"notes": 200, "questions": 200, "question": 200, "words": 404}
    assert [row.text for row in question.answers.all()] == ["The right side."]


def test_only_who_may_read_private_words_is_led_to_them(
    signed_in: SignIn, member: Callable[[str], User], designer: User, place: Place
) -> None:
    names = ("rounds:place_edit", "reports:of_tester")
    pages = [reverse(name, args=[place.round.code, place.pk]) for name in names]
    link, nudge = at("words", place.pk), reverse("rounds:nudge", args=[place.round.code, place.pk])

    hers = [signed_in(designer).get(page).text for page in pages]
    editor = signed_in(member("editor"))
    editors = [editor.get(page).text for page in pages]

    assert [f'href="{link}"' in text for text in hers] == [True, True]
    assert [f'href="{link}"' in text for text in editors] == [False, False]
    assert (f'href="{nudge}"' in hers[0], f'href="{nudge}"' in editors[0]) == (True, True)


def test_an_onlooker_reads_nothing_of_it(
    signed_in: SignIn, member: Callable[[str], User], pages_of: dict[str, str]
) -> None:
    client = signed_in(member("onlooker"))

    assert {client.get(path).status_code for path in pages_of.values()} == {404}


@pytest.mark.parametrize(
    ("by_name", "who", "seen"),
    [
        (False, "tester", "Asked by you,"),
        (False, "second_tester", "Asked by a tester,"),
        (False, "designer", "Asked by Tester one, size S; to the others: a tester,"),
        (True, "tester", "Asked by you,"),
        (True, "second_tester", "Asked by Tester one,"),
        (True, "designer", "Asked by Tester one, size S,"),
    ],
)
def test_the_asker_is_shown_as_they_chose(
    request: Any, signed_in: SignIn, place: Place, second_place: Place, by_name: bool, who: str, seen: str
) -> None:
    question = ask(place, by_name=by_name)
    client = signed_in(request.getfixturevalue(who))

    for page in (at("questions", place.round.code), at("question", place.round.code, question.pk)):
        shown = client.get(page).text
        assert seen in shown
        if who == "second_tester" and not by_name:
            assert "Tester one" not in shown


def test_what_was_written_is_shown_as_text_with_its_links(
    signed_in: SignIn, place: Place, designer: User, tester: User
) -> None:
    evil = "<img src=x onerror=alert(1)> https://knit.example/a"
    shown = (
        "<p>&lt;img src=x onerror=alert(1)&gt; "
        '<a href="https://knit.example/a" rel="nofollow noopener">https://knit.example/a</a></p>'
    )
    question = ask(place, evil, where="Back, step 3")
    answer(question, evil, by=designer)
    note_write(round=place.round, key=uuid.uuid4(), by=designer, text=evil)
    word_write(place=place, key=uuid.uuid4(), by=designer, text=evil)
    client = signed_in(tester)
    code = place.round.code

    for path, times in (
        (at("questions", code), 2),
        (at("question", code, question.pk), 2),
        (at("notes", code), 1),
        (at("words", place.pk), 1),
        (reverse("reports:worksheet", args=[place.pk]), 2),
        (reverse("reports:counts", args=[place.pk]), 2),
    ):
        page = client.get(path).text
        assert (path, page.count(shown)) == (path, times)
        assert "<img src=x" not in page


# -- asking ------------------------------------------------------------------------------------------------


def test_a_tester_asks_at_a_step(signed_in: SignIn, place: Place, tester: User) -> None:
    client = signed_in(tester)
    page = client.get(at("ask", place.pk), {"where": STEP})

    answered = client.post(
        at("ask", place.pk), form(where=STEP, text="Which row first?", by_name="name", shown="0")
    )

    question = Question.objects.get()
    assert f'value="{STEP}"' in page.text
    assert '<option value="Back, step 1"></option><option value="Back, step 3"></option>' in page.text
    assert (answered.status_code, answered.headers["Location"]) == (302, question.get_absolute_url())
    assert (question.where, question.text, question.by_name, question.place) == (
        STEP,
        "Which row first?",
        True,
        place,
    )


def test_what_was_asked_at_the_step_stands_above_the_form(
    signed_in: SignIn, question: Question, second_place: Place, second_tester: User, designer: User
) -> None:
    answer(question, "The right side.", by=designer)
    client = signed_in(second_tester)

    page = client.get(at("ask", second_place.pk), {"where": "back step 3"})
    sent = client.post(
        at("ask", second_place.pk),
        form(where=STEP, by_name="hidden", text="Another?", shown=page.context["form"]["shown"].value()),
    )

    assert f"Asked at {STEP} before" in page.text
    assert "Which row first?" in page.text
    assert "The right side." in page.text
    assert sent.status_code == 302


def test_who_names_the_place_only_then_is_shown_the_questions_and_loses_nothing(
    signed_in: SignIn, question: Question, second_place: Place, second_tester: User
) -> None:
    client = signed_in(second_tester)
    ask(second_place, "How many balls?")
    ask(second_place, "Where do I begin the first row?")

    refused = client.post(
        at("ask", second_place.pk),
        form(where=STEP, by_name="hidden", text="Which row is the first?", shown="0"),
    )

    asked = [shown.question.text for shown in refused.context["before"]]
    assert refused.status_code == 422
    # The most alike first.
    assert asked == ["Which row first?", "Where do I begin the first row?", "How many balls?"]
    assert "Which row is the first?</textarea>" in refused.text
    assert "Not sent yet" in refused.text
    kept = refused.context["form"]
    again = client.post(
        at("ask", second_place.pk),
        {name: kept[name].value() for name in ("key", "where", "text", "by_name", "shown")},
    )
    assert again.status_code == 302
    assert Question.objects.filter(text="Which row is the first?").count() == 1


@pytest.mark.parametrize(
    ("fields", "field", "sentence"),
    [
        ({"where": ""}, "where", "Say at which place in the text: the section and the step."),
        ({"text": " "}, "text", "Write what you would like to know; a sentence is enough."),
        (
            {"text": "x" * 2001},
            "text",
            "That is longer than 2000 signs (2001): shorten it, or say it in two parts.",
        ),
        ({"by_name": ""}, "by_name", "Choose whether the other testers see your name."),
        ({"key": ""}, "key", "The form lost its number on the way. Look it over and send it again."),
        ({"text": "a\0b"}, "text", "Null characters are not allowed."),
    ],
)
def test_a_refused_question_comes_back_with_its_sentence_and_what_was_typed(
    signed_in: SignIn, place: Place, tester: User, fields: dict[str, str], field: str, sentence: str
) -> None:
    sent = {**form(where="Page 4", text="Which row?", by_name="hidden"), **fields}

    page = signed_in(tester).post(at("ask", place.pk), sent)

    assert page.status_code == 422
    assert page.context["form"].errors == {field: [sentence]}
    assert page.context["form"]["where"].value() == sent["where"]
    assert page.context["form"]["text"].value() == sent["text"]
    assert Question.objects.count() == 0


def test_going_back_and_changing_a_question_that_was_sent_makes_another_after_a_look(
    signed_in: SignIn, place: Place, tester: User
) -> None:
    client = signed_in(tester)
    first = form(where=STEP, text="Which row?", by_name="hidden", shown="0")
    client.post(at("ask", place.pk), first)

    page = client.post(at("ask", place.pk), {**first, "text": "Which side?"})

    assert page.status_code == 422
    assert "This form had already been sent and has arrived." in page.text
    assert key_on(page) != first["key"]
    assert "Which side?</textarea>" in page.text


# -- answering ---------------------------------------------------------------------------------------------


def test_the_designer_answers_on_a_page_and_adds_to_it_later(
    signed_in: SignIn, question: Question, designer: User
) -> None:
    client = signed_in(designer)
    path = at("answer", question.round.code, question.pk)

    for text in ("The right side.", "In size S the wrong side."):
        after = client.get(path).context["form"]["after"].value()
        assert client.post(path, form(text=text, after=str(after))).status_code == 302

    page = client.get(at("question", question.round.code, question.pk)).text
    assert page.index("Answered</strong> by Designer") < page.index("The right side.")
    assert page.index("The right side.") < page.index("Added</strong> by Designer")
    assert page.index("Added</strong> by Designer") < page.index("In size S the wrong side.")


def test_an_answer_that_comes_second_is_kept_in_the_form_beneath_the_first(
    signed_in: SignIn, question: Question, designer: User
) -> None:
    answer(question, "The right side.", by=designer)
    client = signed_in(designer)
    path = at("answer", question.round.code, question.pk)

    page = client.post(path, form(text="Begin with the wrong side.", after="0"))

    assert page.status_code == 422
    assert "Somebody answered while you wrote" in page.text
    assert "The right side." in page.text
    assert "Begin with the wrong side.</textarea>" in page.text
    kept = page.context["form"]
    again = client.post(path, {name: kept[name].value() for name in ("key", "text", "after")})
    assert again.status_code == 302
    assert [row.is_addition for row in question.answers.all()] == [False, True]


def test_one_press_takes_a_clarified_step_to_the_errata_desk(
    signed_in: SignIn, question: Question, designer: User
) -> None:
    answer(question, "The right side.", by=designer)
    client = signed_in(designer)
    code = question.round.code

    page = client.post(at("to_desk", code, question.pk), follow=True)
    client.post(at("to_desk", code, question.pk))

    desk = client.get(reverse("errata:desk", args=[code])).text
    assert "Back, step 3 is on the errata desk, among the remarks." in page.text
    assert "Take to the errata desk" not in page.text
    assert Remark.objects.count() == 1
    assert "Asked: Which row first?" in desk
    assert "Answered: The right side." in desk


def test_what_was_asked_and_taken_to_the_desk_does_not_stand_as_if_its_asker_had_sent_it_so(
    signed_in: SignIn, question: Question, place: Place, tester: User, designer: User
) -> None:
    answer(question, "The right side.", by=designer)
    question_to_desk(question=question, by=designer)
    Remark.objects.create(place=place, where=STEP, kind="unclear", text="Too short.")

    page = signed_in(tester).get(reverse("reports:sent", args=[place.pk]))
    hers = signed_in(designer).get(reverse("reports:of_tester", args=[place.round.code, place.pk]))

    sent, asked = page.context["page"].object_list
    assert (sent.what, sent.said, sent.asked) == ("Remark on Back, step 3", "unclear: Too short.", "")
    assert (asked.what, asked.said, asked.asked) == (
        "Question at Back, step 3",
        "Asked: Which row first?\nAnswered: The right side.",
        at("question", question.round.code, question.pk),
    )
    said = "You asked it as a question; the designer took it up at the errata desk."
    assert page.text.count(said) == page.text.count("See the question") == 1
    assert page.text.count(">Correct<") == 1
    assert hers.text.count("Asked as a question, and taken up from there.") == 1


def test_an_unanswered_question_is_not_taken_to_the_desk(
    signed_in: SignIn, question: Question, designer: User
) -> None:
    page = signed_in(designer).post(at("to_desk", question.round.code, question.pk), follow=True)

    assert "Answer the question first" in page.text
    assert Remark.objects.count() == 0


def test_questions_are_narrowed_to_a_place_and_to_what_waits(
    signed_in: SignIn, question: Question, second_place: Place, designer: User
) -> None:
    other = ask(second_place, "How many?", where="Back, step 1")
    answer(other, by=designer)
    client = signed_in(designer)
    path = at("questions", question.round.code)

    def found(**chosen: str) -> list[str]:
        return [shown.question.text for shown in client.get(path, chosen).context["page"].object_list]

    assert found() == ["How many?", "Which row first?"]
    assert found(where="back, STEP 1") == ["How many?"]
    assert found(waiting="1") == ["Which row first?"]
    assert found(where="Nowhere\0") == []
    assert found(page="99") == ["How many?", "Which row first?"]


# -- notes and words ---------------------------------------------------------------------------------------


def test_a_note_is_written_and_read_by_the_testers(
    signed_in: SignIn, a_round: Round, place: Place, designer: User, tester: User
) -> None:
    client = signed_in(designer)
    sent = client.post(at("note_new", a_round.code), form(text="The blue yarn is late."))
    assert sent.headers["Location"] == at("notes", a_round.code)

    client = signed_in(tester)
    on_place = client.get(place.get_absolute_url()).text
    notes = client.get(at("notes", a_round.code)).text

    for page in (on_place, notes):
        assert "The blue yarn is late." in page
        assert '<strong class="said-new">New</strong>' in page
    assert '<strong class="said-new">New</strong>' not in client.get(at("notes", a_round.code)).text
    assert '<strong class="said-new">New</strong>' not in client.get(place.get_absolute_url()).text


@pytest.mark.parametrize(("page", "who"), [("note_new", "designer"), ("words", "tester")])
def test_an_empty_form_is_refused_with_a_sentence(
    request: Any, signed_in: SignIn, a_round: Round, place: Place, page: str, who: str
) -> None:
    path = at("note_new", a_round.code) if page == "note_new" else at("words", place.pk)

    answered = signed_in(request.getfixturevalue(who)).post(path, form(text=""))

    assert answered.status_code == 422
    assert "Not sent yet" in answered.text
    assert (Note.objects.count(), Word.objects.count()) == (0, 0)


def test_before_a_word_is_said_the_page_says_so_and_where_else_each_may_say_it(
    signed_in: SignIn, place: Place, designer: User, tester: User
) -> None:
    path = at("words", place.pk)
    of_tester, of_designer = (signed_in(person).get(path).text for person in (tester, designer))
    word_write(place=place, key=uuid.uuid4(), by=tester, text="My wrist hurts.")
    afterwards = signed_in(designer).get(path).text

    nothing = "Nothing has been said yet."
    assert [nothing in page for page in (of_tester, of_designer, afterwards)] == [True, True, False]
    assert f'href="{at("ask", place.pk)}">at its step</a>' in of_tester
    assert f'href="{at("notes", place.round.code)}">note to all</a>' in of_designer


@pytest.mark.parametrize(("who", "part"), [("tester", "My places"), ("designer", "Rounds")])
def test_the_menu_marks_the_part_by_which_each_came(
    request: Any, signed_in: SignIn, pages_of: dict[str, str], who: str, part: str
) -> None:
    client = signed_in(request.getfixturevalue(who))

    marked = {
        name: re.findall(r'aria-current="true">([^<]+)<', client.get(path).text)
        for name, path in pages_of.items()
    }

    assert marked == {name: [part] for name in pages_of}


def test_a_note_says_beforehand_how_many_get_it(signed_in: SignIn, place: Place, designer: User) -> None:
    page = signed_in(designer).get(at("note_new", place.round.code)).text

    assert f"1 tester of {place.round} reads it here and gets it by mail." in page


def test_the_two_talk_in_private(signed_in: SignIn, place: Place, designer: User, tester: User) -> None:
    client = signed_in(tester)
    path = at("words", place.pk)
    client.post(path, form(text="My wrist hurts."))
    assert "Only the two of you read them." in client.get(path).text

    client = signed_in(designer)
    page = client.get(path).text
    client.post(path, form(text="Rest it."))

    assert "Private words with Tester one" in page
    assert "My wrist hurts." in page
    assert [word.text for word in place.words.order_by("pk")] == ["My wrist hurts.", "Rest it."]


def test_who_takes_over_a_pattern_does_not_read_what_was_said_in_private_before(
    signed_in: SignIn, place: Place, designer: User, tester: User, other_designer: User
) -> None:
    word_write(place=place, key=uuid.uuid4(), by=tester, text="My wrist hurts.")
    word_write(place=place, key=uuid.uuid4(), by=designer, text="Rest it.")
    pattern = place.round.edition.pattern
    pattern.owner = other_designer
    pattern.save()
    path = at("words", place.pk)

    as_new_owner = signed_in(other_designer)
    before = as_new_owner.get(path).text
    as_new_owner.post(path, form(text="I am new here."))

    assert "My wrist hurts." not in before
    assert "Rest it." not in before
    assert waiting_for(other_designer) == []
    as_tester = signed_in(tester).get(path).text
    assert [text for text in ("My wrist hurts.", "Rest it.", "I am new here.") if text in as_tester] == [
        "My wrist hurts.",
        "Rest it.",
        "I am new here.",
    ]
    assert "Other designer, <time" in as_tester
    assert "Designer, <time" in as_tester
    assert signed_in(designer).get(path).status_code == 404


def test_of_a_place_that_nobody_holds_there_are_no_words(
    signed_in: SignIn, a_round: Round, designer: User
) -> None:
    offered = Place.objects.create(round=a_round, key="t09", name="Willow", state="offered")

    assert signed_in(designer).get(at("words", offered.pk)).status_code == 404


# -- beside the step, and what is new ----------------------------------------------------------------------


@pytest.mark.parametrize("page", ["worksheet", "counts"])
def test_the_answer_stands_beside_its_step_for_every_tester(
    signed_in: SignIn, question: Question, second_place: Place, second_tester: User, designer: User, page: str
) -> None:
    answer(question, "The right side.", by=designer)
    answer(question, "In size S the wrong side.", by=designer)

    shown = signed_in(second_tester).get(reverse(f"reports:{page}", args=[second_place.pk])).text

    step_1, step_3 = shown.index("Back, step 1"), shown.index("Back, step 3</")
    asked = shown.index("Which row first?")
    assert step_1 < step_3 < asked < shown.index("The right side.") < shown.index("In size S the wrong side.")
    assert f'href="{at("ask", second_place.pk)}?where=Back%2C%20step%203"' in shown


def test_the_answer_is_on_the_worksheet_on_paper(
    signed_in: SignIn, question: Question, second_place: Place, second_tester: User, designer: User
) -> None:
    answer(question, "The right side.", by=designer)
    ask(second_place, "Nobody knows?")

    paper = signed_in(second_tester).get(reverse("reports:worksheet_pdf", args=[second_place.pk]))

    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(paper.content)).pages)
    assert "Which row first?" in text
    assert "The right side." in text
    assert "Nobody knows?" not in text


def test_of_many_questions_at_a_step_the_answered_stand_first_and_the_rest_behind_a_link(
    signed_in: SignIn, question: Question, place: Place, tester: User, designer: User
) -> None:
    for n in range(4):
        ask(place, f"Question {n}?")
    answer(question, "The right side.", by=designer)

    page = signed_in(tester).get(reverse("reports:worksheet", args=[place.pk])).text

    assert [text for text in ["Which row first?", *(f"Question {n}?" for n in range(4))] if text in page] == [
        "Which row first?",
        "Question 2?",
        "Question 3?",
    ]
    assert "All 5 questions at Back, step 3" in page


def test_a_tester_sees_a_new_answer_until_they_have_looked(
    signed_in: SignIn, question: Question, place: Place, tester: User, designer: User
) -> None:
    answer(question, "The right side.", by=designer)
    client = signed_in(tester)

    before = client.get(place.get_absolute_url()).text
    client.get(at("questions", question.round.code))
    after = client.get(place.get_absolute_url()).text

    assert "Answer at Back, step 3" in before
    assert "The right side." in before
    assert "The right side." not in after


def test_asking_whether_a_page_is_there_reads_nothing(
    signed_in: SignIn, question: Question, tester: User
) -> None:
    signed_in(tester).head(at("questions", question.round.code))

    assert Look.objects.count() == 0


def test_what_waits_for_whom(
    question: Question, place: Place, second_place: Place, designer: User, tester: User, second_tester: User
) -> None:
    round = question.round
    note_write(round=round, key=uuid.uuid4(), by=designer, text="The blue yarn is late.")
    word_write(place=place, key=uuid.uuid4(), by=tester, text="My wrist hurts.")
    assert waiting_for(designer) == [Waiting("question", 1, round), Waiting("word", 1, round, place)]
    assert waiting_for(tester) == [Waiting("note", 1, round, place)]

    answer(question, by=designer)
    word_write(place=second_place, key=uuid.uuid4(), by=designer, text="How is it going?")

    assert waiting_for(designer) == [Waiting("word", 1, round, place)]
    assert waiting_for(tester) == [Waiting("answer", 1, round, place), Waiting("note", 1, round, place)]
    assert waiting_for(second_tester) == [
        Waiting("word", 1, round, second_place),
        Waiting("answer", 1, round, second_place),
        Waiting("note", 1, round, second_place),
    ]


def test_todays_page_says_what_waits(
    signed_in: SignIn, question: Question, place: Place, designer: User, tester: User
) -> None:
    word_write(place=place, key=uuid.uuid4(), by=tester, text="My wrist hurts.")
    of_designer = signed_in(designer).get(reverse("home")).text
    answer(question, by=designer)
    of_tester = signed_in(tester).get(reverse("home")).text

    assert "1 question waits for an answer." in of_designer
    assert f'href="{at("questions", question.round.code)}?waiting=1"' in of_designer
    assert "Tester one wrote to you in private." in of_designer
    assert "1 new answer to what testers asked." in of_tester


# -- what the pages cost -----------------------------------------------------------------------------------


@pytest.fixture
def much_said(place: Place, second_place: Place, designer: User, tester: User) -> Callable[[int], Question]:
    """So many questions with an answer and an addition each, notes and private words."""

    def say(n: int) -> Question:
        for index in range(n):
            question = ask(place, f"Question {index}?", where=STEP if index % 2 else "Back, step 1")
            answer(question, by=designer)
            answer(question, "And more.", by=designer)
            ask(second_place, f"Open {index}?")
            note_write(round=place.round, key=uuid.uuid4(), by=designer, text=f"Note {index}.")
            word_write(place=place, key=uuid.uuid4(), by=designer, text=f"Word {index}.")
            word_write(place=place, key=uuid.uuid4(), by=tester, text=f"Word {index}.")
        question_to_desk(question=question, by=designer)
        return question

    return say


@pytest.mark.parametrize("who", ["designer", "tester"])
def test_pages_cost_the_same_however_much_was_said(
    request: Any,
    signed_in: SignIn,
    much_said: Callable[[int], Question],
    place: Place,
    who: str,
) -> None:
    client = signed_in(request.getfixturevalue(who))
    code = place.round.code

    def costs(question: Question) -> dict[str, int]:
        found = {}
        pages = {
            "notes": at("notes", code),
            "questions": at("questions", code),
            "question": at("question", code, question.pk),
            "words": at("words", place.pk),
            "home": reverse("home"),
        }
        if who == "tester":
            pages |= {
                page: reverse(f"reports:{page}", args=[place.pk]) for page in ("place", "worksheet", "counts")
            }
            pages["ask"] = f"{at('ask', place.pk)}?where={STEP}"
        for name, path in pages.items():
            client.get(path)
            with CaptureQueriesContext(connection) as queries:
                assert client.get(path).status_code == 200
            found[name] = len(queries)
        return found

    few = costs(much_said(2))
    many = costs(much_said(25))

    assert many == few
    assert max(few.values()) <= 20
