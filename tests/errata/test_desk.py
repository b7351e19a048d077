"""The errata desk's pages: what do I correct?"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from testround.errata.models import Decision, Erratum
from testround.errata.services import erratum_publish, finding_accept, finding_decline
from testround.people.models import User
from testround.reports.models import Finished, Remark
from testround.rounds.models import Round

MISPRINT = "printed-count:back_sts"
TOO_LONG = "finished-size:body_length"
SignIn = Callable[[User], Client]


def address(action: str, round_: Round, *args: int) -> str:
    return reverse(f"errata:{action}", args=[round_.code, *args])


@pytest.fixture
def draft(tested: Round, designer: User) -> Erratum:
    return finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)


def typed(**changes: object) -> dict[str, object]:
    """The draft's form as it is sent, with what was changed."""
    return {
        "place": "Back, step 1",
        "text": "Cast on fewer.",
        "why": "",
        "sizes": ["M"],
        "back_sts|st|M": "114",
        **changes,
    }


def test_the_desk_lists_what_is_to_be_decided_and_the_remarks_by_place(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    response = signed_in(designer).get(address("desk", tested))

    desk = response.context["desk"]
    assert response.status_code == 200
    assert {entry.finding["id"] for entry in desk.undecided} >= {MISPRINT, TOO_LONG}
    assert [(group.place, len(group.remarks)) for group in desk.groups] == [
        ("Back, step 1", 1),
        ("Back, step 3", 1),
        ("", 1),
    ]


def test_the_desk_opens_with_its_findings_and_each_can_be_decided_before_its_why(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    page = signed_in(designer).get(reverse("errata:desk", args=[tested.code])).content.decode()

    opening, _, findings = page.partition('<ol class="findings">')
    first = findings.partition("</li>\n    <li")[0]
    order = ("<h3>", ">Accept<", "Why<", "Check it by hand")
    assert '<a href="#finding-1">' in opening
    assert 'id="finding-1"' in findings
    assert sorted(order, key=first.index) == list(order)


def test_what_a_tester_wrote_is_shown_as_written_and_not_as_markup(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    page = signed_in(designer).get(address("desk", tested)).content.decode()

    assert "&lt;b&gt;bold&lt;/b&gt;" in page
    assert "<b>bold</b>" not in page


def test_accepting_leads_to_the_draft(signed_in: SignIn, designer: User, tested: Round) -> None:
    response = signed_in(designer).post(address("accept", tested), {"finding": [MISPRINT]})

    erratum = Erratum.objects.get()
    assert response["Location"] == address("draft", tested, erratum.pk)
    assert list(erratum.decisions.values_list("finding_id", "choice")) == [(MISPRINT, "accepted")]


def test_accepting_nothing_answers_with_a_sentence(signed_in: SignIn, designer: User, tested: Round) -> None:
    response = signed_in(designer).post(address("accept", tested), {})

    assert response.status_code == 422
    assert "No finding is ticked; tick one or more, then accept them." in response.content.decode()


def test_declining_keeps_the_reason(signed_in: SignIn, designer: User, tested: Round) -> None:
    response = signed_in(designer).post(
        address("decline", tested), {"finding": MISPRINT, "reason": "A gusset needs them."}
    )

    assert response.status_code == 302
    decision = Decision.objects.get()
    assert (decision.finding_id, decision.choice, decision.reason, decision.by) == (
        MISPRINT,
        Decision.Choice.DECLINED,
        "A gusset needs them.",
        designer,
    )


def test_a_reason_that_is_too_long_comes_back_as_typed(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    reason = "word " * 500

    response = signed_in(designer).post(address("decline", tested), {"finding": MISPRINT, "reason": reason})

    page = response.content.decode()
    assert response.status_code == 422
    assert reason.strip() in page
    assert not Decision.objects.exists()


def test_declining_without_a_reason_says_what_is_missing(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    response = signed_in(designer).post(address("decline", tested), {"finding": MISPRINT, "reason": ""})

    assert response.status_code == 422
    assert "Say in a few words why this finding is declined." in response.content.decode()


def test_undoing_puts_the_finding_back(signed_in: SignIn, designer: User, tested: Round) -> None:
    finding_decline(round=tested, finding_id=MISPRINT, reason="Meant so.", by=designer)

    signed_in(designer).post(address("undo", tested), {"finding": MISPRINT})

    assert not Decision.objects.exists()


def test_undoing_what_is_published_is_refused_with_a_sentence(
    signed_in: SignIn, designer: User, tested: Round, draft: Erratum
) -> None:
    erratum_publish(erratum=draft, by=designer)

    response = signed_in(designer).post(address("undo", tested), {"finding": MISPRINT})

    assert response.status_code == 422
    assert "Erratum 1 is published, so this decision stays." in response.content.decode()


def test_a_decision_on_numbers_that_have_changed_is_pointed_out(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    finding_decline(round=tested, finding_id=TOO_LONG, reason="It grows in the wash.", by=designer)
    for row in Finished.objects.filter(place__round=tested, dimension="body_length"):
        row.values = [value + 1.5 for value in row.values]
        row.save()

    page = signed_in(designer).get(address("desk", tested)).content.decode()

    assert "1 finding has changed since you decided it" in page
    assert "Your decision stands until you undo it." in page
    assert "It grows in the wash." in page


def test_a_draft_is_made_from_ticked_remarks(signed_in: SignIn, designer: User, tested: Round) -> None:
    remark = Remark.objects.get(where="Back, step 3")

    signed_in(designer).post(
        address("from_remarks", tested), {"remark": [remark.pk, "x", "9" * 19, "9" * 5000]}
    )

    erratum = Erratum.objects.get()
    assert (erratum.place, list(erratum.remarks.all())) == ("Back, step 3", [remark])


def test_ticked_drafts_are_made_into_one(
    signed_in: SignIn, designer: User, tested: Round, draft: Erratum
) -> None:
    other = finding_accept(round=tested, finding_ids=[TOO_LONG], by=designer)

    response = signed_in(designer).post(address("merge", tested), {"draft": [draft.pk, other.pk]})

    assert response.status_code == 302
    assert Erratum.objects.count() == 1
    assert Decision.objects.filter(erratum=draft).count() == 2


# The draft


def test_the_draft_shows_what_stands_beside_what_should(
    signed_in: SignIn, designer: User, tested: Round, draft: Erratum
) -> None:
    response = signed_in(designer).get(address("draft", tested, draft.pk))

    (change,) = response.context["form"].change_fields()
    assert change.label == "Back, cast on"
    assert [(size, was, field.value()) for size, was, field in change.rows] == [
        ("XS", "92", ""),
        ("S", "104", ""),
        ("M", "118", "114"),
    ]


def test_a_saved_draft_leads_back_to_itself_or_on_to_the_preview(
    signed_in: SignIn, designer: User, tested: Round, draft: Erratum
) -> None:
    client = signed_in(designer)

    saved = client.post(address("draft", tested, draft.pk), typed())
    previewed = client.post(address("draft", tested, draft.pk), typed(preview="yes"))

    draft.refresh_from_db()
    assert draft.text == "Cast on fewer."
    assert saved["Location"] == address("draft", tested, draft.pk)
    assert previewed["Location"] == address("preview", tested, draft.pk)


@pytest.mark.parametrize(
    ("value", "sentence"),
    [
        ("115", "Back, cast on, size M: 115 is not a multiple of 2"),
        ("many", "Back, cast on, M: “many” cannot be read as a number; write it as in "),
        ("1e300", "Back, cast on, M: “1e300” cannot be read as a number; write it as in "),
        ("-4", "Back, cast on, M: "),
    ],
)
def test_a_number_that_will_not_do_comes_back_as_typed_with_a_sentence(
    signed_in: SignIn, designer: User, tested: Round, draft: Erratum, value: str, sentence: str
) -> None:
    response = signed_in(designer).post(
        address("draft", tested, draft.pk), typed(**{"back_sts|st|M": value, "text": "My own words."})
    )

    form = response.context["form"]
    assert response.status_code == 422
    assert form.errors["back_sts|st|M"][0].startswith(sentence)
    assert (form["back_sts|st|M"].value(), form["text"].value()) == (value, "My own words.")
    draft.refresh_from_db()
    assert draft.changes[0]["now"] == {"M": 114}


def test_a_draft_without_words_is_sent_back(
    signed_in: SignIn, designer: User, tested: Round, draft: Erratum
) -> None:
    response = signed_in(designer).post(address("draft", tested, draft.pk), typed(text=""))

    assert response.status_code == 422
    assert "text" in response.context["form"].errors


def test_another_number_is_added_and_what_was_typed_stays(
    signed_in: SignIn, designer: User, tested: Round, draft: Erratum
) -> None:
    client = signed_in(designer)

    added = client.post(address("draft", tested, draft.pk), typed(add="body_rows", text="My own words."))

    form = added.context["form"]
    assert added.status_code == 200
    assert [change.label for change in form.change_fields()] == ["Back, cast on", "Rows to underarm"]
    assert form["text"].value() == "My own words."

    client.post(address("draft", tested, draft.pk), typed(**{"body_rows|row|S": "84", "sizes": ["S", "M"]}))

    draft.refresh_from_db()
    assert [(change["subject"], change["was"], change["now"]) for change in draft.changes] == [
        ("back_sts", {"M": 118}, {"M": 114}),
        ("body_rows", {"S": 96}, {"S": 84}),
    ]


def test_the_preview_shows_what_readers_will_see(
    signed_in: SignIn, designer: User, tested: Round, draft: Erratum
) -> None:
    page = signed_in(designer).get(address("preview", tested, draft.pk)).content.decode()

    assert "Back, cast on: 114 stitches in size M, not 118." in page
    assert address("publish", tested, draft.pk) in page


def test_a_preview_of_an_unfinished_draft_says_what_it_lacks_and_offers_no_publishing(
    signed_in: SignIn, designer: User, tested: Round, draft: Erratum
) -> None:
    Erratum.objects.filter(pk=draft.pk).update(text="")
    client = signed_in(designer)

    page = client.get(address("preview", tested, draft.pk)).content.decode()
    refused = client.post(address("publish", tested, draft.pk))

    assert "Correction: nothing is written here; say what a reader has to change." in page
    assert address("publish", tested, draft.pk) not in page
    assert refused.status_code == 422
    assert Erratum.objects.get().number is None


def test_publishing_leads_back_to_the_desk_with_the_way_to_what_readers_see(
    signed_in: SignIn, designer: User, tested: Round, draft: Erratum
) -> None:
    client = signed_in(designer)
    public = reverse("errata:erratum", args=[tested.edition.pattern.code, 1])

    first = client.post(address("publish", tested, draft.pk))
    again = client.post(address("publish", tested, draft.pk))

    assert [first["Location"], again["Location"]] == [address("desk", tested)] * 2
    assert f'<a href="{public}">' in client.get(first["Location"]).content.decode()
    assert Erratum.objects.get().number == 1


def test_a_published_erratum_has_no_draft_page_any_more(
    signed_in: SignIn, designer: User, tested: Round, draft: Erratum
) -> None:
    erratum_publish(erratum=draft, by=designer)
    client = signed_in(designer)

    answers = [
        client.get(address("draft", tested, draft.pk)).status_code,
        client.post(address("draft", tested, draft.pk), typed()).status_code,
        client.post(address("discard", tested, draft.pk)).status_code,
    ]

    assert answers == [404, 404, 404]
    assert Erratum.objects.get().text == draft.text


def test_a_removed_draft_is_gone(signed_in: SignIn, designer: User, tested: Round, draft: Erratum) -> None:
    response = signed_in(designer).post(address("discard", tested, draft.pk))

    assert response.status_code == 302
    assert not Erratum.objects.exists()


def test_the_next_edition_is_made_from_the_desk(
    signed_in: SignIn, designer: User, tested: Round, draft: Erratum
) -> None:
    erratum_publish(erratum=draft, by=designer)
    client = signed_in(designer)

    made = client.post(address("next_edition", tested), {"label": "1.1"})
    again = client.post(address("next_edition", tested), {"label": "1.1"})

    edition = tested.edition.pattern.editions.get(label="1.1")
    assert made["Location"] == edition.get_absolute_url()
    assert edition.document.numbers[0].printed["M"] == 114
    assert again.status_code == 422
    assert again.context["next_form"]["label"].value() == "1.1"
    assert again.context["next_form"].errors["label"]


def test_the_whole_way_from_a_finding_to_its_reader(signed_in: SignIn, designer: User, tested: Round) -> None:
    client = signed_in(designer)

    draft_page = client.post(address("accept", tested), {"finding": [MISPRINT]})["Location"]
    form = client.get(draft_page).context["form"]
    as_shown = {field.name: field.value() for field in form if field.value()}
    preview = client.post(draft_page, {**as_shown, "text": "Cast on 114 in M.", "preview": "yes"})["Location"]
    pk = Erratum.objects.get().pk
    assert "Cast on 114 in M." in client.get(preview).content.decode()
    client.post(address("publish", tested, pk))
    read = Client().get(reverse("errata:erratum", args=[tested.edition.pattern.code, 1]))

    assert read.status_code == 200
    assert "Cast on 114 in M." in read.content.decode()
    assert [row.now for row in read.context["shown"].tables[0].rows] == ["114"]


# Who may decide

ACTIONS = ("accept", "decline", "undo", "from_remarks", "merge", "next_edition")
DRAFT_ACTIONS = ("draft", "publish", "discard")


def test_another_designer_can_do_nothing_on_the_desk(
    signed_in: SignIn, other_designer: User, tested: Round, draft: Erratum
) -> None:
    client = signed_in(other_designer)
    sent = {**typed(), "finding": TOO_LONG, "reason": "Mine now."}

    answers = [client.post(address(action, tested), sent).status_code for action in ACTIONS]
    answers += [client.post(address(action, tested, draft.pk), sent).status_code for action in DRAFT_ACTIONS]
    answers.append(client.get(address("preview", tested, draft.pk)).status_code)

    assert set(answers) == {404}
    assert (Erratum.objects.get().text, Decision.objects.count()) == (draft.text, 1)


def test_a_draft_of_another_round_is_not_reached_through_ones_own(
    signed_in: SignIn, designer: User, tested: Round, draft: Erratum, round_of: Callable[..., Round]
) -> None:
    own = round_of(1, title="Other top")

    answers = [
        signed_in(designer).post(address(action, own, draft.pk), typed()).status_code
        for action in DRAFT_ACTIONS
    ]

    assert answers == [404, 404, 404]


@pytest.mark.parametrize("action", ACTIONS)
def test_somebody_signed_out_is_asked_to_sign_in(client: Client, tested: Round, action: str) -> None:
    response = client.post(address(action, tested), {"finding": MISPRINT, "reason": "So."})

    assert response.status_code == 302
    assert response["Location"].startswith(reverse("account_login"))
    assert not Decision.objects.exists()
