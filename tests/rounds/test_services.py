from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.utils import timezone

from testround.kernel.round import Yarn
from testround.outbox.mailbox import mails
from testround.patterns.models import Edition, Pattern
from testround.people.models import User
from testround.rounds import services
from testround.rounds.models import DiaryEntry, Invitation, Place, Round, SuppliedYarn
from testround.rounds.refusals import AddressHasAccount, InvitationEnded, Refused, UnknownInvitation

from .conftest import BLUE, secret_of

Diary = Callable[[Round], list[str]]


def sentences(refused: Refused) -> list[tuple[str, str]]:
    return [(problem.path, problem.sentence) for problem in refused.problems]


# -- opening -----------------------------------------------------------------------------------------------


def test_opening_a_round_freezes_the_sheet_and_writes_the_first_entry(
    edition: Edition, opened: Round, diary_of: Diary
) -> None:
    edition.refresh_from_db()

    assert edition.is_frozen
    assert opened.state == "planned"
    assert opened.places_plan == {"least": {"XS": 1, "S": 2}, "most": {"S": 2}}
    assert diary_of(opened) == ["Round opened on edition 1.0; its sheet is now frozen."]
    assert list(opened.yarns.values_list("key", "label", "weight", "makers")) == [
        ("wool_blue", "Wool, supplied", 4, 2)
    ]


def test_another_designer_cannot_open_a_round_on_my_edition(edition: Edition, other_designer: User) -> None:
    with pytest.raises(Refused) as refused:
        services.round_open(edition=edition, by=other_designer, title="Mine now")

    edition.refresh_from_db()
    assert sentences(refused.value) == [
        ("edition", "Only the pattern's owner and its editors can open a round on it.")
    ]
    assert not edition.is_frozen
    assert not Round.objects.exists()


def test_an_edition_whose_sheet_has_a_problem_is_refused_with_every_problem(
    designer: User, little_top: dict[str, Any]
) -> None:
    little_top["numbers"][0]["formula"] = "bust * waist"
    little_top["dimensions"][1]["formula"] = "body_rows"
    pattern = Pattern.objects.create(owner=designer, title="Broken")
    edition = Edition.objects.create(pattern=pattern, label="1.0", sheet=little_top)

    with pytest.raises(Refused) as refused:
        services.round_open(edition=edition, by=designer, title="Too soon")

    edition.refresh_from_db()
    assert [path for path, _ in sentences(refused.value)] == ["edition"] * len(refused.value.problems)
    assert "numbers[0].formula" in str(refused.value)
    assert "dimensions[1].formula" in str(refused.value)
    assert not edition.is_frozen
    assert not Round.objects.exists()


def test_dates_out_of_order_are_refused_beside_their_fields(edition: Edition, designer: User) -> None:
    with pytest.raises(Refused) as refused:
        services.round_open(
            edition=edition,
            by=designer,
            title="Backwards",
            opens=dt.date(2027, 3, 1),
            swatches_due=dt.date(2027, 2, 1),
            closes=dt.date(2027, 1, 1),
        )

    assert sentences(refused.value) == [
        ("swatches_due", "Swatches cannot be due before the round opens: pick a later date."),
        ("closes", "The round cannot close before it opens and its swatches are due: pick a later date."),
    ]


def test_a_plan_for_sizes_that_are_not_there_or_cannot_be_met_is_refused(
    edition: Edition, designer: User
) -> None:
    with pytest.raises(Refused) as refused:
        services.round_open(
            edition=edition,
            by=designer,
            title="Plan",
            places_plan={"least": {"S": 3, "XL": 1}, "most": {"S": 2}},
        )

    assert sentences(refused.value) == [
        ("least", "The pattern has no size XL: it has XS, S, M."),
        ("most", "Size S takes at most 2 but needs at least 3: raise one."),
    ]


# -- moving ------------------------------------------------------------------------------------------------


def test_every_move_of_a_round_is_in_the_diary_with_who_and_why(
    opened: Round, designer: User, diary_of: Diary
) -> None:
    services.round_move(round=opened, state="swatching", by=designer, cause="everybody is found.")

    opened.refresh_from_db()
    entry = opened.diary.first()
    assert opened.state == "swatching"
    assert diary_of(opened)[1:] == ["Round moved from planned to swatching: everybody is found."]
    assert entry is not None
    assert entry.by == designer


def test_a_round_does_not_leap_back(opened: Round, designer: User) -> None:
    services.round_move(round=opened, state="measuring", by=designer)

    with pytest.raises(Refused) as refused:
        services.round_move(round=opened, state="planned", by=designer)

    opened.refresh_from_db()
    assert sentences(refused.value) == [
        ("state", "A round that is measuring cannot become planned: it can go to closed, making.")
    ]
    assert opened.state == "measuring"


def test_moving_a_round_to_where_it_is_leaves_no_entry(
    opened: Round, designer: User, diary_of: Diary
) -> None:
    services.round_move(round=opened, state="planned", by=designer)

    assert len(diary_of(opened)) == 1


@pytest.mark.parametrize(
    ("now", "state", "cause"),
    [
        ("2027-01-10T23:59:00+00:00", "planned", None),
        ("2027-01-11T00:01:00+00:00", "swatching", "it was to open on 11 January 2027"),
        ("2027-01-26T00:01:00+00:00", "making", "swatches were due on 25 January 2027"),
        ("2027-03-08T23:59:00+00:00", "making", "swatches were due on 25 January 2027"),
        ("2027-03-09T00:01:00+00:00", "closed", "it was to close on 8 March 2027"),
    ],
)
def test_dates_move_a_round_on_once_they_have_passed(
    opened: Round, diary_of: Diary, now: str, state: str, cause: str | None
) -> None:
    Place.objects.create(round=opened, key="t01", name="Willow", size="S", state=Place.State.TAKEN)
    moment = dt.datetime.fromisoformat(now)

    services.rounds_follow_dates(now=moment)
    services.rounds_follow_dates(now=moment)

    opened.refresh_from_db()
    assert opened.state == state
    assert diary_of(opened)[1:] == ([f"Round moved from planned to {state}: {cause}."] if cause else [])


def test_a_date_is_the_designers_own_midnight(opened: Round, designer: User) -> None:
    Place.objects.create(round=opened, key="t01", name="Willow", size="S", state=Place.State.TAKEN)
    designer.time_zone = "Pacific/Auckland"  # thirteen hours ahead of UTC in January
    designer.save()

    services.rounds_follow_dates(now=dt.datetime(2027, 1, 10, 11, 30, tzinfo=dt.UTC))

    opened.refresh_from_db()
    assert opened.state == "swatching"


def test_a_round_moved_back_after_its_date_stays_where_the_designer_put_it(
    opened: Round, designer: User
) -> None:
    Place.objects.create(round=opened, key="t01", name="Willow", size="S", state=Place.State.TAKEN)
    after_closing = dt.datetime(2027, 3, 9, 12, tzinfo=dt.UTC)
    services.rounds_follow_dates(now=after_closing)
    services.round_move(round=opened, state="measuring", by=designer, cause="two are nearly there")
    Round.objects.filter(pk=opened.pk).update(moved_at=after_closing)

    services.rounds_follow_dates(now=after_closing + dt.timedelta(days=3))

    opened.refresh_from_db()
    assert opened.state == "measuring"


def test_changing_the_plan_says_what_changed(opened: Round, designer: User, diary_of: Diary) -> None:
    services.round_edit(
        round=opened,
        by=designer,
        title="First test",
        opens=opened.opens,
        swatches_due=dt.date(2027, 2, 1),
        closes=None,
        terms=opened.terms,
        places_plan=opened.places_plan,
    )

    assert diary_of(opened)[1:] == [
        "Plan changed: date swatches are due from 25 January 2027 to 1 February 2027; "
        "closing date from 8 March 2027 to none."
    ]


# -- places ------------------------------------------------------------------------------------------------


def test_a_place_is_offered_in_a_size_and_a_supplied_yarn(offered: Place, diary_of: Diary) -> None:
    assert (offered.key, offered.state, offered.size) == ("t01", "offered", "S")
    assert (offered.yarn_label, offered.yarn_weight, offered.metres_per_ball) == ("Wool, supplied", 4, 200)
    assert diary_of(offered.round)[1:] == ["Place offered: Willow, size S, Wool, supplied."]


def test_places_get_keys_that_nobody_in_the_round_has(opened: Round, designer: User) -> None:
    Place.objects.create(round=opened, key="t02", name="From a file", size="M")

    added = services.places_add(round=opened, names=["Ash", "Oak"], size="XS", by=designer)

    assert [place.key for place in added] == ["t03", "t04"]


def test_several_places_are_added_whole_or_not_at_all(opened: Round, designer: User) -> None:
    with pytest.raises(Refused) as refused:
        services.places_add(round=opened, names=["One", "Two", "Three"], size="S", by=designer)

    assert sentences(refused.value) == [
        (
            "size",
            "Size S takes at most 2 testers in this round and has them: choose another size, or raise the most in "
            "the round's plan.",
        )
    ]
    assert not opened.places.exists()


@pytest.mark.parametrize("size", ["XXL", None, ""])
def test_a_size_that_the_pattern_does_not_have_is_refused(
    opened: Round, designer: User, size: str | None
) -> None:
    with pytest.raises(Refused, match=r"The pattern has no size .*: choose one of XS, S, M."):
        services.place_add(round=opened, name="Ash", size=size, by=designer)


def test_a_supplied_yarn_clothes_no_more_testers_than_it_is_enough_for(opened: Round, designer: User) -> None:
    yarn = opened.yarns.get()
    first = services.place_add(round=opened, name="One", size="XS", yarn=yarn, by=designer)
    services.place_add(round=opened, name="Two", size="XS", yarn=yarn, by=designer)

    with pytest.raises(Refused, match="is enough for 2 testers and they are found"):
        services.place_add(round=opened, name="Three", size="XS", yarn=yarn, by=designer)
    services.place_give_back(place=first, by=designer)

    assert (
        services.place_add(round=opened, name="Three", size="XS", yarn=yarn, by=designer).yarn_label
        == yarn.label
    )


def test_another_rounds_yarn_is_refused(opened: Round, a_round: Round, designer: User) -> None:
    foreign = SuppliedYarn.objects.create(round=a_round, key="other", label="Other")

    with pytest.raises(Refused, match="belongs to another round"):
        services.place_add(round=opened, name="One", size="XS", yarn=foreign, by=designer)


@pytest.mark.parametrize(
    ("measures", "field", "sentence"),
    [
        ({"waist": 70.0}, "measures", "The pattern asks for no measure “waist”: leave it out."),
        (
            {"bust": -3.0},
            "measure_bust",
            "Full bust: -3 cm cannot be meant; give a length above 0 and up to 1000 cm.",
        ),
        (
            {"bust": float("nan")},
            "measure_bust",
            "Full bust: nan cm cannot be meant; give a length above 0 and up to 1000 cm.",
        ),
    ],
)
def test_a_measure_that_cannot_be_is_refused(
    opened: Round, designer: User, measures: dict[str, float], field: str, sentence: str
) -> None:
    with pytest.raises(Refused) as refused:
        services.place_add(round=opened, name="One", size="XS", measures=measures, by=designer)

    assert sentences(refused.value) == [(field, sentence)]


def test_editing_a_place_says_what_changed_but_never_a_body_measurement(
    offered: Place, designer: User, diary_of: Diary
) -> None:
    services.place_edit(
        place=offered,
        name="Willow B",
        size="M",
        measures={"bust": 91.4},
        yarn=Yarn(label="Own wool"),
        by=designer,
    )

    offered.refresh_from_db()
    assert (offered.name, offered.size, offered.measures, offered.yarn_label) == (
        "Willow B",
        "M",
        {"bust": 91.4},
        "Own wool",
    )
    assert diary_of(offered.round)[2:] == [
        "Willow: changed name from “Willow” to “Willow B”; size from “S” to “M”; "
        "yarn from “Wool, supplied” to “Own wool”; body measurements."
    ]


def test_the_size_of_a_piece_that_is_begun_stays(place: Place, designer: User) -> None:
    services.place_move(place=place, state="making", by=designer)

    with pytest.raises(Refused, match="has begun size S: give this place back"):
        services.place_edit(place=place, name=place.name, size="M", measures=None, yarn=None, by=designer)

    place.refresh_from_db()
    assert place.size == "S"


def test_a_place_moves_with_an_entry_and_only_where_it_can(
    place: Place, tester: User, diary_of: Diary
) -> None:
    services.place_move(place=place, state="swatch sent", by=tester, cause="sent a swatch")
    services.place_move(place=place, state="swatch sent", by=tester, cause="sent it twice")

    with pytest.raises(Refused, match="A place that is swatch sent cannot become offered"):
        services.place_move(place=place, state="offered", by=tester)
    assert diary_of(place.round) == ["Tester one moved from taken to swatch sent: sent a swatch."]


def test_nobody_has_taken_a_place_that_nobody_holds(offered: Place, designer: User) -> None:
    with pytest.raises(Refused, match="Nobody holds this place yet"):
        services.place_move(place=offered, state="taken", by=designer)


def test_reaching_a_state_never_moves_a_place_back(place: Place, tester: User, diary_of: Diary) -> None:
    services.place_reach(place=place, state="making", by=tester, cause="sent counts")
    services.place_reach(place=place, state="swatch sent", by=tester, cause="a second swatch")

    place.refresh_from_db()
    assert place.state == "making"
    assert diary_of(place.round) == ["Tester one moved from taken to making: sent counts."]


def test_a_place_given_back_keeps_its_tester_and_ends_its_links(
    offered: Place, designer: User, diary_of: Diary
) -> None:
    _, url = services.invitation_create(place=offered, by=designer)

    services.place_give_back(place=offered, by=designer, cause="moved house")

    offered.refresh_from_db()
    assert offered.state == "given back"
    assert Invitation.objects.get().withdrawn_at is not None
    assert diary_of(offered.round)[-1] == "Willow moved from offered to given back: moved house."
    with pytest.raises(InvitationEnded, match="no longer offered"):
        services.invitation_check(services.invitation_of_secret(secret_of(url)))


# -- invitations -------------------------------------------------------------------------------------------


def test_only_the_hash_of_a_secret_is_kept(offered: Place, designer: User, settings: Any) -> None:
    settings.SITE_URL = "https://rounds.example.org"

    invitation, url = services.invitation_create(place=offered, by=designer)

    secret = secret_of(url)
    assert url == f"https://rounds.example.org/rounds/join/{secret}/"
    assert len(secret) == 43  # 32 bytes
    assert invitation.secret_hash == services.secret_hash(secret)
    rows = [str(row) for model in (Invitation, DiaryEntry, Place) for row in model.objects.values()]
    assert not [row for row in rows if secret in row]
    assert dt.timedelta(days=29, hours=23) < invitation.expires - timezone.now() <= dt.timedelta(days=30)


@pytest.mark.django_db(transaction=True)
def test_an_invitation_with_an_address_is_mailed_after_commit(
    offered: Place, designer: User, settings: Any
) -> None:
    settings.EMAIL_BACKEND = "testround.outbox.mailbox.FolderBackend"
    settings.SITE_URL = "https://rounds.example.org"

    _, url = services.invitation_create(place=offered, email="willow@example.org", by=designer)

    mail = mails()[0]
    assert (mail.to, mail.subject) == ("willow@example.org", "A place for you: testing Little top")
    assert url in mail.text.splitlines()
    for said in ("Size: S", "Yarn: Wool, supplied", "Swatches due: 25 January 2027", "Closes: 8 March 2027"):
        assert said in mail.text


def test_a_new_link_ends_the_old_one(offered: Place, designer: User, tester: User) -> None:
    _, old = services.invitation_create(place=offered, by=designer)
    _, new = services.invitation_create(place=offered, by=designer)

    with pytest.raises(InvitationEnded, match="This link was withdrawn, perhaps for a newer one"):
        services.invitation_accept(secret=secret_of(old), user=tester)

    assert services.invitation_accept(secret=secret_of(new), user=tester).tester == tester


def test_a_taken_place_cannot_be_offered_to_somebody_else(place: Place, designer: User) -> None:
    with pytest.raises(Refused, match="Tester one's place is taken: only an offered place"):
        services.invitation_create(place=place, by=designer)


def test_saying_yes_takes_the_place_and_is_dated(
    offered: Place, designer: User, tester: User, diary_of: Diary
) -> None:
    _, url = services.invitation_create(place=offered, by=designer)

    taken = services.invitation_accept(secret=secret_of(url), user=tester, name="Wil")

    assert (taken.state, taken.tester, taken.name) == ("taken", tester, "Wil")
    assert taken.agreed_at is not None
    assert taken.agreed_terms == "Show nothing before publication."
    assert diary_of(offered.round)[-1] == "Wil moved from offered to taken: said yes to the terms."


def test_terms_reworded_later_leave_what_a_tester_said_yes_to(
    offered: Place, designer: User, tester: User, diary_of: Diary
) -> None:
    _, url = services.invitation_create(place=offered, by=designer)
    services.invitation_accept(secret=secret_of(url), user=tester)
    round = offered.round

    services.round_edit(
        round=round,
        by=designer,
        title=round.title,
        opens=round.opens,
        swatches_due=round.swatches_due,
        closes=round.closes,
        terms="Show everything at once.",
        places_plan=round.places_plan,
    )

    offered.refresh_from_db()
    assert offered.agreed_terms == "Show nothing before publication."
    assert diary_of(round)[-1] == "Plan changed: terms reworded."


def test_the_same_person_saying_yes_again_gets_the_same_place_and_one_entry(
    offered: Place, designer: User, tester: User, diary_of: Diary
) -> None:
    _, url = services.invitation_create(place=offered, by=designer)
    first = services.invitation_accept(secret=secret_of(url), user=tester)

    again = services.invitation_accept(secret=secret_of(url), user=tester)

    assert again == first
    assert len([text for text in diary_of(offered.round) if "to taken" in text]) == 1


def test_a_used_link_gives_nothing_to_anybody_else(
    offered: Place, designer: User, tester: User, stranger: User
) -> None:
    _, url = services.invitation_create(place=offered, by=designer)
    services.invitation_accept(secret=secret_of(url), user=tester)

    with pytest.raises(InvitationEnded, match=r"This link has been used\."):
        services.invitation_accept(secret=secret_of(url), user=stranger)

    offered.refresh_from_db()
    assert offered.tester == tester


def test_a_link_runs_out(offered: Place, designer: User, tester: User) -> None:
    invitation, url = services.invitation_create(place=offered, by=designer)
    Invitation.objects.filter(pk=invitation.pk).update(expires=dt.datetime(2026, 1, 5, tzinfo=dt.UTC))

    with pytest.raises(
        InvitationEnded, match=r"This link ran out on 5 January 2026\. Ask Designer for a new one\."
    ):
        services.invitation_accept(secret=secret_of(url), user=tester)


def test_a_link_nobody_made_is_unknown(db: None, tester: User) -> None:
    with pytest.raises(UnknownInvitation):
        services.invitation_accept(secret="never-made", user=tester)


def test_one_person_holds_one_place_unless_the_designer_allows_more(
    opened: Round, designer: User, tester: User
) -> None:
    one, two = services.places_add(round=opened, names=["One", "Two"], size="S", by=designer)
    services.invitation_accept(
        secret=secret_of(services.invitation_create(place=one, by=designer)[1]), user=tester
    )
    second = secret_of(services.invitation_create(place=two, by=designer)[1])

    with pytest.raises(Refused, match=r"You hold a place in this round already \(size S\)"):
        services.invitation_accept(secret=second, user=tester)
    Round.objects.filter(pk=opened.pk).update(allow_several=True)

    assert services.invitation_accept(secret=second, user=tester) == two


def test_a_designer_who_takes_her_own_place_is_named_so_in_the_diary(
    offered: Place, designer: User, diary_of: Diary
) -> None:
    _, url = services.invitation_create(place=offered, by=designer)

    services.invitation_accept(secret=secret_of(url), user=designer)

    assert diary_of(offered.round)[-1] == (
        "Willow moved from offered to taken, the designer's own: said yes to the terms."
    )


def test_a_newcomer_gets_an_account_and_the_place_together(offered: Place, designer: User) -> None:
    _, url = services.invitation_create(place=offered, by=designer)

    user, place = services.person_join(
        secret=secret_of(url), name="Willow", email="Willow@Example.org", units="in", tools="us", terms="uk"
    )

    assert (user.email, user.name, user.units, user.tools, user.terms) == (
        "willow@example.org",
        "Willow",
        "in",
        "us",
        "uk",
    )
    assert not user.has_usable_password()
    assert (place.tester, place.state) == (user, "taken")


def test_a_link_never_opens_an_account_that_is_there(offered: Place, designer: User, tester: User) -> None:
    _, url = services.invitation_create(place=offered, email=tester.email, by=designer)

    with pytest.raises(AddressHasAccount, match=r"Sign in first, then follow the link again\."):
        services.person_join(
            secret=secret_of(url), name="X", email="TESTER@example.org", units="cm", tools="us", terms="us"
        )

    offered.refresh_from_db()
    assert (offered.state, offered.tester) == ("offered", None)


def test_a_link_that_has_ended_makes_no_account(offered: Place, designer: User) -> None:
    _, url = services.invitation_create(place=offered, by=designer)
    services.invitation_withdraw(place=offered, by=designer)
    people = User.objects.count()

    with pytest.raises(InvitationEnded):
        services.person_join(
            secret=secret_of(url), name="X", email="x@example.org", units="cm", tools="us", terms="us"
        )

    assert User.objects.count() == people


def at_once(*calls: Callable[[], object]) -> list[object]:
    """Run calls in threads of their own, each with its own connection, started together; what each gave or raised."""
    start = threading.Barrier(len(calls))
    results: list[object] = [None] * len(calls)

    def run(index: int, call: Callable[[], object]) -> None:
        try:
            start.wait(timeout=10)
            results[index] = call()
        except Exception as error:
            results[index] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(index, call)) for index, call in enumerate(calls)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    return results


@pytest.mark.usefixtures("shared_by_threads")
def test_of_two_people_who_say_yes_at_once_one_gets_the_place(
    offered: Place, designer: User, tester: User, stranger: User
) -> None:
    secret = secret_of(services.invitation_create(place=offered, by=designer)[1])

    results = at_once(
        lambda: services.invitation_accept(secret=secret, user=tester),
        lambda: services.invitation_accept(secret=secret, user=stranger),
    )

    offered.refresh_from_db()
    places = [result for result in results if isinstance(result, Place)]
    refusals = [result for result in results if isinstance(result, InvitationEnded)]
    assert (len(places), len(refusals)) == (1, 1), results
    assert offered.tester == places[0].tester
    assert DiaryEntry.objects.filter(text__contains="to taken").count() == 1


@pytest.mark.usefixtures("shared_by_threads")
def test_one_person_who_follows_two_links_at_once_gets_one_place(
    opened: Round, designer: User, tester: User
) -> None:
    seats = services.places_add(round=opened, names=["One", "Two"], size="S", by=designer)
    secrets = [secret_of(services.invitation_create(place=seat, by=designer)[1]) for seat in seats]

    results = at_once(
        *(lambda s=secret: services.invitation_accept(secret=s, user=tester) for secret in secrets)
    )

    assert sorted(type(result).__name__ for result in results) == ["Place", "Refused"], results
    assert opened.places.filter(tester=tester).count() == 1


def test_a_supplied_yarn_is_added_changed_and_taken_off_with_entries(
    opened: Round, designer: User, diary_of: Diary
) -> None:
    services.yarn_supply(round=opened, yarn=BLUE.model_copy(update={"makers": 6}), by=designer)
    services.yarn_withdraw(yarn=opened.yarns.get(), by=designer)

    assert not opened.yarns.exists()
    assert diary_of(opened)[1:] == [
        "Supplied yarn changed: Wool, supplied.",
        "Supplied yarn no longer offered: Wool, supplied.",
    ]
