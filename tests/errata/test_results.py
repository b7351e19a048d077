"""The results pages: what came out wrong, and whose fault is it?"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from testround.errata.checks import checks_of
from testround.errata.selectors import dimension_result, read_round, results_of
from testround.errata.services import erratum_publish, finding_accept
from testround.errata.templatetags.findings import only_one_tester
from testround.kernel.analysis import DeviationCell
from testround.kernel.findings import Verdict
from testround.patterns.models import Edition
from testround.people.models import User
from testround.reports.exchange import round_import
from testround.rounds.models import Round
from tests.errata.conftest import round_document
from tests.kernel.simulated import Truth, simulated_round
from tests.kernel.sums import untrue

PAGES = ("results", "gauges", "report_pdf", "findings", "desk")
SignIn = Callable[[User], Client]


@pytest.fixture(autouse=True)
def nothing_is_remembered() -> None:
    cache.clear()


def main_of(page: bytes) -> bytes:
    return page.partition(b"<main")[2].partition(b"</main>")[0]


def address(page: str, round_: Round) -> str:
    return reverse(f"errata:{page}", args=[round_.code])


def test_the_findings_stand_first_each_in_a_sentence(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    response = signed_in(designer).get(address("results", tested))

    assert response.status_code == 200
    page = response.content.decode()
    assert "Back, step 1 prints 118 in size M; its formula gives 114." in page
    assert "Hem to underarm comes out" in page
    assert page.index("Hem to underarm comes out") < page.index(
        "Finished measurements: verdict and deviation"
    )


def test_a_finding_says_whose_fault_it_is_and_the_ways_to_the_evidence_come_after(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    page = signed_in(designer).get(address("results", tested)).content.decode()

    order = ("Fault: a printed number", 'aria-label="The evidence"', 'id="results-caption"')
    assert sorted(order, key=page.index) == list(order)


def test_the_reader_of_inches_reads_inches(signed_in: SignIn, designer: User, tested: Round) -> None:
    designer.units = User.Units.INCHES
    designer.save()

    page = signed_in(designer).get(address("results", tested)).content.decode()

    (sentence,) = [line for line in page.splitlines() if "Hem to underarm comes out" in line]
    assert " in larger than the pattern means in every size" in sentence
    assert " cm" not in sentence


def test_what_is_decided_is_no_longer_pressing_and_says_where_it_went(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    client = signed_in(designer)
    first = results_of(tested).pressing[0]
    erratum = finding_accept(round=tested, finding_ids=[first["id"]], by=designer)
    drafted = client.get(address("results", tested)).content.decode()
    out = erratum_publish(erratum=erratum, by=designer)

    published = client.get(address("results", tested)).content.decode()

    assert f'<a href="{reverse("errata:draft", args=[tested.code, erratum.pk])}">in a draft</a>' in drafted
    assert f'<a href="{out.get_absolute_url()}">in erratum 1</a>' in published
    assert first["id"] not in [finding["id"] for finding in results_of(tested).pressing]


def test_every_dimension_has_a_cell_for_every_size(tested: Round) -> None:
    results = results_of(tested)

    assert [(row.key, [column for column, _ in row.cells]) for row in results.rows] == [
        ("chest", ["XS", "S", "M"]),
        ("body_length", ["XS", "S", "M"]),
    ]
    assert {cell.testers for row in results.rows for _, cell in row.cells} == {3}
    assert {cell.verdict for _, cell in results.rows[1].cells} == {"amend"}


def test_a_dimension_shows_every_testers_point_with_its_three_parts(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    result = dimension_result(tested, "body_length")
    assert len(result.points) == 9
    for point in result.points:
        assert point.off == pytest.approx(point.counts + point.gauge + point.remainder, abs=1e-9)
    assert [point.size for point in result.points] == ["XS"] * 3 + ["S"] * 3 + ["M"] * 3

    response = signed_in(designer).get(reverse("errata:dimension", args=[tested.code, "body_length"]))

    page = response.content.decode()
    assert response.status_code == 200
    # The three parts as figures, and the piece step by step.
    assert page.count('<th scope="row">Tester 00') == 2 * 9
    assert page.count('class="drawing"') == 2
    assert "Proposed correction" in page


def test_what_is_made_right_and_printed_wrong_is_told_apart(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    sheet = tested.edition.sheet
    sheet["dimensions"][0]["printed"] = {"S": 130}
    Edition.objects.filter(pk=tested.edition_id).update(sheet=sheet)

    page = signed_in(designer).get(reverse("errata:dimension", args=[tested.code, "chest"])).content.decode()

    said = [
        "comes out right: 9 testers agree with the pattern",
        "What is printed in size S is wrong.",
        "Fault: the pattern’s printed measurement, not its counts",
        "Proposed correction",
        "is printed as 130 cm in size S. The printed counts give",
    ]
    assert sorted(said, key=page.index) == said


def test_a_proposed_correction_says_where_it_would_bring_every_size(tested: Round) -> None:
    result = dimension_result(tested, "body_length")

    assert result.corrected == "finished-size:body_length"
    proposed = next(f for f in result.findings if f["id"] == result.corrected)["proposed"]
    assert [effect.size for effect in result.effects] == ["XS", "S", "M"]
    for effect in result.effects:
        # 96 rows are printed, and 30 rows are 10 cm.
        assert effect.change == pytest.approx((proposed[effect.size] - 96) / 3)
        assert abs(effect.after) < abs(effect.before)


def test_a_testers_name_is_text_in_the_table_and_in_the_plot(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    tested.places.filter(key="t000").update(name='<script>alert("x")</script>')

    page = signed_in(designer).get(reverse("errata:dimension", args=[tested.code, "chest"])).content.decode()

    assert "<script>alert" not in page
    assert page.count("&lt;script&gt;alert") >= 3


def test_the_correction_of_a_dimension_says_what_else_it_moves(
    designer: User, little_top: dict[str, Any], signed_in: SignIn
) -> None:
    document = round_document(little_top, 9)
    document["pattern"]["dimensions"].append(
        {"key": "side", "label": "Side seam", "tolerance": 1, "formula": "body_rows / body.row + ease"}
    )
    round_ = round_import(data=json.dumps(document).encode(), owner=designer)

    result = dimension_result(round_, "body_length")

    # The pieces are 4 cm too long: 12 rows fewer, so the side seam is as much shorter.
    (moved,) = result.moves
    assert (moved.label, moved.beyond) == ("Side seam", ("XS", "S", "M"))
    assert moved.least == pytest.approx(result.effects[0].change)
    page = signed_in(designer).get(reverse("errata:dimension", args=[round_.code, "body_length"]))
    assert "Beyond its ±1\xa0cm then in XS, S, M." in page.content.decode()


def test_a_slip_of_the_tape_is_set_apart_with_the_question_to_its_tester(
    designer: User, little_top: dict[str, Any], signed_in: SignIn
) -> None:
    document = round_document(little_top, 9)
    document["testers"][1]["finished"][1]["values"] = [15.9]  # inches, where centimetres were asked for
    round_ = round_import(data=json.dumps(document).encode(), owner=designer)

    result = dimension_result(round_, "body_length")
    page = signed_in(designer).get(reverse("errata:dimension", args=[round_.code, "body_length"]))

    assert [point.name for point in result.asked] == ["Tester 001"]
    assert "Ask Tester 001:" in page.content.decode()
    # Its bar comes after those that count, and stretches no axis.
    bars = [label for label in page.context["bars"].drawing.labels() if label.startswith("Tester")]
    assert "set aside, to be asked" in bars[-1]
    assert "Tester 001" in bars[-1]


def test_a_row_of_the_results_names_the_sizes_that_ask_for_something(tested: Round) -> None:
    chest, length = results_of(tested).rows

    assert chest.asking == ()
    assert length.asking == (("amend", ()),)


def test_the_correction_of_a_dimension_stands_before_its_plot_and_the_headline_is_said_once(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    page = (
        signed_in(designer)
        .get(reverse("errata:dimension", args=[tested.code, "body_length"]))
        .content.decode()
    )

    order = ('class="answer"', "Proposed correction", '<figure class="plot">')
    assert sorted(order, key=page.index) == list(order)
    assert page.count("Hem to underarm comes out") == 1
    assert "The pieces of 9 testers say so, beyond what the counts worked" in page


@pytest.mark.parametrize(
    ("testers", "low", "high", "alone"),
    [(1, -1.4, 1.2, True), (1, -1.4, 1.6, False), (1, -1.6, 1.2, False), (2, -1.4, 1.2, False)],
)
def test_a_size_is_within_tolerance_but_for_a_second_tester(
    testers: int, low: float, high: float, alone: bool
) -> None:
    cell = DeviationCell(
        size="M",
        dimension="body_length",
        target=40,
        printed=None,
        tolerance=1.5,
        testers=testers,
        estimate=(low + high) / 2,
        low=low,
        high=high,
        verdict=Verdict.OPEN,
        needs=1,
    )

    assert only_one_tester(cell) is alone


def test_a_dimension_the_sheet_does_not_have_is_not_found(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    response = signed_in(designer).get(reverse("errata:dimension", args=[tested.code, "hat"]))

    assert response.status_code == 404


def test_the_gauges_page_sets_stated_against_what_testers_get(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    response = signed_in(designer).get(address("gauges", tested))

    page = response.content.decode()
    assert response.status_code == 200
    assert "Stockinette, blocked" in page
    assert "Stitches agree: testers get 22.0, and 22 is stated. Rows agree" in page
    # In the figures of the plot each leads to its dot; and in the figures behind stitches and behind rows.
    assert page.count('<th scope="row">Tester 00') == 2 * 9
    assert [f'<a href="#gauge-0-{k}">Tester 00{k}</a>' in page for k in range(9)] == [True] * 9
    assert 'id="gauge-0-8"' in page


def test_the_gauges_page_says_how_many_swatches_the_pattern_stands_and_what_limits_it(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    # 21 stitches make size XS 87.6 cm, 4 cm more than meant; 28.5 rows would still do.
    tested.places.get(key="t000").swatch_rows.update(stitches=21, rows=28.5)

    page = signed_in(designer).get(address("gauges", tested)).content.decode()

    assert "From swatch to swatch: 21.0 to 22.0 stitches, 28.5 to 30.0 rows." in page
    assert "8 of 9 swatches keep every measurement of their makers" in page
    assert "and 8 would in every size." in page
    assert "Beyond it: Tester 000." in page
    assert (
        "Too few stitches: Chest circumference in S is the first to come out too large, from 21.4 on." in page
    )


def test_the_region_of_one_size_is_wider_than_that_of_all(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    client = signed_in(designer)

    # The misprint in size M is not held against those who make M, whichever size is looked at.
    page = client.get(address("gauges", tested), {"size": "XS"}).content.decode()
    unknown = client.get(address("gauges", tested), {"size": "9XL"}).content.decode()

    # 2 × 92 stitches over 86.14 cm, which is 2.5 cm more than meant, are 21.36 in 10 cm.
    assert (
        "Too few stitches: Chest circumference in XS is the first to come out too large, from 21.3 on."
        in page
    )
    assert "9 of 9 swatches keep every measurement" in page
    assert "9 would in size XS." in page
    assert "9 would in every size." in unknown


def test_the_gauges_page_says_where_the_printed_numbers_are_out_even_at_the_stated_gauge(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    page = signed_in(designer).get(address("gauges", tested)).content.decode()

    # 118 stitches are printed for size M, where 114 are meant: 4 / 1.1 cm.
    assert "Chest circumference in size M comes out 3.6 cm larger than meant, where 2.5 cm is fine." in page
    # At 22.3 stitches all three sizes would be within: it is the stated gauge that is not.
    assert "The region leaves it out." in page


def test_a_round_without_swatches_has_no_region_to_hold_them_against(
    signed_in: SignIn, designer: User, round_of: Callable[..., Round]
) -> None:
    page = signed_in(designer).get(address("gauges", round_of(0))).content.decode()

    assert "No swatch of this gauge yet" in page
    assert "swatches keep" not in page


def test_the_findings_file_is_the_one_the_analysis_wrote(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    response = signed_in(designer).get(address("findings", tested))

    assert response["Content-Type"] == "application/json"
    assert response["Content-Disposition"] == 'attachment; filename="little-top-1-0-first-test-findings.json"'
    assert json.loads(response.content) == read_round(tested).document


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_report_is_a_pdf(signed_in: SignIn, designer: User, tested: Round, paper: str) -> None:
    response = signed_in(designer).get(address("report_pdf", tested), {"paper": paper})

    assert response["Content-Type"] == "application/pdf"
    assert response.content.startswith(b"%PDF-")


@pytest.mark.parametrize("page", ["results", "gauges", "desk"])
def test_a_round_without_testers_says_that_it_is_early(
    signed_in: SignIn, designer: User, round_of: Callable[..., Round], page: str
) -> None:
    response = signed_in(designer).get(address(page, round_of(0)))

    assert response.status_code == 200


def test_an_empty_round_still_shows_what_the_desk_check_finds(
    signed_in: SignIn, designer: User, round_of: Callable[..., Round]
) -> None:
    page = signed_in(designer).get(address("results", round_of(0))).content.decode()

    assert "Nobody is in this round yet" in page
    assert "Back, step 1 prints 118 in size M; its formula gives 114." in page


# Who may read


@pytest.mark.parametrize("page", PAGES)
def test_another_designer_finds_nothing(
    signed_in: SignIn, other_designer: User, tested: Round, page: str
) -> None:
    assert signed_in(other_designer).get(address(page, tested)).status_code == 404


@pytest.mark.parametrize("page", PAGES)
def test_a_tester_of_the_round_finds_nothing(
    signed_in: SignIn, tester: User, tested: Round, page: str
) -> None:
    tested.places.filter(key="t000").update(tester=tester)

    assert signed_in(tester).get(address(page, tested)).status_code == 404


@pytest.mark.parametrize("page", PAGES)
def test_somebody_signed_out_is_asked_to_sign_in(client: Client, tested: Round, page: str) -> None:
    response = client.get(address(page, tested))

    assert response.status_code == 302
    assert response["Location"].startswith(reverse("account_login"))


# What it costs


@pytest.mark.usefixtures("nothing_kept")
@pytest.mark.parametrize("testers", [20, 200])
@pytest.mark.parametrize(
    ("page", "first", "again"),
    [
        # session, user, round with pattern, what it holds; and on the first reading places, seven kinds of report,
        # yarns, candidates, and three times whether it still holds that
        ("gauges", 17, 4),
        # and: decisions with their errata
        ("results", 18, 5),
        # and: errata, decisions, remarks with their places, the errata of remarks
        ("desk", 21, 9),
    ],
)
def test_a_page_costs_the_same_for_twenty_testers_or_two_hundred(
    signed_in: SignIn,
    designer: User,
    round_of: Callable[..., Round],
    django_assert_num_queries,
    testers: int,
    page: str,
    first: int,
    again: int,
) -> None:
    client = signed_in(designer)
    round_ = round_of(testers)

    with django_assert_num_queries(first):
        response = client.get(address(page, round_))
    with django_assert_num_queries(again):
        same = client.get(address(page, round_))

    assert response.status_code == same.status_code == 200


@pytest.mark.usefixtures("nothing_kept")
@pytest.mark.parametrize("testers", [20, 200])
def test_a_dimension_costs_the_same_for_twenty_testers_or_two_hundred(
    signed_in: SignIn,
    designer: User,
    round_of: Callable[..., Round],
    django_assert_num_queries,
    testers: int,
) -> None:
    client = signed_in(designer)
    round_ = round_of(testers)

    with django_assert_num_queries(17):
        response = client.get(reverse("errata:dimension", args=[round_.code, "chest"]))
    with django_assert_num_queries(4):
        same = client.get(reverse("errata:dimension", args=[round_.code, "chest"]))

    assert response.content.partition(b"<main")[2] == same.content.partition(b"<main")[2]


# What findings rest on ------------------------------------------------------------------------------------


def test_the_page_of_a_dimension_lets_its_finding_be_checked_by_hand(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    response = signed_in(designer).get(reverse("errata:dimension", args=[tested.code, "body_length"]))

    page = response.content.decode()
    assert '<span class="sum">96 rows / 3 rows/cm = 32 cm</span>' in page.replace("\N{NO-BREAK SPACE}", " ")
    assert "<dt>Standard uncertainty u</dt>" in page
    (check,) = [one for key, one in response.context["checks"].items() if key == "finished-size:body_length"]
    assert "Take Tester 00" in check.lead
    assert untrue(check) == []


def test_every_gauge_can_be_checked_whatever_its_verdict(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    response = signed_in(designer).get(address("gauges", tested))

    assert set(response.context["checks"]) == {"stated-gauge:body.st", "stated-gauge:body.row"}
    assert response.content.decode().count("<summary>Check it by hand") == 2


def test_every_finding_on_the_desk_can_be_checked(signed_in: SignIn, designer: User, tested: Round) -> None:
    response = signed_in(designer).get(address("desk", tested))

    desk, page = response.context["desk"], response.content.decode()
    assert page.count("<summary>Check it by hand") == len(desk.undecided) + len(desk.quiet)
    assert "118 − 114 = 4 st" in page.replace("\N{NO-BREAK SPACE}", " ")


def test_a_check_is_told_in_the_readers_unit(signed_in: SignIn, designer: User, tested: Round) -> None:
    designer.units = User.Units.INCHES
    designer.save()

    page = (
        signed_in(designer)
        .get(reverse("errata:dimension", args=[tested.code, "body_length"]))
        .content.decode()
    )

    assert "The sums are in centimetres, as the sheet&#x27;s formulas are." in page
    assert "the same in inches" in page


def test_what_testers_sent_is_not_told_to_the_readers_of_an_erratum(
    client: Client, designer: User, tested: Round
) -> None:
    """The evidence names a tester; nothing of it stands in an erratum, in any of its forms."""
    findings = [finding["id"] for finding in results_of(tested).pressing]
    for finding_id in findings:
        erratum_publish(
            erratum=finding_accept(round=tested, finding_ids=[finding_id], by=designer), by=designer
        )
    code = tested.edition.pattern.code
    pages = ["errata:list", "errata:document"]
    texts = [client.get(reverse(page, args=[code])).content.decode() for page in pages]
    texts += [
        client.get(reverse("errata:erratum", args=[code, number])).content.decode()
        for number in range(1, len(findings) + 1)
    ]

    checks = checks_of(read_round(tested), findings, "cm")
    assert [one for one in checks.values() if "Tester 00" in one.paragraph]
    assert "Hem to underarm" in texts[0]
    for text in texts:
        assert "Tester 00" not in text
        assert "Check it by hand" not in text


# Many testers ---------------------------------------------------------------------------------------------


def test_the_pieces_of_many_testers_are_taken_apart_one_size_at_a_time(
    signed_in: SignIn, designer: User, round_of: Callable[..., Round]
) -> None:
    round_ = round_of(200)
    sizes = round_.edition.document.sizes
    page = signed_in(designer)
    everything = dimension_result(round_, "chest")
    assert everything is not None
    address = reverse("errata:dimension", args=[round_.code, "chest"])

    for size in sizes:
        shown = dimension_result(round_, "chest", size)
        assert shown is not None
        html = page.get(address, {"size": size}).content.decode()

        assert [point.name for point in shown.pieces] == [
            point.name for point in everything.points if point.size == size
        ]
        assert len(shown.points) == len(everything.points)
        assert f'<a href="?size={size}#parts-heading" aria-current="true">{size}</a>' in html

    off = {cell.size: abs(cell.estimate or 0) for _named, cell in everything.cells}
    assert off[everything.size] == max(off.values())
    otherwise, unasked = (page.get(address, query).content for query in ({"size": "9X"}, {}))
    assert main_of(otherwise) == main_of(unasked)


def test_the_pieces_of_few_testers_are_all_taken_apart(tested: Round) -> None:
    result = dimension_result(tested, "chest", tested.edition.document.sizes[0])

    assert result is not None
    assert (result.size, result.pieces, result.sizes_apart) == ("", result.points, ())


@pytest.mark.parametrize("page", ["results/chest/", "results/", "gauges/", "yarn-and-hours/"])
def test_a_page_of_two_hundred_testers_is_no_heavier_than_a_slow_line_carries_in_a_moment(
    signed_in: SignIn, designer: User, page: str
) -> None:
    """150 kB with what it loads beside it, which is 33 kB (tests/browser looks at the pages of a small round)."""
    document = simulated_round(1, 200, Truth(offsets={"chest": {"*": 3.4}}))
    round_ = round_import(data=json.dumps(document).encode(), owner=designer)

    response = signed_in(designer).get(f"/rounds/{round_.code}/{page}")

    assert len(response.content) < 117_000
