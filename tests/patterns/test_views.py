from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from testround.errata.models import Erratum
from testround.kernel.round import Pattern as SheetDocument
from testround.patterns.drafts import SheetDraft
from testround.patterns.fields import Scale
from testround.patterns.models import Edition, Pattern
from testround.patterns.services import edition_freeze, edition_save, pattern_create
from testround.people.models import User
from testround.rounds.models import Round

SignIn = Callable[[User], Client]
Count = Any


def page_of(edition: Edition, name: str = "sheet") -> str:
    return reverse(f"patterns:{name}", args=[edition.pattern.code, edition.pk])


def fields_of(edition: Edition) -> dict[str, str]:
    """What a browser sends of the sheet's page, nothing touched."""
    draft = SheetDraft.of(edition.document, Scale())
    fields = {cell.name: cell.text for cell in draft.single_cells()}
    fields["revision"] = str(edition.revision)
    for j, size in enumerate(draft.columns):
        fields[f"column-{j}"] = size
    for row in draft.all_rows():
        fields[f"{row.name}-was"] = row.was
        fields.update((cell.name, cell.text) for cell in row.all_cells)
    return fields


def file_of(content: bytes | dict[str, Any], name: str = "pattern.json") -> SimpleUploadedFile:
    data = content if isinstance(content, bytes) else json.dumps(content).encode()
    return SimpleUploadedFile(name, data, content_type="application/json")


def upload(client: Client, content: bytes | dict[str, Any], name: str = "pattern.json", **more: str) -> Any:
    return client.post(reverse("patterns:new"), {"way": "file", "file": file_of(content, name), **more})


# Who may come in


PAGES = ("detail", "delete", "sheet", "check", "paste", "states", "values", "next_edition", "edition_file")
# Addresses that are only sent to.
SENT_TO = ("check", "paste")


def address(edition: Edition, name: str) -> str:
    own = [] if name in ("detail", "delete") else [edition.pk]
    return reverse(f"patterns:{name}", args=[edition.pattern.code, *own])


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("method", ["get", "post"])
def test_another_designer_finds_nothing(
    signed_in: SignIn, edition: Edition, other_designer: User, name: str, method: str
) -> None:
    client = signed_in(other_designer)

    status = getattr(client, method)(address(edition, name)).status_code

    # A page that is only read, or only sent to, refuses the other way of asking before it looks at anything.
    wrong_way = (method == "get") == (name in SENT_TO) and name in (*SENT_TO, "detail", "edition_file")
    assert status == (405 if wrong_way else 404)
    assert Pattern.objects.filter(pk=edition.pattern_id).exists()


@pytest.mark.parametrize("name", PAGES)
def test_a_stranger_is_asked_to_sign_in(client: Client, edition: Edition, name: str) -> None:
    answer = client.post(address(edition, name))

    assert answer.status_code == 302
    assert answer["Location"].startswith(reverse("account_login"))


@pytest.mark.parametrize("name", ["list", "new"])
def test_a_stranger_is_asked_to_sign_in_before_anything_is_listed_or_made(
    client: Client, db: None, name: str
) -> None:
    assert client.get(reverse(f"patterns:{name}"))["Location"].startswith(reverse("account_login"))


def test_an_edition_is_not_found_under_another_patterns_address(
    signed_in: SignIn, edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    other = pattern_create(owner=designer, document=SheetDocument.model_validate(little_top))

    answer = signed_in(designer).get(reverse("patterns:sheet", args=[other.pattern.code, edition.pk]))

    assert answer.status_code == 404


# The list


@pytest.mark.parametrize("n", [1, 3])
def test_the_list_costs_the_same_for_one_pattern_or_three(
    signed_in: SignIn, designer: User, little_top: dict[str, Any], n: int, django_assert_num_queries: Count
) -> None:
    for _ in range(n):
        pattern_create(owner=designer, document=SheetDocument.model_validate(little_top))
    client = signed_in(designer)

    with django_assert_num_queries(
        6
    ):  # session, user, how many, patterns with their counts, editions, rounds
        answer = client.get(reverse("patterns:list"))

    assert len(answer.context["page"]) == n


def test_the_list_says_how_far_each_pattern_is(
    signed_in: SignIn, a_round: Round, designer: User, little_top: dict[str, Any]
) -> None:
    edition, pattern = a_round.edition, a_round.edition.pattern
    Edition.objects.create(pattern=pattern, label="1.1", sheet=edition.sheet)
    Round.objects.create(edition=edition, title="Long ago", state="closed")
    Round.objects.create(edition=edition, title="Second test", state="making")
    Erratum.objects.create(pattern=pattern, edition=edition, place="Yoke", text="Decrease by 2.")
    pattern_create(owner=designer, document=SheetDocument.model_validate(little_top))

    page = signed_in(designer).get(reverse("patterns:list")).text

    table = page[page.index("<tbody>") : page.index("</tbody>")]
    told = [" ".join(re.sub(r"<[^>]+>", " ", row).split()) for row in table.split("</tr>")]
    assert told == [
        "Little top 1.0, yours to change none yet none published",
        "Little top 1.1, yours to change and 1 before it Second test (1.0) : making; First test (1.0) : swatching "
        "none published, 1 in draft",
        "",
    ]


def test_the_list_shows_own_patterns_only(signed_in: SignIn, edition: Edition, other_designer: User) -> None:
    answer = signed_in(other_designer).get(reverse("patterns:list"))

    assert b"Little top" not in answer.content
    assert b"No pattern yet" in answer.content


# Bringing in a file


def test_a_pattern_alone_can_be_uploaded(
    signed_in: SignIn, designer: User, little_top: dict[str, Any]
) -> None:
    answer = upload(signed_in(designer), little_top)

    edition = Edition.objects.get()
    assert answer["Location"] == page_of(edition)
    assert (edition.sheet, edition.pattern.owner) == (little_top, designer)


def test_of_a_round_file_the_pattern_is_taken(
    signed_in: SignIn, designer: User, little_top: dict[str, Any]
) -> None:
    round_file = {
        "format": "testround/round",
        "version": 1,
        "pattern": little_top,
        "round": {"title": "First"},
    }

    upload(signed_in(designer), round_file)

    assert Edition.objects.get().sheet == little_top
    assert not Round.objects.exists()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "the file is empty"),
        (b"  \n ", "the file is empty"),
        (b"\xff\xfe\x00{", "not UTF-8"),
        (b"{title: 1}", "this is not JSON"),
        (b"[1, 2]", "one JSON object"),
        (b'{"title": NaN}', "NaN is not a number"),
        (b"[" * 100_000, "nested far too deeply"),
        (b"PK\x03\x04" + b"\x00" * 40, "ZIP archive"),
    ],
    ids=["empty", "blank", "not UTF-8", "not JSON", "a list", "NaN", "deep", "ZIP"],
)
def test_what_is_no_pattern_file_is_refused_with_a_sentence_and_its_name(
    signed_in: SignIn, designer: User, content: bytes, said: str
) -> None:
    answer = upload(signed_in(designer), content, name="fenlight.json")

    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert "fenlight.json" in answer.content.decode()
    assert not Pattern.objects.exists()


def test_every_problem_of_a_file_is_listed_with_its_path(
    signed_in: SignIn, designer: User, little_top: dict[str, Any]
) -> None:
    little_top["colour"] = "red"
    little_top["numbers"][0]["printed"]["XXL"] = 130
    little_top["numbers"][1]["formula"] = "round(32)"

    answer = upload(signed_in(designer), little_top)

    assert answer.status_code == 422
    assert sorted(problem.path for problem in answer.context["upload"].problems) == [
        "colour",
        "numbers[0].printed.XXL",
        "numbers[1].formula",
    ]
    assert all(problem.path in answer.content.decode() for problem in answer.context["upload"].problems)
    assert not Pattern.objects.exists()


def test_a_null_character_which_a_database_may_not_keep_is_refused_at_every_door(
    signed_in: SignIn, edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    client = signed_in(designer)
    on_the_page = fields_of(edition)
    little_top["numbers"][0]["label"] = "Back\0"

    uploaded = upload(client, little_top)
    typed = client.post(page_of(edition), {**on_the_page, "numbers-0-label": "Back\0"})
    labelled = client.post(page_of(edition, "next_edition"), {"label": "2\0"})

    assert (uploaded.status_code, typed.status_code, labelled.status_code) == (422, 422, 422)
    assert [str(problem) for problem in uploaded.context["upload"].problems] == [
        "numbers[0].label: holds a null character, which cannot be seen; type it afresh"
    ]
    assert "null character" in typed.context["draft"].rows["numbers"][0].cells["label"].errors[0]
    assert Edition.objects.count() == 1


def test_a_file_over_the_limit_is_refused_unread(
    signed_in: SignIn, designer: User, little_top: dict[str, Any], settings: Any
) -> None:
    settings.ROUND_FILE_MAX_BYTES = 2_000_000

    answer = upload(signed_in(designer), json.dumps(little_top).encode() + b" " * 3_000_000)

    assert answer.status_code == 422
    assert "pattern.json has 3 MB; at most 2 MB are taken" in answer.content.decode()


def test_no_file_chosen_is_said(signed_in: SignIn, designer: User) -> None:
    answer = signed_in(designer).post(reverse("patterns:new"), {"way": "file"})

    assert answer.status_code == 422
    assert b"Choose a file first." in answer.content


def test_the_text_gives_its_dialect_away_unless_the_designer_says_it(
    signed_in: SignIn, designer: User, little_top: dict[str, Any]
) -> None:
    little_top["craft"] = "crochet"
    little_top["numbers"][0]["label"] = "Half treble into each stitch"
    client = signed_in(designer)

    upload(client, little_top)
    upload(client, little_top, terms="us")

    assert list(Edition.objects.order_by("pk").values_list("terms", flat=True)) == ["uk", "us"]


def test_markup_in_a_file_is_shown_as_text(
    signed_in: SignIn, designer: User, little_top: dict[str, Any]
) -> None:
    attack = '"><script>alert(1)</script>'
    little_top["title"] = attack
    little_top["numbers"][0]["label"] = attack
    little_top["numbers"][0]["place"] = attack
    little_top["sizes"][0] = "<b>XS"
    for values in (little_top["measures"][0]["values"], *(n["printed"] for n in little_top["numbers"])):
        values["<b>XS"] = values.pop("XS")
    client = signed_in(designer)

    upload(client, little_top)
    edition = Edition.objects.get()
    shown = [client.get(address(edition, name)).content for name in ("sheet", "detail", "delete")]
    edition_freeze(edition=edition)
    shown += [client.get(page_of(edition)).content, client.get(reverse("patterns:list")).content]

    assert all(b"&lt;script&gt;alert(1)" in page for page in shown)
    assert not any(b"<script>alert" in page or b"<b>XS" in page for page in shown)


# A blank sheet


BLANK = {
    "way": "blank",
    "title": "Fenlight Cardigan",
    "edition": "0.1",
    "craft": "knit",
    "kind": "graded",
    "sizes": "XS, S,M ,",
    "gauge_label": "Stockinette, blocked",
    "stitches": "22",
    "rows": "30 1/2",
    "tool": "4 mm",
}


def test_a_blank_sheet_starts_with_title_sizes_and_gauge(signed_in: SignIn, designer: User) -> None:
    answer = signed_in(designer).post(reverse("patterns:new"), BLANK)

    edition = Edition.objects.get()
    assert answer["Location"] == page_of(edition)
    assert {name: value for name, value in edition.sheet.items() if value != []} == {
        "title": "Fenlight Cardigan",
        "edition": "0.1",
        "craft": "knit",
        "kind": "graded",
        "sizes": ["XS", "S", "M"],
        "gauges": [
            {"key": "body", "label": "Stockinette, blocked", "stitches": 22, "rows": 30.5, "tool_mm": 4}
        ],
    }


@pytest.mark.parametrize(
    ("field", "text", "said"),
    [
        ("title", "", "This field is required."),
        ("sizes", "", "A graded pattern needs its sizes"),
        ("sizes", "XS, S, XS", "listed twice"),
        ("stitches", "1e300", "cannot be read as a number"),
        ("rows", "0", "is no gauge"),
        ("tool", "a broom", "write it as in 4.5 mm"),
    ],
)
def test_a_blank_sheet_that_is_refused_keeps_what_was_typed(
    signed_in: SignIn, designer: User, field: str, text: str, said: str
) -> None:
    answer = signed_in(designer).post(reverse("patterns:new"), {**BLANK, field: text})

    assert answer.status_code == 422
    assert said in " ".join(answer.context["blank"].errors[field])
    assert answer.context["blank"][field].value() == text
    assert b'value="Stockinette, blocked"' in answer.content
    assert not Pattern.objects.exists()


def test_a_made_to_measure_sheet_has_no_sizes(signed_in: SignIn, designer: User) -> None:
    client = signed_in(designer)

    refused = client.post(reverse("patterns:new"), {**BLANK, "kind": "made-to-measure"})
    client.post(reverse("patterns:new"), {**BLANK, "kind": "made-to-measure", "sizes": ""})

    assert "sizes" in refused.context["blank"].errors
    assert Edition.objects.get().sheet["kind"] == "made-to-measure"


# The pattern's page


@pytest.mark.parametrize("n", [1, 3])
def test_a_patterns_page_costs_the_same_for_one_edition_or_three(
    signed_in: SignIn, a_round: Round, designer: User, n: int, django_assert_num_queries: Count
) -> None:
    edition = a_round.edition
    for i in range(1, n):
        more = Edition.objects.create(pattern=edition.pattern, label=f"1.{i}", sheet=edition.sheet)
        Round.objects.create(edition=more, title="Another test")
    client = signed_in(designer)

    with django_assert_num_queries(5):  # session, user, pattern, editions, rounds
        answer = client.get(edition.pattern.get_absolute_url())

    assert answer.content.count(b"Edition 1.") == n


def test_an_edition_downloads_as_a_file_that_can_be_uploaded_again(
    signed_in: SignIn, edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    client = signed_in(designer)

    answer = client.get(page_of(edition, "edition_file"))
    upload(client, answer.content)

    assert answer["Content-Disposition"] == 'attachment; filename="little-top-1-0.json"'
    assert json.loads(answer.content) == little_top
    assert Edition.objects.exclude(pk=edition.pk).get().sheet == little_top


def test_a_pattern_is_deleted_after_a_question(signed_in: SignIn, edition: Edition, designer: User) -> None:
    client = signed_in(designer)

    asked = client.get(address(edition, "delete"))
    there_still = Pattern.objects.count()
    client.post(address(edition, "delete"))

    assert (asked.status_code, there_still, Pattern.objects.count()) == (200, 1, 0)


def test_a_pattern_with_a_round_is_not_deleted(signed_in: SignIn, a_round: Round, designer: User) -> None:
    client = signed_in(designer)

    asked = client.get(address(a_round.edition, "delete"))
    answer = client.post(address(a_round.edition, "delete"))

    assert (asked.status_code, answer.status_code) == (200, 422)
    for page in (asked.text, answer.text):
        assert "This pattern has rounds" in page
        assert "Delete the pattern" not in page
    assert Pattern.objects.count() == 1


def test_a_pattern_with_errata_of_no_round_is_not_deleted_either(
    signed_in: SignIn, edition: Edition, designer: User
) -> None:
    Erratum.objects.create(pattern=edition.pattern, edition=edition, place="Yoke", text="Decrease by 2.")

    answer = signed_in(designer).post(address(edition, "delete"))

    assert answer.status_code == 422
    assert "This pattern has errata." in answer.text


# The sheet's page


def a_sheet(n_sizes: int, n_numbers: int) -> dict[str, Any]:
    sizes = [f"S{j}" for j in range(n_sizes)]
    return {
        "title": "Fenlight Cardigan",
        "edition": "0.9",
        "craft": "knit",
        "kind": "graded",
        "gauges": [{"key": "body", "label": "Body", "stitches": 20, "rows": 30}],
        "sizes": sizes,
        "measures": [
            {"key": "bust", "label": "Bust", "values": {s: 76 + 10 * j for j, s in enumerate(sizes)}}
        ],
        "numbers": [
            {
                "key": f"n{i}",
                "label": f"Number {i}",
                "unit": "st",
                "formula": "bust * body.st",
                "printed": {s: 152 + 20 * j for j, s in enumerate(sizes)},
            }
            for i in range(n_numbers)
        ],
    }


def fenlight() -> SheetDocument:
    """The demo's cardigan: nine sizes, 25 numbers, 12 finished measurements."""
    whole = json.loads(Path("fixtures/fenlight.json").read_text())
    return SheetDocument.model_validate(whole["pattern"])


def test_a_sheet_of_nine_sizes_and_twenty_five_numbers_weighs_no_more_than_a_page_may(
    signed_in: SignIn, designer: User
) -> None:
    edition = pattern_create(owner=designer, document=fenlight())

    answer = signed_in(designer).get(page_of(edition))

    fields = [cell.name for row in answer.context["draft"].all_rows() for cell in row.all_cells]
    page = answer.content.decode()
    # 12 of gauges, 72 measures, 40 constants, 350 numbers, 10 shaping, 168 measurements, 12 parts, 18 by size.
    assert len(fields) == 682
    assert [name for name in fields if f'name="{name}"' not in page] == []
    assert len(answer.content) < 150_000


@pytest.mark.parametrize(("n_sizes", "n_numbers"), [(2, 1), (9, 25)])
def test_a_large_sheet_costs_the_queries_of_a_small_one(
    signed_in: SignIn,
    designer: User,
    n_sizes: int,
    n_numbers: int,
    django_assert_num_queries: Count,
) -> None:
    document = SheetDocument.model_validate(a_sheet(n_sizes, n_numbers))
    edition = pattern_create(owner=designer, document=document)
    client = signed_in(designer)

    with django_assert_num_queries(4):  # session, user, edition with its pattern, who saved it last
        answer = client.get(page_of(edition))

    assert answer.context["check"].compared == n_sizes * n_numbers
    assert answer.context["check"].is_clean


def test_a_sheet_is_saved_from_its_page(
    signed_in: SignIn, edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    fields = {**fields_of(edition), "numbers-0-printed-1": "106", "numbers-0-place": "Back, step 2"}

    answer = signed_in(designer).post(page_of(edition), fields)

    edition.refresh_from_db()
    little_top["numbers"][0]["printed"]["S"] = 106
    little_top["numbers"][0]["place"] = "Back, step 2"
    assert answer["Location"] == page_of(edition)
    assert (edition.sheet, edition.revision) == (little_top, 2)


def test_a_page_read_in_inches_and_saved_untouched_moves_no_value(
    signed_in: SignIn, edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    designer.units, designer.tools = "in", "us"
    designer.save()
    client = signed_in(designer)
    shown = client.get(page_of(edition)).context["draft"]
    fields = {
        **fields_of(edition),
        **{cell.name: cell.text for row in shown.all_rows() for cell in row.all_cells},
    }

    client.post(page_of(edition), fields)

    edition.refresh_from_db()
    assert fields["measures-0-values-0"] == "29 7/8"
    assert fields["gauges-0-tool_mm"] == "US 6"
    assert edition.sheet == little_top
    assert edition.revision == 2


@pytest.mark.parametrize(
    ("field", "text", "said"),
    [
        ("numbers-0-formula", "2 * round(bust)", "round"),
        ("numbers-0-formula", "back_sts + 2", "is worked out from itself"),
        ("numbers-0-formula", "bust + ", "At character"),
        ("numbers-0-printed-1", "1e300", "cannot be read as a number"),
        ("numbers-0-printed-1", "NaN", "cannot be read as a number"),
        ("numbers-0-printed-1", "<script>alert(1)</script>", "cannot be read as a number"),
        ("numbers-0-key", "Back Sts!", "Must be lower-case words joined by _"),
        ("numbers-0-unit", "metre", "There is no such choice"),
        ("measures-0-values-0", "-3", "is not above zero"),
        ("measures-0-values-0", "", "has no value for XS"),
        ("sizes", " , ", "Write the sizes"),
        ("sizes", "XS, S, S", "listed twice"),
        ("edition", "", "Write the edition"),
        ("title", "x" * 201, "Has more than 200 characters"),
    ],
)
def test_a_refused_sheet_says_why_and_keeps_what_was_typed(
    signed_in: SignIn,
    edition: Edition,
    designer: User,
    little_top: dict[str, Any],
    field: str,
    text: str,
    said: str,
) -> None:
    fields = {**fields_of(edition), field: text, "numbers-1-place": "Typed just now"}

    answer = signed_in(designer).post(page_of(edition), fields)

    edition.refresh_from_db()
    assert answer.status_code == 422
    assert said in " ".join(problem.sentence for problem in answer.context["check"].problems)
    assert b'value="Typed just now"' in answer.content
    assert b"<script>alert" not in answer.content
    assert edition.sheet == little_top


def test_the_wrong_place_in_a_formula_is_marked(signed_in: SignIn, edition: Edition, designer: User) -> None:
    fields = {**fields_of(edition), "numbers-0-formula": "2 * round(bust)"}

    answer = signed_in(designer).post(page_of(edition), fields)

    assert b"2 * <mark>round</mark>(bust)" in answer.content


def test_a_printed_value_for_a_size_that_is_not_there_has_nowhere_to_go(
    signed_in: SignIn, edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    fields = {**fields_of(edition), "numbers-0-printed-7": "130", "column-7": "XXL"}

    signed_in(designer).post(page_of(edition), fields)

    edition.refresh_from_db()
    assert edition.sheet == little_top


def test_a_row_is_added_without_saving_and_without_losing_what_was_typed(
    signed_in: SignIn, edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    fields = {**fields_of(edition), "numbers-0-place": "Typed just now", "add": "numbers"}

    answer = signed_in(designer).post(page_of(edition), fields)

    edition.refresh_from_db()
    assert answer.status_code == 200
    assert b'name="numbers-2-formula"' in answer.content
    assert b'value="Typed just now"' in answer.content
    assert edition.sheet == little_top


def test_the_second_of_two_people_saving_one_sheet_keeps_what_was_typed_and_can_save_after_all(
    signed_in: SignIn, edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    fields = {**fields_of(edition), "numbers-0-place": "Typed by the second"}
    theirs = SheetDocument.model_validate({**little_top, "title": "Saved by the first"})
    edition_save(edition=edition, document=theirs, revision=1, by=designer)
    client = signed_in(designer)

    refused = client.post(page_of(edition), fields)
    edition.refresh_from_db()
    kept_first = edition.sheet["title"]
    again = client.post(page_of(edition), {**fields, "revision": str(refused.context["edition"].revision)})

    edition.refresh_from_db()
    assert refused.status_code == 422
    assert "saved from another window" in refused.content.decode()
    assert b'value="Typed by the second"' in refused.content
    assert kept_first == "Saved by the first"
    assert again.status_code == 302
    assert edition.sheet["numbers"][0]["place"] == "Typed by the second"


@pytest.mark.parametrize("revision", ["", "-1", "one", "9" * 30, "٣"])
def test_a_form_without_its_revision_is_refused(
    signed_in: SignIn, edition: Edition, designer: User, revision: str
) -> None:
    answer = signed_in(designer).post(page_of(edition), {**fields_of(edition), "revision": revision})

    edition.refresh_from_db()
    assert (answer.status_code, edition.revision) == (422, 1)


def test_an_empty_post_changes_nothing(
    signed_in: SignIn, edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    answer = signed_in(designer).post(page_of(edition))

    edition.refresh_from_db()
    assert answer.status_code == 422
    assert edition.sheet == little_top


def test_a_number_that_another_edition_has_is_refused_beside_its_field(
    signed_in: SignIn, edition: Edition, designer: User
) -> None:
    Edition.objects.create(pattern=edition.pattern, label="2.0", sheet={**edition.sheet, "edition": "2.0"})

    answer = signed_in(designer).post(page_of(edition), {**fields_of(edition), "edition": "2.0"})

    assert answer.status_code == 422
    assert answer.context["draft"].head["edition"].errors == [
        "This pattern has an edition 2.0 already; give this one another number."
    ]


# The live desk check


def test_the_desk_check_answers_what_is_typed_and_stores_nothing(
    signed_in: SignIn, edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    fields = {**fields_of(edition), "numbers-0-printed-1": "106"}

    answer = signed_in(designer).post(page_of(edition, "check"), fields)

    edition.refresh_from_db()
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "106 is printed and the formula gives 104, 2 fewer." in page
    assert 'class="computed differs" id="c-numbers-0-1"' in page
    assert "<html" not in page
    assert edition.sheet == little_top


def test_the_desk_check_names_what_to_mend(signed_in: SignIn, edition: Edition, designer: User) -> None:
    fields = {**fields_of(edition), "numbers-0-formula": "bust"}

    answer = signed_in(designer).post(page_of(edition, "check"), fields)

    assert answer.status_code == 200
    assert "1 thing to mend before this sheet can be used." in answer.content.decode()


def test_checking_without_scripts_shows_the_same_on_the_page(
    signed_in: SignIn, edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    fields = {**fields_of(edition), "numbers-0-printed-1": "106", "action": "check"}

    answer = signed_in(designer).post(page_of(edition), fields)

    edition.refresh_from_db()
    assert answer.status_code == 200
    assert "106 is printed and the formula gives 104, 2 fewer." in answer.content.decode()
    assert edition.sheet == little_top


# Frozen, and the next edition


def test_a_frozen_sheet_is_read_and_offers_the_next_edition(
    signed_in: SignIn, edition: Edition, designer: User
) -> None:
    edition_freeze(edition=edition)

    page = signed_in(designer).get(page_of(edition)).content.decode()

    assert "Make the next edition" in page
    assert 'name="numbers-0-formula"' not in page
    assert "multiple((bust + ease) / 2 * body.st, of=2)" in page


def test_a_sheet_frozen_while_someone_typed_can_be_saved_as_the_next_edition(
    signed_in: SignIn, edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    fields = {**fields_of(edition), "numbers-0-place": "Typed just now"}
    edition_freeze(edition=edition)
    client = signed_in(designer)

    refused = client.post(page_of(edition), fields)
    saved = client.post(page_of(edition), {**fields, "edition": "1.1", "action": "next"})

    edition.refresh_from_db()
    following = Edition.objects.exclude(pk=edition.pk).get()
    assert refused.status_code == 422
    assert b'value="Typed just now"' in refused.content
    assert b"Save as the next edition" in refused.content
    assert edition.sheet == little_top
    assert saved["Location"] == page_of(following)
    assert (following.label, following.sheet["numbers"][0]["place"]) == ("1.1", "Typed just now")


def test_the_next_edition_is_made_under_the_label_offered(
    signed_in: SignIn, edition: Edition, designer: User
) -> None:
    client = signed_in(designer)
    offered = client.get(page_of(edition, "next_edition")).context["form"]["label"].value()

    answer = client.post(page_of(edition, "next_edition"), {"label": offered})

    following = Edition.objects.exclude(pk=edition.pk).get()
    assert (offered, following.label) == ("1.1", "1.1")
    assert answer["Location"] == page_of(following)


@pytest.mark.parametrize("label", ["", "1.0", "x" * 201])
def test_a_label_that_will_not_do_is_refused_and_kept(
    signed_in: SignIn, edition: Edition, designer: User, label: str
) -> None:
    answer = signed_in(designer).post(page_of(edition, "next_edition"), {"label": label})

    assert answer.status_code == 422
    assert answer.context["form"]["label"].value() == label
    assert answer.context["form"].errors["label"]
    assert Edition.objects.count() == 1


# Crochet, made to measure, and cautions


@pytest.fixture
def skirt(designer: User) -> Edition:
    document = {
        "title": "Quillwork Skirt",
        "edition": "1.0",
        "craft": "crochet",
        "kind": "made-to-measure",
        "gauges": [{"key": "body", "label": "Half treble crochet", "stitches": 16, "rows": 12}],
        "measures": [{"key": "waist", "label": "Waist"}],
        "numbers": [
            {
                "key": "start",
                "label": "Foundation",
                "unit": "st",
                "formula": "multiple(waist * body.st, of=6, plus=3)",
            }
        ],
    }
    return pattern_create(owner=designer, document=SheetDocument.model_validate(document))


def test_a_frozen_crochet_sheet_is_read_in_the_readers_terms(
    signed_in: SignIn, skirt: Edition, designer: User
) -> None:
    edition_freeze(edition=skirt)

    page = signed_in(designer).get(page_of(skirt)).content.decode()

    assert skirt.terms == "uk"
    assert "Half double crochet" in page
    assert "Half treble crochet <code>" not in page


def test_the_terms_of_a_crochet_text_are_saved_with_the_sheet(
    signed_in: SignIn, skirt: Edition, designer: User
) -> None:
    signed_in(designer).post(page_of(skirt), {**fields_of(skirt), "terms": "us"})

    skirt.refresh_from_db()
    assert skirt.terms == "us"


@pytest.mark.parametrize(
    ("label", "terms", "said"),
    [
        ("Half treble crochet", "us", "The text is marked as US terms and uses words of UK terms"),
        ("Double crochet", "uk", "It is taken as UK terms"),
        ("Half treble crochet", "uk", ""),
    ],
)
def test_a_doubt_about_the_terms_of_a_crochet_text_is_said(
    signed_in: SignIn, skirt: Edition, designer: User, label: str, terms: str, said: str
) -> None:
    skirt.sheet["gauges"][0]["label"] = label
    skirt.terms = terms
    skirt.save()

    answer = signed_in(designer).get(page_of(skirt))

    assert said in answer.context["terms_doubt"]
    assert ("Stitch terms" in answer.content.decode()) == bool(said)


def test_a_made_to_measure_sheet_is_tried_while_typing_and_when_frozen(
    signed_in: SignIn, skirt: Edition, designer: User
) -> None:
    # 80 cm at 16 st in 10 cm are 128 stitches, and 129 is the nearest of 6 m + 3.
    client = signed_in(designer)

    typing = client.post(page_of(skirt, "check"), {**fields_of(skirt), "try-measures-0": "80"})
    edition_freeze(edition=skirt)
    reading = client.get(page_of(skirt), {"try-measures-0": "80"})
    refused = client.get(page_of(skirt), {"try-measures-0": "<b>wide"})

    assert "129" in typing.content.decode()
    assert reading.context["draft"].rows["numbers"][0].computed[0].text == "129"
    assert refused.status_code == 200
    assert "cannot be read as a number" in refused.content.decode()


def test_a_childs_sizes_bring_the_caution_on_cords(
    signed_in: SignIn, edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    little_top["measures"][0]["values"]["XS"] = 56
    edition_save(edition=edition, document=SheetDocument.model_validate(little_top), revision=1, by=designer)

    page = signed_in(designer).get(page_of(edition)).content.decode()

    assert "EN 14682" in page


def test_an_adults_sizes_bring_none(signed_in: SignIn, edition: Edition, designer: User) -> None:
    assert "EN 14682" not in signed_in(designer).get(page_of(edition)).content.decode()


# Shaping


@pytest.fixture
def shaped(edition: Edition) -> Edition:
    """The little top ten stitches narrower at the waist: over 48 rows, 48 = 2 · 9 + 3 · 10."""
    waist = {"key": "waist", "label": "Waist", "start": "back_sts", "end": "back_sts - 10", "over": "48"}
    edition.sheet["shapings"] = [{**waist, "along": "rows", "each": 2, "places": 2, "at": "each end"}]
    edition.save()
    return edition


IN_WORDS = "Decrease 1 stitch at each end of every 9th row twice, then of every 10th row 3 times."


def test_a_shaping_is_spelled_out_by_size_where_it_is_typed_and_where_it_is_frozen(
    signed_in: SignIn, shaped: Edition, designer: User
) -> None:
    client = signed_in(designer)

    typed = client.get(page_of(shaped)).content.decode()
    edition_freeze(edition=shaped)
    frozen = client.get(page_of(shaped)).content.decode()

    assert (typed.count(IN_WORDS), frozen.count(IN_WORDS)) == (3, 3)
    assert 'name="shapings-0-over"' in typed
    assert "<code>back_sts - 10</code>" in frozen


def test_the_desk_check_answers_with_the_words_of_what_is_typed(
    signed_in: SignIn, shaped: Edition, designer: User
) -> None:
    fields = {**fields_of(shaped), "shapings-0-over": "50"}

    answer = signed_in(designer).post(page_of(shaped, "check"), fields).content.decode()

    assert (
        '<span id="c-shapings-0-1">Decrease 1 stitch at each end of every 10th row 5 times.</span>' in answer
    )


def test_a_shaping_is_added_filled_in_and_saved(
    signed_in: SignIn, edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    client = signed_in(designer)
    added = client.post(page_of(edition), {**fields_of(edition), "add": "shapings"})
    fields = {
        "shapings-0-label": "Waist",
        "shapings-0-start": "back_sts",
        "shapings-0-end": "back_sts - 10",
        "shapings-0-over": "48",
        "shapings-0-along": "right-side-rows",
        "shapings-0-each": "2",
    }

    client.post(page_of(edition), {**fields_of(edition), **fields})

    edition.refresh_from_db()
    assert b'name="shapings-0-label"' in added.content
    assert edition.sheet["shapings"] == [
        {
            "key": "waist",
            "label": "Waist",
            "start": "back_sts",
            "end": "back_sts - 10",
            "over": "48",
            "along": "right-side-rows",
            "each": 2,
            "places": 1,
        }
    ]
    assert {**edition.sheet, "shapings": None} == {**little_top, "shapings": None}


# In another language


def test_the_sheet_is_spoken_in_its_readers_language_and_marks_the_wrong_place_in_it(
    signed_in: SignIn, edition: Edition, designer: User, german: Callable[[dict[str, str]], None]
) -> None:
    german(
        {
            "Formula": "Formel",
            "formula": "Formel",
            "{row}: {field}": "{field} von {row}",
            "at character {start}: {message}; {mend}{stop}": "bei Zeichen {start}: {message}; {mend}{stop}",
        }
    )
    designer.language = "de"
    designer.save()
    fields = {**fields_of(edition), "numbers-0-formula": "2 * round(bust)"}

    answer = signed_in(designer).post(page_of(edition), fields)

    (problem,) = answer.context["check"].problems
    assert (problem.where, problem.sentence[:14]) == ("Formel von Back, cast on", "Bei Zeichen 5:")
    assert "2 * <mark>round</mark>(bust)" in answer.content.decode()
    assert '<th scope="col">Formel</th>' in answer.content.decode()


def test_a_file_has_the_same_heads_in_every_language(
    signed_in: SignIn, edition: Edition, designer: User, german: Callable[[dict[str, str]], None]
) -> None:
    client = signed_in(designer)
    english = client.get(f"{page_of(edition, 'values')}csv/").content
    german({"Key": "Schlüssel", "Name": "Bezeichnung", "Unit": "Einheit", "Printed": "Gedruckt"})
    designer.language = "de"
    designer.save()

    spoken = client.get(f"{page_of(edition, 'values')}csv/").content
    answer = client.post(page_of(edition, "values"), {"file": SimpleUploadedFile("v.csv", spoken)})

    assert spoken == english
    assert answer.context["same"]
