"""How a tester wishes to be thanked: by a name they type, or not at all."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from testround.people.held import held_of, person_erase
from testround.people.models import User
from testround.reports.digest import round_digest
from testround.reports.exchange import round_export
from testround.rounds.models import Consent, Place, Round
from testround.rounds.refusals import Refused
from testround.rounds.services.credits import credit_choose, name_to_thank_by
from testround.rounds.services.privacy import consents_set

Address = Callable[..., str]


def standing(place: Place) -> set[str]:
    return set(place.consents.filter(withdrawn_at=None).values_list("kind", flat=True))


def choose(place: Place, name: str = "", *, in_report: bool = False) -> Place:
    credit_choose(place=place, thanked_as=name, in_report=in_report, by=place.tester)
    place.refresh_from_db()
    return place


def test_nobody_is_named_unless_they_said_so(as_tester: Client, place: Place, address: Address) -> None:
    page = as_tester.get(address("credit"))

    assert (place.thanked_as, standing(place)) == ("", set())
    assert "checked" not in page.text
    assert 'name="thanked_as" value' not in page.text


def test_who_will_see_the_name_is_said_before_it_is_given(
    as_tester: Client, place: Place, address: Address
) -> None:
    page = as_tester.get(address("credit")).text

    said = page.index("Anybody sees this name")
    assert said < page.index('name="thanked_as"')
    assert reverse("errata:list", args=[place.round.edition.pattern.code]) in page
    assert page.index("which they may hand to a technical editor") < page.index('name="in_report"')


def test_a_name_is_typed_changed_and_taken_back(as_tester: Client, place: Place, address: Address) -> None:
    chosen = []
    for name in ("  Kelp   of the Shore ", "Kelp", ""):
        as_tester.post(address("credit"), {"thanked_as": name})
        place.refresh_from_db()
        chosen.append((place.thanked_as, standing(place)))

    assert chosen == [("Kelp of the Shore", {"thanks"}), ("Kelp", {"thanks"}), ("", set())]
    # The consent was given once and taken back once; the name itself is on record nowhere.
    consent = place.consents.get(kind=Consent.Kind.THANKS)
    assert consent.withdrawn_at is not None
    said = [entry.text for entry in place.diary.all()][:3]
    assert said == [
        f"{place.name} no longer allows: thanks in public, by the name they gave for it.",
        f"{place.name} is to be thanked by another name than before.",
        f"{place.name} allows: thanks in public, by the name they gave for it.",
    ]


def test_the_report_is_a_choice_of_its_own(as_tester: Client, place: Place, address: Address) -> None:
    as_tester.post(address("credit"), {"thanked_as": "", "in_report": "on"})
    place.refresh_from_db()

    assert (place.thanked_as, standing(place)) == ("", {"report"})
    assert "checked" in as_tester.get(address("credit")).text


def test_what_is_allowed_of_photos_leaves_the_thanks_alone_and_the_other_way_round(
    as_tester: Client, place: Place, address: Address
) -> None:
    choose(place, "Kelp", in_report=True)
    consents_set(place=place, kinds={"standing"}, by=place.tester)
    assert standing(place) == {"thanks", "report", "standing"}

    as_tester.post(address("consents"), {})
    assert standing(place) == {"thanks", "report"}
    assert 'name="thanks"' not in as_tester.get(address("consents")).text

    consents_set(place=place, kinds={"standing", "thanks"}, by=place.tester)
    choose(place)
    assert standing(place) == {"standing"}


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("K" * 61, "A name of at most 60 characters, please: this one has 61. Shorten it."),
        ("Kelp\x00", "Sign 5 of the name cannot be seen, such as a line break. Type the name afresh."),
        ("Kelp\nShore", "Sign 5 of the name cannot be seen, such as a line break. Type the name afresh."),
        ("\u202ekleK", "Sign 1 of the name cannot be seen, such as a line break. Type the name afresh."),
        (
            "Kelp https://kelp.example/shop",
            "“https://kelp.example/shop” looks like the address of a page or of mail, and a name is all that can "
            "stand here. Leave it out; if it is part of the name, put a space after the full stop.",
        ),
        ("www.kelp", "“www.kelp” looks like"),
        ("kelp@example.org", "“kelp@example.org” looks like"),
        ("kelp-yarns.example.com", "“kelp-yarns.example.com” looks like"),
        ("Kelp (kelp.shop/now)", "“kelp.shop/now)” looks like"),
        ("St.John", "“St.John” looks like"),
        ("– …", "A name has at least one letter. Type one, or leave it empty so as not to be named."),
    ],
)
def test_what_is_no_name_is_refused_in_a_sentence_and_kept_as_typed(
    as_tester: Client, place: Place, address: Address, typed: str, sentence: str
) -> None:
    choose(place, "Kelp")

    page = as_tester.post(address("credit"), {"thanked_as": typed, "in_report": "on"})

    place.refresh_from_db()
    assert page.status_code == 422
    assert sentence in page.context["form"].errors["thanked_as"][0]
    assert page.context["form"]["thanked_as"].value() == typed
    assert (place.thanked_as, standing(place)) == ("Kelp", {"thanks"})


@pytest.mark.parametrize(
    "name",
    [
        "J. R. Kelp",
        "J.R. Kelp",
        "Zoë",
        "Łucja",
        "李",
        "@kelp",
        "Kelp & Elder",
        "O’Kelp-Shore",
        "K" * 60,
        "Kelp 🧶",
    ],
)
def test_names_of_all_kinds_are_taken_as_they_are(name: str) -> None:
    assert name_to_thank_by(name) == name


def test_a_letter_and_its_mark_are_joined() -> None:
    assert name_to_thank_by("Zoe\u0308") == "Zoë"


def test_a_service_refuses_what_a_form_would(place: Place) -> None:
    with pytest.raises(Refused):
        choose(place, "K" * 61)


def test_the_name_is_markup_nowhere(as_tester: Client, place: Place, address: Address) -> None:
    choose(place, "<b>Kelp</b>")

    for page in (as_tester.get(address("credit")), as_tester.get(address("place"))):
        assert "<b>Kelp</b>" not in page.text
        assert "&lt;b&gt;Kelp&lt;/b&gt;" in page.text


def test_it_is_among_what_is_held_and_goes_with_the_person(place: Place, tester: User) -> None:
    choose(place, "Kelp of the Shore", in_report=True)
    (shelf,) = [shelf for shelf in held_of(tester) if shelf.key == "places"]
    assert shelf.rows[0]["thanked_in_public_as"] == "Kelp of the Shore"
    assert "whoever reads the errata" in shelf.seen_by

    person_erase(user=tester)

    place.refresh_from_db()
    assert (place.thanked_as, place.consents.count()) == ("", 0)


def test_it_is_in_no_round_file_and_moves_no_result(place: Place) -> None:
    round_ = Round.objects.select_related("edition").get(pk=place.round_id)
    before = round_digest(round_)

    choose(place, "Kelp of the Shore", in_report=True)

    assert round_digest(round_) == before
    assert b"of the Shore" not in round_export(round_, photos=False)


def test_the_page_costs_the_same_whatever_was_chosen_before(
    as_tester: Client, place: Place, address: Address, django_assert_num_queries
) -> None:
    for name in ("Kelp", "", "Kelp", ""):
        choose(place, name, in_report=bool(name))

    # Session, person, place with its round, pattern and owner, whether the report may name them.
    with django_assert_num_queries(4):
        as_tester.get(address("credit"))
