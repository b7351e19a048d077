"""The pages of the call: on a phone, without an account, and the designer's behind them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from testround.outbox.models import Mail
from testround.people.models import User
from testround.rounds import throttle
from testround.rounds.models import Candidate, OfferLink, Round
from testround.rounds.services import call as services
from testround.rounds.services import round_move

from .calls import WREN, confirmed, filled, in_days, letters_to, offer, secret_mailed, written

SignIn = Callable[[User], Client]


@pytest.fixture(autouse=True)
def nobody_has_been_counted() -> None:
    cache.clear()


@pytest.fixture
def page(called: Round) -> str:
    return reverse("rounds:call", args=[called.call_code])


def plan_of(round: Round) -> str:
    return reverse("rounds:call_plan", args=[round.code])


def link_of(secret: str, name: str = "offer") -> str:
    return reverse(f"rounds:{name}", args=[secret])


def errors_of(response: Any) -> dict[str, list[str]]:
    return {field: list(errors) for field, errors in response.context["form"].errors.items()}


def words(response: Any) -> str:
    return " ".join(
        response.content.decode().replace("\N{NO-BREAK SPACE}", " ").replace("&nbsp;", " ").split()
    )


# -- what stands on the page -------------------------------------------------------------------------------


def test_the_page_says_all_before_anything_is_given(client: Client, called: Round, page: str) -> None:
    body = words(client.get(page))

    form = body.index('name="name"')
    first = body[: body.index('href="#offer"')]
    for said in (
        "XS, S and M",
        "supplied, or your own",
        f"{called.swatches_due:%Y-%m-%d}",
        f"{called.closes:%Y-%m-%d}",
    ):
        assert said in first, said
    for said in (
        "Testers wanted: Little top",
        "Designer looks for people who knit this",
        "22 st and 30 rows over 10 cm, 4 mm",
        '<th scope="row">Full bust</th><td>76</td><td>86</td><td>96</td>',
        # 2 × 92, 104 and 114 stitches at 2.2 to the centimetre.
        '<th scope="row">Chest circumference</th><td>83.6</td><td>94.5</td><td>103.6</td>',
        "Wool, supplied",
        "weight 4 Medium, wool, 200 m to 100 g",
        "Make one piece, and send a swatch by 25 January.",
        "The pattern.",
        "Show nothing before publication.",
        "<strong>Your measurements:</strong> Designer sees them",
        "<strong>Your email address:</strong> Designer alone",
        f'What is left of it is deleted on <time datetime="{called.purge_on:%Y-%m-%d}">',
    ):
        assert -1 < body.find(said) < form, said


def test_beside_each_measurement_stands_how_it_is_taken(client: Client, page: str) -> None:
    body = words(client.get(page))

    assert "Around the fullest part, under the arms, with the tape level and snug but not tight" in body


def test_the_page_speaks_in_the_readers_unit(client: Client, called: Round, page: str) -> None:
    called.edition.sheet = {**called.edition.sheet, "yarn": {"XS": 900, "S": 1000, "M": 1100}}
    called.edition.save()
    client.post(reverse("people:preferences"), {"units": "in", "tools": "us", "terms": "us"})

    body = words(client.get(page))

    assert '<th scope="row">Full bust</th><td>29 7/8</td><td>33 7/8</td><td>37 3/4</td>' in body
    # 1000 m / 0.9144 = 1093.6 yards.
    assert "<strong>S</strong> 1000 m (1094 yd)" in body
    assert 'value="in" required id="id_units_1" checked' in body


def test_the_page_is_for_whoever_has_its_address_and_for_no_search(client: Client, page: str) -> None:
    assert client.get(page)["X-Robots-Tag"] == "noindex"


def test_a_childs_garment_is_offered_by_the_adult(
    client: Client, called: Round, designer: User, page: str
) -> None:
    written(called, designer, for_child=True)

    body = words(client.get(page))

    assert "You offer as the adult: give your own name and address, and the child's measurements." in body
    assert "<legend>The child's measurements</legend>" in body
    assert "<strong>The child's measurements:</strong> Designer sees them" in body


def test_only_the_uses_of_photos_that_the_designer_asks_for_are_asked(
    client: Client, called: Round, designer: User, page: str
) -> None:
    assert [value for value, _ in client.get(page).context["form"].fields["photo_uses"].choices] == [
        "pattern",
        "online",
    ]

    written(called, designer, photo_uses=[])

    assert "photo_uses" not in client.get(page).context["form"].fields


def test_no_use_of_photos_is_chosen_beforehand(client: Client, page: str) -> None:
    body = client.get(page).content.decode()

    boxes = [part.partition(">")[0] for part in body.split("<input") if 'name="photo_uses"' in part]
    assert len(boxes) == 2
    assert not any("checked" in box for box in boxes)


def test_without_supplied_yarns_everybody_brings_their_own(client: Client, called: Round, page: str) -> None:
    called.yarns.all().delete()

    assert "<p>Bring your own.</p>" in words(client.get(page))
    client.post(page, filled(yarns=None))

    assert called.candidates.get().own_yarn is True


def test_crochet_asks_in_which_terms(client: Client, called: Round, page: str) -> None:
    assert "terms" not in client.get(page).context["form"].fields
    called.edition.sheet = {**called.edition.sheet, "craft": "crochet"}
    called.edition.save()

    assert "terms" in client.get(page).context["form"].fields
    client.post(page, filled(terms="uk"))

    assert called.candidates.get().terms == "uk"


def test_before_the_call_opens_the_page_is_there_for_its_designer_alone(
    signed_in: SignIn, opened: Round, designer: User, other_designer: User
) -> None:
    page = reverse("rounds:call", args=[written(opened, designer, call_closes=None).call_code])

    assert Client().get(page).status_code == 404
    assert signed_in(other_designer).get(page).status_code == 404
    hers = signed_in(designer).get(page)
    assert hers.status_code == 200
    assert "Only you see this yet" in words(hers)
    assert signed_in(designer).post(page, filled()).status_code == 404
    assert Client().get(reverse("rounds:call_sent", args=[opened.call_code or "x"])).status_code == 404


def test_an_address_that_was_never_given_is_no_page(client: Client, called: Round) -> None:
    assert client.get(reverse("rounds:call", args=["made-up"])).status_code == 404
    # The code of the designer's own pages is not the one that is shared.
    assert client.get(reverse("rounds:call", args=[called.code])).status_code == 404


def test_a_call_that_has_ended_says_so(client: Client, called: Round, designer: User, page: str) -> None:
    round_move(round=called, state="making", by=designer)

    for response in (client.get(page), client.post(page, filled())):
        assert response.status_code == 410
        assert "This call has ended" in words(response)
    assert called.candidates.count() == 0


@pytest.mark.parametrize(("why", "said"), [("full", "The call is full"), ("late", "The call has closed")])
def test_a_full_or_late_call_has_a_waiting_list(
    client: Client, called: Round, designer: User, page: str, why: str, said: str
) -> None:
    if why == "full":
        written(called, designer, offers_wanted=1)
        confirmed(called, "alder@example.org", replace(WREN, name="Alder"))
    else:
        services.call_close(round=called, by=designer)

    body = words(client.get(page))
    client.post(page, filled())
    client.post(link_of(secret_mailed("wren@example.org"), "offer_confirm"))

    assert said in body
    assert "Onto the waiting list</button>" in body
    assert called.candidates.get(name="Wren").state == Candidate.State.WAITING


# -- offering ----------------------------------------------------------------------------------------------


def test_somebody_without_an_account_offers_confirms_changes_and_takes_it_back(
    client: Client, called: Round, page: str
) -> None:
    sent = client.post(page, filled(), follow=True)
    assert sent.redirect_chain == [(reverse("rounds:call_sent", args=[called.call_code]), 302)]
    assert "A mail is on its way to wren@example.org." in words(sent)

    secret = secret_mailed("wren@example.org")
    asked = client.get(link_of(secret))
    assert "It counts once you confirm it." in words(asked)
    assert called.candidates.get().state == "offered"

    counts = client.post(link_of(secret, "offer_confirm"), follow=True)
    assert "Your offer counts." in words(counts)
    assert called.candidates.get().state == "confirmed"

    own = counts.redirect_chain[-1][0]
    client.post(own, filled(wish_1="XS", wish_2="", email=None, adult=None))
    assert called.candidates.get().wishes == ["XS"]

    gone = client.post(link_of(own.rstrip("/").rsplit("/", 1)[-1], "offer_withdraw"))
    assert "Your offer is taken back" in words(gone)
    assert called.candidates.get().measures == {}
    assert User.objects.count() == 1  # the designer


def test_looking_at_the_link_confirms_nothing(client: Client, called: Round) -> None:
    # Mail programs follow links to see what is behind them.
    secret = offer(called, "wren@example.org")

    client.get(link_of(secret))
    client.get(link_of(secret, "offer_confirm"))

    assert called.candidates.get().state == "offered"


def test_inches_are_read_as_inches_and_shown_back_as_they_were_typed(
    client: Client, called: Round, page: str
) -> None:
    client.post(page, filled(units="in", measure_bust="36 1/4"))

    candidate = called.candidates.get()
    assert candidate.measures == {"bust": 92.075}
    assert candidate.typed == {"bust": "36 1/4 in"}
    form = client.get(link_of(secret_mailed("wren@example.org"))).context["form"]
    assert (form["measure_bust"].value(), form["units"].value()) == ("36 1/4 in", "in")


def test_what_was_offered_is_looked_over_in_the_unit_it_was_measured_in(
    client: Client, called: Round, page: str
) -> None:
    client.post(page, filled(units="in", measure_bust="36 1/4", photo_uses=["pattern"]))

    said = words(client.get(link_of(secret_mailed("wren@example.org"))))
    assert "<dt>Full bust</dt><dd>36 1/4 in</dd>" in said
    assert "<dt>Photos may be shown</dt><dd>in the published pattern</dd>" in said


def test_a_size_of_which_the_plan_takes_none_is_not_offered_as_a_wish(
    client: Client, called: Round, page: str
) -> None:
    called.places_plan = {"most": {"XS": 0}}
    called.save()

    answer = client.get(page)
    refused = client.post(page, filled(wish_1="XS"))

    assert "Testers are looked for in S and M." in words(answer)
    assert [value for value, _ in answer.context["form"].fields["wish_1"].choices] == ["", "S", "M"]
    assert errors_of(refused) == {"wish_1": ["No tester is looked for in XS: choose one of S, M."]}


def test_what_was_typed_in_inches_stays_so_when_centimetres_are_chosen_later(
    client: Client, called: Round, page: str
) -> None:
    client.post(page, filled(units="in", measure_bust="36 1/4"))

    client.post(
        link_of(secret_mailed("wren@example.org")),
        filled(units="cm", measure_bust="36 1/4 in", email=None, adult=None),
    )

    assert called.candidates.get().measures == {"bust": 92.075}


@pytest.mark.parametrize(
    ("changed", "field", "sentence"),
    [
        ({"name": ""}, "name", "Write a name to call you by; a first name will do."),
        ({"email": ""}, "email", "Write your email address: the offer is confirmed by a mail to it."),
        ({"email": "wren@"}, "email", "This is no email address: write it as in name@example.org."),
        (
            {"adult": None},
            "adult",
            "Only adults offer: for a minor's garment, a parent or another adult does.",
        ),
        ({"wish_1": "9XL"}, "wish_1", "No tester is looked for in 9XL: choose one of XS, S, M."),
        ({"wish_2": "S"}, "wish_2", "You wished for S twice: choose another size, or none."),
        (
            {"measure_bust": "", "wish_1": "", "wish_2": ""},
            "wish_1",
            "Give a measurement, or wish for a size: otherwise no size can be found for you.",
        ),
        (
            {"yarns": None},
            "yarns",
            "Choose the yarns you would work in, or say that you bring your own.",
        ),
        ({"yarns": ["silk"]}, "yarns", "This round does not supply that yarn: choose among these."),
        ({"tests_before": "many"}, "tests_before", "Write a whole number, as in 3, or leave it empty."),
        ({"tests_before": "-1"}, "tests_before", "Write a whole number, as in 3, or leave it empty."),
        ({"photo_uses": ["face"]}, "photo_uses", "The designer does not ask for that: choose among these."),
        ({"units": "ell"}, "units", "Choose centimetres or inches."),
    ],
)
def test_what_cannot_be_meant_is_said_beside_it_and_kept(
    client: Client, called: Round, page: str, changed: dict[str, Any], field: str, sentence: str
) -> None:
    response = client.post(page, filled(**changed))

    assert (response.status_code, errors_of(response)) == (422, {field: [sentence]})
    for name, value in filled(**changed).items():
        if name not in ("key", "website", "adult"):
            assert response.context["form"][name].value() == value
    assert response.context["form"]["adult"].value() is ("adult" in filled(**changed))
    assert (called.candidates.count(), Mail.objects.count()) == (0, 0)


def test_a_measurement_that_hardly_anybody_has_is_asked_about_once(
    client: Client, called: Round, page: str
) -> None:
    asked = client.post(page, filled(measure_bust="36"))

    (sentence,) = errors_of(asked)["measure_bust"]
    assert "Are these inches" in sentence
    assert 'name="keep"' in asked.content.decode()
    client.post(page, filled(measure_bust="36", keep="on"))
    assert called.candidates.get().measures == {"bust": 36.0}


def test_a_press_repeated_is_one_offer_and_the_same_answer(client: Client, called: Round, page: str) -> None:
    sent = filled()

    first, second = client.post(page, sent), client.post(page, sent)

    assert (first.status_code, first["Location"]) == (second.status_code, second["Location"])
    assert called.candidates.count() == 1
    assert len(letters_to("wren@example.org")) == 1


def test_who_has_offered_already_cannot_be_told_from_the_answer(
    client: Client, called: Round, page: str
) -> None:
    confirmed(called, "wren@example.org")

    known = Client().post(page, filled(), follow=True)
    unknown = Client().post(page, filled(email="alder@example.org"), follow=True)

    assert known.redirect_chain == unknown.redirect_chain
    assert words(known).replace("wren@", "alder@") == words(unknown)


def test_a_program_that_fills_in_every_field_is_thanked_and_forgotten(
    client: Client, called: Round, page: str
) -> None:
    trapped = client.post(page, filled(website="https://spam.example/", name=""), follow=True)

    assert trapped.redirect_chain == [(reverse("rounds:call_sent", args=[called.call_code]), 302)]
    assert "A mail is on its way" in words(trapped)
    assert (called.candidates.count(), Mail.objects.count()) == (0, 0)


def test_too_many_offers_from_one_network_wait_and_are_kept(
    client: Client, called: Round, page: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(throttle, "OFFERS_FROM_A_NETWORK", 2)
    answers = [client.post(page, filled(email=f"wren{i}@example.org")) for i in range(3)]

    assert [answer.status_code for answer in answers] == [302, 302, 429]
    assert errors_of(answers[2])["__all__"] == [
        "Too many offers came from here within an hour. Wait a little and press again; your answers are kept."
    ]
    assert answers[2].context["form"]["measure_bust"].value() == "92.5"
    elsewhere = client.post(page, filled(email="alder@example.org"), REMOTE_ADDR="192.0.2.7")
    assert elsewhere.status_code == 302
    assert called.candidates.count() == 3


def test_too_many_offers_to_one_round_wait(
    client: Client, called: Round, page: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(throttle, "OFFERS_TO_A_ROUND", 1)

    answers = [
        client.post(page, filled(email=f"wren{i}@example.org"), REMOTE_ADDR=f"192.0.2.{i}").status_code
        for i in range(2)
    ]

    assert answers == [302, 429]


def test_what_is_wrong_is_not_counted_as_an_offer(
    client: Client, page: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(throttle, "OFFERS_FROM_A_NETWORK", 1)

    answers = [client.post(page, filled(name="")).status_code for _ in range(3)]

    assert [*answers, client.post(page, filled()).status_code] == [422, 422, 422, 302]


# -- the link in the mail ----------------------------------------------------------------------------------


def test_the_address_of_an_offer_is_told_to_nobody(client: Client, called: Round) -> None:
    response = client.get(link_of(offer(called, "wren@example.org")))

    assert response["Referrer-Policy"] == "strict-origin"
    assert "no-store" in response["Cache-Control"]
    assert response["X-Robots-Tag"] == "noindex"


def test_a_second_press_of_confirm_finds_it_confirmed(client: Client, called: Round) -> None:
    confirm = link_of(offer(called, "wren@example.org"), "offer_confirm")
    client.post(confirm)

    again = client.post(confirm, follow=True)

    assert again.status_code == 200
    assert "Your offer is confirmed" in words(again)
    assert len(letters_to("wren@example.org")) == 2


def test_a_link_that_has_run_out_or_is_made_up_says_what_to_do(client: Client, called: Round) -> None:
    secret = offer(called, "wren@example.org")
    OfferLink.objects.update(expires=called.created)

    late, made_up = client.get(link_of(secret)), client.get(link_of("made-up"))

    assert (late.status_code, made_up.status_code) == (410, 404)
    assert "so the offer was never confirmed. While the call is open you can make it again." in words(late)
    assert "No offer belongs to this link." in words(made_up)
    assert client.post(link_of(secret, "offer_confirm")).status_code == 410
    assert client.post(link_of("made-up", "offer_confirm")).status_code == 404
    assert client.post(link_of("made-up", "offer_withdraw")).status_code == 404


@pytest.mark.parametrize("state", ["confirmed", "waiting"])
def test_who_was_told_that_there_is_no_place_reads_the_same_on_the_page(
    client: Client, called: Round, state: str
) -> None:
    candidate, secret = confirmed(called, "wren@example.org")
    called.candidates.filter(pk=candidate.pk).update(state=state, thanked_at=timezone.now())

    said = words(client.get(link_of(secret)))

    assert "There is no place for you this time. Your offer stays, and Designer may still ask you." in said


def test_a_withdrawn_offer_has_no_page_any_more(client: Client, called: Round) -> None:
    _, secret = confirmed(called, "wren@example.org")
    client.post(link_of(secret, "offer_withdraw"))

    answer = client.get(link_of(secret))

    assert answer.status_code == 410
    assert "This offer was taken back." in words(answer)
    assert "92.5" not in words(answer)


def test_a_wrong_change_is_said_and_changes_nothing(client: Client, called: Round) -> None:
    _, secret = confirmed(called, "wren@example.org")

    answer = client.post(link_of(secret), filled(wish_1="9XL", email=None, adult=None))

    assert answer.status_code == 422
    assert errors_of(answer) == {"wish_1": ["No tester is looked for in 9XL: choose one of XS, S, M."]}
    assert called.candidates.get().wishes == ["S", "M"]


# -- the designer's page -----------------------------------------------------------------------------------


def test_the_designer_writes_opens_closes_and_shares_a_call(
    signed_in: SignIn, opened: Round, designer: User
) -> None:
    client = signed_in(designer)
    fresh = client.get(plan_of(opened))
    assert fresh.context["form"]["asked"].value().startswith("Make one piece in the size we agree on")
    assert fresh.context["address"] == ""

    client.post(plan_of(opened), {"asked": "Make one.", "photo_uses": ["pattern"], "terms": "None."})
    opened.refresh_from_db()
    client.post(reverse("rounds:call_open", args=[opened.code]))
    answer = client.get(plan_of(opened))

    opened.refresh_from_db()
    assert (opened.asked, opened.terms, opened.photo_uses, opened.state) == (
        "Make one.",
        "None.",
        ["pattern"],
        "gathering",
    )
    assert answer.context["address"].endswith(f"/rounds/call/{opened.call_code}/")
    assert f'value="{answer.context["address"]}"' in answer.content.decode()
    client.post(reverse("rounds:call_close", args=[opened.code]))
    assert "The call is closed: who offers now waits." in words(client.get(plan_of(opened)))


def test_a_call_refused_is_kept_as_typed(signed_in: SignIn, called: Round, designer: User) -> None:
    answer = signed_in(designer).post(
        plan_of(called),
        {"asked": "", "given": "Thanks.", "call_opens": in_days(9), "offers_wanted": "none"},
    )

    assert answer.status_code == 422
    assert errors_of(answer) == {
        "asked": ["Say what is asked of testers, and by when: nobody can offer before."],
        "offers_wanted": ["Write a whole number from 1 to 5000, or leave it empty."],
    }
    assert answer.context["form"]["given"].value() == "Thanks."


def test_what_a_press_cannot_do_is_said(signed_in: SignIn, opened: Round, designer: User) -> None:
    answer = signed_in(designer).post(reverse("rounds:call_open", args=[opened.code]), follow=True)

    assert "Write the call first: what is asked, and by when." in words(answer)


def test_a_call_closed_because_the_round_went_on_says_how_it_takes_offers_again(
    signed_in: SignIn, called: Round, designer: User
) -> None:
    Round.objects.filter(pk=called.pk).update(state="swatching")
    page = signed_in(designer)

    answer = page.get(plan_of(called))
    page.post(reverse("rounds:move", args=[called.code]), {"state": "gathering"})

    assert (
        f'<a href="{reverse("rounds:move", args=[called.code])}">move it back to gathering</a>' in answer.text
    )
    assert "The call is open." in page.get(plan_of(called)).text


def test_the_designer_sees_how_many_count_wait_and_are_not_confirmed(
    signed_in: SignIn, called: Round, designer: User
) -> None:
    written(called, designer, offers_wanted=1)
    for name in ("Wren", "Alder"):
        confirmed(called, f"{name}@example.org", replace(WREN, name=name))
    offer(called, "hazel@example.org")

    counts = signed_in(designer).get(plan_of(called)).context["counts"]

    assert (counts.confirmed, counts.waiting, counts.unconfirmed, counts.wanted) == (1, 1, 1, 1)


# -- how much a page asks of the database ------------------------------------------------------------------


@pytest.mark.parametrize("people", [1, 6])
def test_the_pages_cost_the_same_for_one_who_offered_or_six(
    signed_in: SignIn,
    called: Round,
    designer: User,
    page: str,
    people: int,
    django_assert_num_queries: Callable[..., Any],
) -> None:
    for i in range(people):
        _, secret = confirmed(called, f"wren{i}@example.org", replace(WREN, name=f"Wren {i}"))

    with django_assert_num_queries(4):  # the round, counts, yarns, pictures
        Client().get(page)
    with django_assert_num_queries(4):  # the link with its round, counts, yarns, pictures
        Client().get(link_of(secret))
    client = signed_in(designer)
    with django_assert_num_queries(4):  # session, person, round, counts
        client.get(plan_of(called))


def test_without_a_call_the_plan_says_when_it_is_too_late_for_one(
    client: Client, opened: Round, designer: User
) -> None:
    client.force_login(designer)
    in_time = words(client.get(plan_of(opened)))
    Round.objects.filter(pk=opened.pk).update(state="making")

    too_late = words(client.get(plan_of(opened)))

    assert "Write the call, and it gets a page to share." in in_time
    assert "Write the call" not in too_late
    assert "The round is past looking for testers: nobody can offer any more" in too_late
    assert 'name="asked"' in in_time
    assert 'name="asked"' not in too_late
