"""What changes on the errata desk."""

from __future__ import annotations

import json

import pytest
from django.conf import settings
from django.db import IntegrityError, connection, transaction
from django.utils import timezone
from django.utils.formats import date_format

from testround.errata.forms import DraftForm
from testround.errata.models import Analysis, Decision, Erratum, PublishedForGood
from testround.errata.selectors import desk_of, hash_of, read_round
from testround.errata.services import (
    Wording,
    analysis_keep,
    corrected_sheet,
    decision_undo,
    edition_correct,
    errata_merge,
    erratum_discard,
    erratum_from_remarks,
    erratum_publish,
    erratum_reword,
    finding_accept,
    finding_decline,
)
from testround.errata.wording import change_tables
from testround.outbox.models import Work
from testround.outbox.services import work_add, work_run
from testround.patterns.models import Pattern
from testround.people.models import User
from testround.reports.bridge import kernel_round
from testround.reports.exchange import round_import
from testround.reports.models import Finished, Remark
from testround.rounds.models import Round
from testround.rounds.refusals import Refused

MISPRINT = "printed-count:back_sts"
TOO_LONG = "finished-size:body_length"


def sentences(refused: pytest.ExceptionInfo[Refused]) -> list[str]:
    return [problem.sentence for problem in refused.value.problems]


# The analysis


def test_the_work_that_follows_a_report_keeps_the_findings_under_the_hash_of_what_it_read(
    tested: Round,
) -> None:
    work = work_add(kind="analyse", subject={"round": tested.pk}, once_key=f"round-{tested.pk}")
    Analysis.objects.all().delete()

    work_run(work_id=work.pk)

    kept = Analysis.objects.get(round=tested)
    assert kept.input_hash == hash_of(kernel_round(tested))
    assert kept.document["format"] == "testround/findings"
    assert {finding["id"] for finding in kept.document["findings"]} >= {MISPRINT, TOO_LONG}
    work.refresh_from_db()
    assert (work.state, work.problem) == (Work.State.DONE, "")


def test_the_same_round_is_kept_once_and_a_changed_one_beside_it(tested: Round) -> None:
    analysis_keep(round=tested)
    analysis_keep(round=tested)
    assert Analysis.objects.filter(round=tested).count() == 1

    Finished.objects.filter(place__round=tested, dimension="chest").first().delete()
    analysis_keep(round=tested)

    assert Analysis.objects.filter(round=tested).count() == 2


def test_work_for_a_round_that_is_gone_is_done(tested: Round) -> None:
    work = work_add(kind="analyse", subject={"round": tested.pk + 1000})

    work_run(work_id=work.pk)

    work.refresh_from_db()
    assert (work.state, work.problem) == (Work.State.DONE, "")
    assert not Analysis.objects.exists()


def test_the_analysis_is_of_the_round_as_it_is_now(tested: Round) -> None:
    before = read_round(tested).analysis
    Finished.objects.filter(place__round=tested, dimension="body_length").delete()

    after = read_round(tested).analysis

    assert TOO_LONG in {finding.id for finding in before.findings.findings}
    assert TOO_LONG not in {finding.id for finding in after.findings.findings if finding.verdict == "amend"}


# Accepting and declining


def test_an_accepted_misprint_becomes_a_draft_with_its_place_its_size_and_both_numbers(
    tested: Round, designer: User
) -> None:
    erratum = finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)

    assert erratum.place == "Back, step 1"
    assert erratum.sizes == ["M"]
    assert erratum.changes == [
        {
            "subject": "back_sts",
            "label": "Back, cast on",
            "place": "Back, step 1",
            "unit": "st",
            "was": {"M": 118},
            "now": {"M": 114},
            "finding": MISPRINT,
        }
    ]
    assert erratum.text == "Back, cast on: 114 stitches in size M, not 118."
    assert (erratum.number, erratum.published_at) == (None, None)
    assert tested.diary.filter(text="Accepted for the errata: Back, cast on.", by=designer).exists()


def test_a_decision_keeps_the_finding_as_it_stood(tested: Round, designer: User) -> None:
    (stood,) = [f for f in desk_of(tested).read.document["findings"] if f["id"] == TOO_LONG]

    finding_accept(round=tested, finding_ids=[TOO_LONG], by=designer)

    assert Decision.objects.get(round=tested).finding == stood


def test_a_decided_finding_whose_numbers_changed_says_so_and_stays_decided(
    tested: Round, designer: User
) -> None:
    finding_decline(round=tested, finding_id=TOO_LONG, reason="It grows in the wash, as meant.", by=designer)
    for row in Finished.objects.filter(place__round=tested, dimension="body_length"):
        row.values = [value + 1.5 for value in row.values]
        row.save()

    (entry,) = [entry for entry in desk_of(tested).decided if entry.decision.finding_id == TOO_LONG]

    assert entry.decision.choice == Decision.Choice.DECLINED
    assert entry.changed.startswith(f"Since {date_format(timezone.localdate(), 'DATE_FORMAT')}: ")
    assert " off, was +" in entry.changed
    assert entry.changed.endswith("Your decision stands until you undo it.")
    assert entry.finding["estimate"] > entry.decision.finding["estimate"] + 1


def test_a_decided_finding_that_did_not_change_says_nothing(tested: Round, designer: User) -> None:
    finding_decline(round=tested, finding_id=MISPRINT, reason="Meant so.", by=designer)

    (entry,) = desk_of(tested).decided

    assert (entry.changed, entry.gone) == ("", False)


def test_a_decision_outlives_its_finding(tested: Round, designer: User) -> None:
    for place in tested.places.all()[:4]:
        Remark.objects.create(place=place, where="Back, step 3", kind="unclear", text="Which row?")
    unclear = "clarity:Back, step 3"
    finding_decline(round=tested, finding_id=unclear, reason="The chart shows it.", by=designer)
    Remark.objects.filter(place__round=tested).delete()

    (entry,) = desk_of(tested).decided

    assert unclear not in {finding["id"] for finding in desk_of(tested).read.document["findings"]}
    assert (entry.gone, entry.changed) == (
        True,
        f"Since {date_format(timezone.localdate(), 'DATE_FORMAT')} the analysis no longer reports this. Your decision "
        "stands until you undo it.",
    )


def test_several_findings_accepted_together_share_one_erratum(tested: Round, designer: User) -> None:
    erratum = finding_accept(round=tested, finding_ids=[MISPRINT, TOO_LONG], by=designer)

    assert Erratum.objects.count() == 1
    assert {decision.finding_id for decision in erratum.decisions.all()} == {MISPRINT, TOO_LONG}
    assert {change["finding"] for change in erratum.changes} == {MISPRINT, TOO_LONG}
    # The length is wrong in every size, so every copy is affected.
    assert erratum.sizes == []
    assert erratum.place == "Back, step 1; Back, step 3"


@pytest.mark.parametrize(
    ("ids", "sentence"),
    [
        ([], "No finding is ticked; tick one or more, then accept them."),
        (
            ["finished-size:hat"],
            "The analysis no longer reports this finding: a report came in since you opened the page. "
            "Look at the findings as they are now.",
        ),
    ],
)
def test_accepting_nothing_or_something_unknown_is_refused(
    tested: Round, designer: User, ids: list[str], sentence: str
) -> None:
    with pytest.raises(Refused) as refused:
        finding_accept(round=tested, finding_ids=ids, by=designer)

    assert sentences(refused) == [sentence]
    assert not Erratum.objects.exists()


def test_a_finding_is_decided_once(tested: Round, designer: User) -> None:
    finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)

    with pytest.raises(Refused) as refused:
        finding_decline(round=tested, finding_id=MISPRINT, reason="After all not.", by=designer)

    assert sentences(refused) == ["This finding is decided already; undo that decision first."]
    assert Decision.objects.get().choice == Decision.Choice.ACCEPTED


def test_a_finding_is_not_declined_without_a_reason(tested: Round, designer: User) -> None:
    with pytest.raises(Refused) as refused:
        finding_decline(round=tested, finding_id=MISPRINT, reason="  ", by=designer)

    assert [problem.path for problem in refused.value.problems] == ["reason"]
    assert not Decision.objects.exists()


# Taking back


def test_undoing_the_only_decision_removes_the_draft(tested: Round, designer: User) -> None:
    finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)

    remaining = decision_undo(round=tested, finding_id=MISPRINT, by=designer)

    assert remaining is None
    assert (Erratum.objects.count(), Decision.objects.count()) == (0, 0)


def test_undoing_one_of_several_takes_only_its_changes_out_of_the_draft(
    tested: Round, designer: User
) -> None:
    erratum = finding_accept(round=tested, finding_ids=[MISPRINT, TOO_LONG], by=designer)

    remaining = decision_undo(round=tested, finding_id=TOO_LONG, by=designer)

    assert remaining == erratum
    assert [change["finding"] for change in remaining.changes] == [MISPRINT]
    assert remaining.text == erratum.text


def test_accepting_that_a_step_is_unclear_takes_its_remarks_along_and_undoing_it_lets_them_go(
    tested: Round, designer: User
) -> None:
    for place in tested.places.all()[:4]:
        Remark.objects.create(place=place, where="Back, step 3", kind="unclear", text="Which row?")
    (unclear,) = [
        finding["id"]
        for finding in desk_of(tested).read.document["findings"]
        if finding["kind"] == "clarity" and finding["subject"] == "Back, step 3"
    ]

    erratum = finding_accept(round=tested, finding_ids=[unclear], by=designer)

    # What the step should say, only the designer knows.
    assert (erratum.place, erratum.text, erratum.changes) == ("Back, step 3", "", [])
    assert erratum.remarks.count() == 5

    decision_undo(round=tested, finding_id=unclear, by=designer)

    assert not Erratum.objects.exists()


def test_a_decision_is_not_undone_once_its_erratum_is_published(tested: Round, designer: User) -> None:
    erratum_publish(erratum=finding_accept(round=tested, finding_ids=[MISPRINT], by=designer), by=designer)

    with pytest.raises(Refused) as refused:
        decision_undo(round=tested, finding_id=MISPRINT, by=designer)

    assert sentences(refused) == [
        "Erratum 1 is published, so this decision stays. Publish a further erratum instead."
    ]
    assert Decision.objects.get().erratum.number == 1


# Drafts


def test_drafts_are_made_into_one_with_all_their_decisions(tested: Round, designer: User) -> None:
    first = finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)
    second = finding_accept(round=tested, finding_ids=[TOO_LONG], by=designer)

    merged = errata_merge(round=tested, draft_ids=[first.pk, second.pk], by=designer)

    assert list(Erratum.objects.all()) == [merged]
    assert set(merged.decisions.values_list("finding_id", flat=True)) == {MISPRINT, TOO_LONG}
    assert merged.text == f"{first.text}\n{second.text}"
    assert merged.sizes == []


def test_a_published_erratum_is_not_merged_into_a_draft(tested: Round, designer: User) -> None:
    published = erratum_publish(
        erratum=finding_accept(round=tested, finding_ids=[MISPRINT], by=designer), by=designer
    )
    draft = finding_accept(round=tested, finding_ids=[TOO_LONG], by=designer)

    with pytest.raises(Refused):
        errata_merge(round=tested, draft_ids=[published.pk, draft.pk], by=designer)

    assert Erratum.objects.count() == 2


def test_a_draft_from_remarks_names_their_place_and_no_tester(tested: Round, designer: User) -> None:
    remark = Remark.objects.get(where="Back, step 3")

    erratum = erratum_from_remarks(round=tested, remark_ids=[remark.pk], by=designer)

    assert (erratum.place, erratum.text, erratum.why) == (
        "Back, step 3",
        "",
        "One tester remarked on this step (unclear).",
    )
    assert list(erratum.remarks.all()) == [remark]


def test_remarks_of_another_round_make_no_draft(
    tested: Round, other_designer: User, designer: User, round_of
) -> None:
    other = round_of(2, title="Other top")
    remark = Remark.objects.filter(place__round=other).first()

    with pytest.raises(Refused):
        erratum_from_remarks(round=tested, remark_ids=[remark.pk], by=designer)

    assert not Erratum.objects.exists()


def worded(erratum: Erratum, now: dict[str, float], **changes) -> Wording:
    words = {"place": "Back, step 1", "text": "Cast on.", "why": "", "sizes": ["M"], **changes}
    return Wording(now={("back_sts", "st"): now}, **words)


def test_a_reworded_draft_keeps_new_words_and_numbers(tested: Round, designer: User) -> None:
    erratum = finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)

    erratum_reword(erratum=erratum, wording=worded(erratum, {"M": 116, "S": 106}), by=designer)

    erratum.refresh_from_db()
    assert (erratum.place, erratum.text, erratum.sizes) == ("Back, step 1", "Cast on.", ["S", "M"])
    assert [(change["was"], change["now"]) for change in erratum.changes] == [
        ({"M": 118, "S": 104}, {"M": 116, "S": 106})
    ]


@pytest.mark.parametrize(
    ("now", "sentence"),
    [
        (
            {"M": 115},
            "Back, cast on, size M: 115 is not a multiple of 2, which the pattern's formula keeps; "
            "the nearest are 114 and 116.",
        ),
        (
            {"M": 114.5},
            "Back, cast on, size M: 114 1/2 is not a whole number of stitches; write one, as in 104.",
        ),
        ({"XXL": 120}, "Back, cast on: the pattern has no size XXL; leave it out."),
    ],
)
def test_a_number_that_cannot_be_printed_is_refused_and_nothing_is_saved(
    tested: Round, designer: User, now: dict[str, float], sentence: str
) -> None:
    erratum = finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)

    with pytest.raises(Refused) as refused:
        erratum_reword(erratum=erratum, wording=worded(erratum, now), by=designer)

    assert sentences(refused) == [sentence]
    assert Erratum.objects.get().changes == erratum.changes


def test_a_size_that_the_pattern_does_not_have_is_refused(tested: Round, designer: User) -> None:
    erratum = finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)

    with pytest.raises(Refused) as refused:
        erratum_reword(erratum=erratum, wording=worded(erratum, {"M": 116}, sizes=["XXL"]), by=designer)

    assert sentences(refused) == ["The pattern has no size XXL: it has XS, S, M."]


def test_removing_a_draft_leaves_its_findings_undecided(tested: Round, designer: User) -> None:
    erratum = finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)

    erratum_discard(erratum=erratum, by=designer)

    assert (Erratum.objects.count(), Decision.objects.count()) == (0, 0)
    assert MISPRINT in {entry.finding["id"] for entry in desk_of(tested).undecided}


# Publishing


def test_errata_are_numbered_per_pattern_without_gaps(tested: Round, designer: User, round_of) -> None:
    other = round_of(3, title="Other top")
    drafts = [
        finding_accept(round=tested, finding_ids=[MISPRINT], by=designer),
        finding_accept(round=other, finding_ids=[MISPRINT], by=designer),
        finding_accept(round=tested, finding_ids=[TOO_LONG], by=designer),
    ]

    numbers = [erratum_publish(erratum=draft, by=designer).number for draft in drafts]

    assert numbers == [1, 1, 2]


def test_a_pattern_goes_on_counting_in_its_next_edition(tested: Round, designer: User) -> None:
    draft = finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)
    erratum_publish(erratum=draft, by=designer)
    following = edition_correct(round=tested, label="2", by=designer)
    later = Erratum.objects.create(
        pattern=following.pattern, edition=following, place="Back, step 4", text="Work 98 rows."
    )

    assert erratum_publish(erratum=later, by=designer).number == 2


def test_publishing_is_written_in_the_diary_with_who_did_it(tested: Round, designer: User) -> None:
    erratum = erratum_publish(
        erratum=finding_accept(round=tested, finding_ids=[MISPRINT], by=designer), by=designer
    )

    assert erratum.published_by == designer
    assert tested.diary.filter(text="Erratum 1 published: Back, step 1.", by=designer).count() == 1


def test_a_draft_without_place_or_words_is_not_published(tested: Round, designer: User) -> None:
    erratum = erratum_from_remarks(round=tested, remark_ids=[Remark.objects.get(where=None).pk], by=designer)

    with pytest.raises(Refused) as refused:
        erratum_publish(erratum=erratum, by=designer)

    assert sorted(problem.path for problem in refused.value.problems) == ["place", "text"]
    assert Erratum.objects.get().number is None


def test_publishing_twice_is_refused_and_takes_no_second_number(tested: Round, designer: User) -> None:
    draft = finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)
    erratum_publish(erratum=draft, by=designer)

    with pytest.raises(Refused) as refused:
        erratum_publish(erratum=draft, by=designer)

    assert sentences(refused) == ["This is published already, as erratum 1."]


@pytest.fixture
def published(tested: Round, designer: User) -> Erratum:
    return erratum_publish(
        erratum=finding_accept(round=tested, finding_ids=[MISPRINT], by=designer), by=designer
    )


def test_a_published_erratum_cannot_be_saved_again(published: Erratum) -> None:
    published.text = "Something else."

    with pytest.raises(PublishedForGood):
        published.save()

    assert Erratum.objects.get().text == "Back, cast on: 114 stitches in size M, not 118."


def test_a_published_erratum_is_neither_reworded_nor_removed(published: Erratum, designer: User) -> None:
    with pytest.raises(Refused) as reworded:
        erratum_reword(erratum=published, wording=worded(published, {"M": 116}), by=designer)
    with pytest.raises(Refused) as removed:
        erratum_discard(erratum=published, by=designer)

    assert (sentences(reworded), sentences(removed)) == (["Erratum 1 is published and stays as it is."],) * 2
    assert Erratum.objects.get().text == "Back, cast on: 114 stitches in size M, not 118."


def test_a_published_erratum_cannot_be_deleted(published: Erratum) -> None:
    with pytest.raises(PublishedForGood):
        published.delete()
    with pytest.raises(PublishedForGood):
        Erratum.objects.all().delete()

    assert Erratum.objects.count() == 1


def test_a_published_erratum_cannot_be_updated_in_bulk(published: Erratum) -> None:
    with pytest.raises(PublishedForGood):
        Erratum.objects.update(text="Something else.")


def test_the_database_itself_refuses_to_change_a_published_erratum(published: Erratum) -> None:
    with (
        pytest.raises(IntegrityError, match="a published erratum is never changed"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute("UPDATE errata_erratum SET text = 'Something else.' WHERE id = %s", [published.pk])

    assert Erratum.objects.get().text == "Back, cast on: 114 stitches in size M, not 118."


def test_a_published_erratum_outlives_the_account_that_published_it(
    tested: Round, designer: User, stranger: User
) -> None:
    draft = finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)
    erratum_publish(erratum=draft, by=designer)
    Pattern.objects.filter(pk=draft.pattern_id).update(owner=stranger)

    designer.delete()

    kept = Erratum.objects.get()
    assert (kept.number, kept.published_by) == (1, None)


def test_the_database_gives_a_number_once(published: Erratum, tested: Round) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Erratum.objects.create(
            pattern=published.pattern,
            edition=published.edition,
            number=1,
            published_at=timezone.now(),
            place="Back",
            text="Again.",
        )


# The next edition


def test_the_next_edition_prints_what_the_errata_say(tested: Round, designer: User) -> None:
    for finding in (MISPRINT, TOO_LONG):
        erratum_publish(erratum=finding_accept(round=tested, finding_ids=[finding], by=designer), by=designer)
    proposed = Decision.objects.get(finding_id=TOO_LONG).finding["proposed"]

    edition = edition_correct(round=tested, label="1.1", by=designer)

    before, after = tested.edition.document, edition.document
    assert after.numbers[0].printed == {"XS": 92, "S": 104, "M": 114}
    assert after.numbers[1].printed == proposed
    assert before.numbers[0].printed == {"XS": 92, "S": 104, "M": 118}
    assert (edition.label, edition.pattern, edition.is_frozen) == ("1.1", tested.edition.pattern, False)
    assert tested.diary.filter(text="Edition 1.1 made with 2 corrections.").exists()


def test_a_gauge_that_was_corrected_stands_corrected_in_the_next_edition(tested: Round) -> None:
    erratum = Erratum(
        changes=[
            {"subject": "body.row", "unit": "row/10 cm", "was": {"rows": 30}, "now": {"rows": 28.5}},
            {"subject": "yarn", "unit": "m", "was": {}, "now": {"M": 900, "XS": 700}},
            {"subject": "chest", "unit": "cm", "was": {}, "now": {"S": 94.5}},
        ]
    )

    sheet = corrected_sheet(tested.edition.document, [erratum])

    assert (sheet.gauges[0].stitches, sheet.gauges[0].rows) == (22, 28.5)
    assert list(sheet.yarn.items()) == [("XS", 700), ("M", 900)]
    assert sheet.dimensions[0].printed == {"S": 94.5}


def test_drafts_do_not_reach_the_next_edition(tested: Round, designer: User) -> None:
    finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)

    with pytest.raises(Refused) as refused:
        edition_correct(round=tested, label="1.1", by=designer)

    assert sentences(refused) == ["Nothing is published on this edition yet; publish an erratum first."]


def test_the_next_edition_needs_a_label_of_its_own(tested: Round, designer: User) -> None:
    erratum_publish(erratum=finding_accept(round=tested, finding_ids=[MISPRINT], by=designer), by=designer)

    with pytest.raises(Refused) as refused:
        edition_correct(round=tested, label="1.0", by=designer)

    assert [problem.path for problem in refused.value.problems] == ["label"]
    assert tested.edition.pattern.editions.count() == 1


def test_yarn_for_a_square_metre_is_corrected_in_the_next_edition(designer: User) -> None:
    document = json.loads((settings.BASE_DIR / "fixtures" / "quillwork.json").read_text(encoding="utf-8"))
    document["pattern"]["yarn_per_m2"] = 300
    skirt = round_import(data=json.dumps(document).encode(), owner=designer)

    erratum = finding_accept(round=skirt, finding_ids=["yarn"], by=designer)
    (change,) = erratum.changes
    erratum_publish(erratum=erratum, by=designer)
    edition = edition_correct(round=skirt, label="2.0", by=designer)

    assert (change["unit"], change["was"]) == ("m", {"per m²": 300})
    proposed = change["now"]["per m²"]
    assert erratum.text == (f"Yarn needed: {proposed:g} metres for each square metre of fabric, not 300.")
    assert edition.document.yarn_per_m2 == proposed
    (table,) = change_tables([change], "cm")
    assert (table.across, [row.size for row in table.rows]) == ("Fabric", ["per m²"])


def test_a_draft_on_yarn_for_a_square_metre_can_be_reworded(designer: User) -> None:
    document = json.loads((settings.BASE_DIR / "fixtures" / "quillwork.json").read_text(encoding="utf-8"))
    document["pattern"]["yarn_per_m2"] = 300
    skirt = round_import(data=json.dumps(document).encode(), owner=designer)
    erratum = finding_accept(round=skirt, finding_ids=["yarn"], by=designer)
    form = DraftForm(
        {"place": "Materials", "text": "Buy more.", "yarn|m|per m²": "800"}, erratum=erratum, units="cm"
    )

    assert form.is_valid(), form.errors
    reworded = erratum_reword(erratum=erratum, wording=form.wording(), by=designer)

    assert reworded.changes[0]["now"] == {"per m²": 800}
