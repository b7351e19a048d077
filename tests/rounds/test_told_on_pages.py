"""What pages of a round tell before anything is pressed: who is where and late, and what a move or a taking back does."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django.utils.html import strip_tags

from testround.outbox.mailbox import mails
from testround.outbox.models import Mail
from testround.patterns.models import Edition
from testround.people.models import User
from testround.rounds import services
from testround.rounds.models import Place, Round

from .offers import candidate

SignIn = Callable[[User], Client]


def words(response: Any) -> str:
    """What the page itself says, on one line."""
    return " ".join(strip_tags(response.text.split("<main")[1]).split())


def seat(round: Round, name: str, state: str, **values: Any) -> Place:
    return Place.objects.create(round=round, key=name.lower(), name=name, size="S", state=state, **values)


@pytest.fixture
def going(opened: Round) -> Round:
    """A round whose swatches were due two days ago: one place late, one making that asked for longer, one measured."""
    today = timezone.localdate()
    Round.objects.filter(pk=opened.pk).update(
        state="swatching",
        opens=today - dt.timedelta(days=20),
        swatches_due=today - dt.timedelta(days=2),
        closes=today + dt.timedelta(days=30),
    )
    opened.refresh_from_db()
    seat(opened, "Amber", "measured")
    seat(opened, "Elder", "making", likely_from=today + dt.timedelta(days=40))
    seat(opened, "Kelp", "taken")
    return opened


def test_the_list_of_places_begins_with_the_longest_way_and_says_what_is_next(
    signed_in: SignIn, designer: User, going: Round
) -> None:
    said = words(signed_in(designer).get(reverse("rounds:places", args=[going.code])))

    swatch, closes = (f"{day.day} {day:%b}" for day in (going.swatches_due, going.closes) if day)
    assert "3 places: taken 1, making 1, measured 1" in said
    assert re.findall(r"(?:Kelp|Elder|Amber) S [a-z]+ (?:.*?)their own", said) == [
        f"Kelp S taken swatch was due {swatch} their own",
        f"Elder S making measurements by {closes} their own",
        "Amber S measured their own",
    ]


def test_the_list_of_rounds_says_how_many_are_late_and_likely_will_be(
    signed_in: SignIn, designer: User, going: Round
) -> None:
    client, address = signed_in(designer), reverse("rounds:list")

    before = words(client.get(address))
    going.places.filter(name="Elder").update(measures_until=timezone.localdate() + dt.timedelta(days=60))
    asked_for_longer = words(client.get(address))
    going.places.filter(name="Kelp").update(state="swatch sent")
    sent = words(client.get(address))
    # Past its close, a round waits for the measurements of whoever did not ask for longer.
    Round.objects.filter(pk=going.pk).update(closes=timezone.localdate() - dt.timedelta(days=1))
    past_its_close = words(client.get(address))

    assert "1 late, 1 more likely late." in before
    assert ("1 late." in asked_for_longer, "likely late" in asked_for_longer) == (True, False)
    assert "Nobody is late." in sent
    assert "1 late." in past_its_close


def test_a_move_says_who_is_not_measured_and_who_is_told(
    signed_in: SignIn, designer: User, going: Round
) -> None:
    candidate(going, "fir", 86, email="fir@example.org")
    candidate(going, "ash", 90, email="")  # of a round file: there is no address to tell

    page = signed_in(designer).get(reverse("rounds:move", args=[going.code]))

    said = words(page)
    assert "2 of 3 places are not measured yet: Elder, Kelp." in said
    assert "Past gathering, 1 person who offered and has no place is told so by mail." in said
    assert "closed: reminders stop, and nobody can be added or invited any more." in said
    assert [key for key, _words in page.context["form"].fields["state"].widget.choices] == [
        "making",
        "measuring",
        "closed",
        "gathering",
    ]


def test_a_tester_whose_place_is_taken_back_is_told_why_by_mail(
    signed_in: SignIn,
    designer: User,
    place: Place,
    settings: Any,
    django_capture_on_commit_callbacks: Callable[..., Any],
) -> None:
    settings.EMAIL_BACKEND = "testround.outbox.mailbox.FolderBackend"
    page = reverse("rounds:place_give_back", args=[place.round.code, place.pk])
    client = signed_in(designer)

    shown = words(client.get(page))
    with django_capture_on_commit_callbacks(execute=True):
        client.post(page, {"cause": "the swatch never came"})
        client.post(page, {"cause": "the swatch never came"})

    assert "Take Tester one’s place back? Tester one is told by mail." in shown
    assert [(mail.to, mail.subject) for mail in mails()] == [
        ("tester@example.org", "Your place in Little top was taken back")
    ]
    assert "Why: the swatch never came" in mails()[0].text


def test_a_second_round_of_a_pattern_is_not_called_the_first(
    signed_in: SignIn, designer: User, edition: Edition
) -> None:
    client, page = signed_in(designer), reverse("rounds:new", args=[edition.pk])

    titles = []
    for number in range(4):
        titles.append(client.get(page).context["form"]["title"].value())
        services.round_open(edition=edition, title=f"Round {number}", by=designer)

    assert titles == ["First test", "Second test", "Third test", "Test 4"]


def test_the_diary_names_nobody_twice_in_a_line(
    signed_in: SignIn, designer: User, tester: User, place: Place
) -> None:
    place.round.diary.all().delete()
    for text, by in (
        (f"{place.name} asked a question.", tester),
        (f"{tester} took the place.", tester),
        (f"{place.name} was moved to M.", designer),
        ("It rained.", None),
    ):
        services.diary_write(round=place.round, place=place, text=text, by=by)

    said = words(signed_in(designer).get(reverse("rounds:diary", args=[place.round.code])))

    assert f"{place.name} asked a question. " in said
    assert said.count(f"By {tester}") == 0
    assert f"{place.name} was moved to M. By {designer}" in said
    assert "It rained. By the program" in said


def test_the_page_of_mails_counts_what_left_and_what_still_goes(
    signed_in: SignIn, designer: User, opened: Round
) -> None:
    client, address = signed_in(designer), reverse("rounds:mails", args=[opened.code])

    nothing = words(client.get(address))
    for state, about in (
        ("sent", opened.code),
        ("sent", opened.code),
        ("waiting", opened.code),
        ("sent", "other"),
    ):
        Mail.objects.create(to="tester@example.org", subject="A place", about=about, state=state)
    some = words(client.get(address))

    assert "No mail of this round was sent in the last 90 days." in nothing
    assert "As far as is known, yes: none failed. The mail server took 2 mails of this round" in some
    assert "1 is still to go out." in some


def test_an_invited_place_says_until_when_and_its_address_is_not_asked_again(
    signed_in: SignIn, designer: User, offered: Place
) -> None:
    client = signed_in(designer)
    page = reverse("rounds:place_edit", args=[offered.round.code, offered.pk])
    uninvited = words(client.get(page))
    services.invitation_create(place=offered, email="willow@example.org", by=designer)

    invite = client.get(reverse("rounds:invite", args=[offered.round.code, offered.pk]))

    assert "Invited until" not in uninvited
    assert "Invited until" in words(client.get(page))
    assert invite.context["form"]["email"].value() == "willow@example.org"


def test_pages_of_ones_own_place_lie_in_my_places(signed_in: SignIn, tester: User, place: Place) -> None:
    client = signed_in(tester)

    for name in ("give_back", "until"):
        page = client.get(reverse(f"rounds:{name}", args=[place.pk])).text

        assert re.findall(r'<a href="([^"]+)" aria-current="true">', page) == [reverse("reports:places")]
