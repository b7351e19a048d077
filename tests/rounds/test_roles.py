"""Owner, editor, onlooker: who may see, change, publish and invite, and how a part comes and goes."""

from __future__ import annotations

import datetime as dt
import re
import threading
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.core import mail
from django.core.exceptions import PermissionDenied
from django.db import connections
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from testround.errata.models import Erratum
from testround.errata.services import erratum_publish
from testround.patterns.access import Right, may, patterns_open_to, require, rights_on
from testround.patterns.models import Edition, Membership
from testround.patterns.services import edition_create_next, pattern_delete
from testround.people.models import User
from testround.rounds.models import Consent, Place, Round
from testround.rounds.refusals import InvitationEnded, Refused
from testround.rounds.selectors import rounds_of
from testround.rounds.selectors.standing import rounds_looked_on, standing_of, standings_open_to
from testround.rounds.services import invitation_create, place_add, round_edit, round_move, round_open
from testround.rounds.services.people import member_invite, membership_accept, membership_end
from testround.rounds.services.privacy import consents_set

Mailed = Callable[..., Any]


@pytest.fixture
def joined(
    edition: Edition, designer: User, stranger: User, django_capture_on_commit_callbacks: Mailed
) -> Callable[..., Membership]:
    """Invite someone to a part in the pattern, and let them follow the link in their mail."""

    def join(role: str, person: User = stranger) -> Membership:
        with django_capture_on_commit_callbacks(execute=True):
            member_invite(
                pattern=edition.pattern, email=person.email, role=role, key=uuid.uuid4(), by=designer
            )
        return membership_accept(secret=secret_in_mail(), user=person)

    return join


def secret_in_mail() -> str:
    (secret,) = re.findall(r"/rounds/people/join/([\w-]+)/", mail.outbox[-1].body)
    return str(secret)


RIGHTS = {
    "owner": {Right.LOOK, Right.SEE, Right.EDIT, Right.PUBLISH, Right.INVITE, Right.OWN},
    "editor": {Right.LOOK, Right.SEE, Right.EDIT},
    "onlooker": {Right.LOOK},
    None: set(),
}


@pytest.mark.parametrize("role", ["editor", "onlooker"])
def test_a_part_gives_its_rights_on_the_pattern_and_all_its_rounds(
    joined: Callable[..., Membership], a_round: Round, stranger: User, role: str
) -> None:
    joined(role)

    assert {right for right in Right if may(stranger, right, a_round.edition.pattern)} == RIGHTS[role]
    assert {right for right in Right if a_round in rounds_of(stranger, right)} == RIGHTS[role]


def test_an_owner_has_every_right_and_who_has_no_part_none(
    edition: Edition, designer: User, stranger: User
) -> None:
    pattern = edition.pattern

    assert {right for right in Right if may(designer, right, pattern)} == RIGHTS["owner"]
    assert {right for right in Right if may(stranger, right, pattern)} == RIGHTS[None]
    assert {right for right in Right if patterns_open_to(stranger, right).exists()} == RIGHTS[None]


def test_a_refusal_says_what_and_who_can(
    joined: Callable[..., Membership], edition: Edition, stranger: User
) -> None:
    joined("editor")

    with pytest.raises(PermissionDenied) as refused:
        require(stranger, Right.PUBLISH, edition.pattern)

    assert str(refused.value) == "As editor of this pattern you cannot publish its errata: its owner can."


def test_an_editor_changes_the_sheet_the_round_and_its_places(
    joined: Callable[..., Membership], edition: Edition, stranger: User
) -> None:
    joined("editor")

    following = edition_create_next(edition=edition, label="1.1", by=stranger)
    round = round_open(edition=following, by=stranger, title="Second test")
    round_move(round=round, state="gathering", by=stranger)
    place_add(round=round, name="Willow", size="S", by=stranger)

    assert [entry.by for entry in round.diary.all()] == [stranger] * 3


def test_an_editor_neither_publishes_nor_invites_nor_deletes(
    joined: Callable[..., Membership], a_round: Round, designer: User, stranger: User
) -> None:
    joined("editor")
    pattern = a_round.edition.pattern
    offered = place_add(round=a_round, name="Willow", size="S", by=stranger)
    draft = Erratum.objects.create(
        pattern=pattern, edition=a_round.edition, round=a_round, place="Back", text="Cast on 104."
    )
    invite = {"email": "a@example.org", "role": "editor", "key": uuid.uuid4()}

    for refused in (
        lambda: erratum_publish(erratum=draft, by=stranger),
        lambda: invitation_create(place=offered, by=stranger),
        lambda: member_invite(pattern=pattern, by=stranger, **invite),  # type: ignore[arg-type]
        lambda: pattern_delete(pattern=pattern, by=stranger),
    ):
        with pytest.raises(PermissionDenied):
            refused()
    assert (Erratum.objects.published().count(), offered.invitations.count()) == (0, 0)


def test_an_onlooker_changes_nothing(
    joined: Callable[..., Membership], a_round: Round, stranger: User
) -> None:
    joined("onlooker")

    with pytest.raises(PermissionDenied):
        round_move(round=a_round, state="making", by=stranger)
    with pytest.raises(PermissionDenied):
        place_add(round=a_round, name="Willow", size="S", by=stranger)


# -- how a part comes --------------------------------------------------------------------------------------


def test_an_invitation_is_mailed_to_its_address_and_says_what_the_part_is(
    edition: Edition, designer: User, django_capture_on_commit_callbacks: Mailed
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        member_invite(
            pattern=edition.pattern, email="Eve@Example.org", role="editor", key=uuid.uuid4(), by=designer
        )

    (sent,) = mail.outbox
    assert (sent.to, sent.subject) == (["eve@example.org"], "Little top: will you be its editor?")
    assert "Publishing, inviting, and private words with testers stay with the owner." in sent.body
    # The link is in the mail and nowhere else.
    assert secret_in_mail() not in str(list(Membership.objects.values()))


def test_a_form_sent_twice_invites_once(
    edition: Edition, designer: User, django_capture_on_commit_callbacks: Mailed
) -> None:
    key = uuid.uuid4()

    with django_capture_on_commit_callbacks(execute=True):
        for _ in range(2):
            member_invite(
                pattern=edition.pattern, email="eve@example.org", role="editor", key=key, by=designer
            )

    assert (Membership.objects.count(), len(mail.outbox)) == (1, 1)


def test_a_newer_link_to_an_address_ends_the_one_before(
    edition: Edition, designer: User, stranger: User, django_capture_on_commit_callbacks: Mailed
) -> None:
    secrets = []
    for role in ("editor", "onlooker"):
        with django_capture_on_commit_callbacks(execute=True):
            member_invite(
                pattern=edition.pattern, email=stranger.email, role=role, key=uuid.uuid4(), by=designer
            )
        secrets.append(secret_in_mail())

    with pytest.raises(InvitationEnded, match="withdrawn, perhaps for a newer one"):
        membership_accept(secret=secrets[0], user=stranger)
    assert membership_accept(secret=secrets[1], user=stranger).role == "onlooker"


def test_a_forwarded_link_lets_nobody_else_in(
    edition: Edition,
    designer: User,
    stranger: User,
    other_designer: User,
    django_capture_on_commit_callbacks: Mailed,
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        member_invite(
            pattern=edition.pattern, email=stranger.email, role="editor", key=uuid.uuid4(), by=designer
        )

    with pytest.raises(InvitationEnded) as ended:
        membership_accept(secret=secret_in_mail(), user=other_designer)

    assert ended.value.sentence == (
        "This link is for another address than other@example.org. Sign in with the address that it was mailed "
        "to, or ask Designer to invite this one."
    )
    assert not may(other_designer, Right.LOOK, edition.pattern)


def test_a_link_runs_out(
    edition: Edition, designer: User, stranger: User, django_capture_on_commit_callbacks: Mailed
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        member_invite(
            pattern=edition.pattern, email=stranger.email, role="editor", key=uuid.uuid4(), by=designer
        )
    Membership.objects.update(expires=timezone.now() - dt.timedelta(seconds=1))

    with pytest.raises(InvitationEnded, match="This link ran out on"):
        membership_accept(secret=secret_in_mail(), user=stranger)


@pytest.mark.parametrize(
    ("role", "email", "field"),
    [("boss", "eve@example.org", "role"), ("editor", "DESIGNER@example.org", "email")],
)
def test_what_cannot_be_is_refused_at_its_field(
    edition: Edition, designer: User, role: str, email: str, field: str
) -> None:
    with pytest.raises(Refused) as refused:
        member_invite(pattern=edition.pattern, email=email, role=role, key=uuid.uuid4(), by=designer)

    assert [problem.path for problem in refused.value.problems] == [field]


def test_another_part_takes_the_place_of_the_one_before(
    joined: Callable[..., Membership], edition: Edition, stranger: User
) -> None:
    joined("onlooker")
    joined("editor")

    assert rights_on(edition.pattern, stranger).role == "editor"
    assert Membership.objects.filter(user=stranger, ended_at=None).count() == 1


def test_who_takes_a_pattern_over_owns_it_and_the_owner_before_becomes_editor(
    joined: Callable[..., Membership], a_round: Round, designer: User, stranger: User
) -> None:
    joined("owner")

    a_round.edition.pattern.refresh_from_db()
    assert rights_on(a_round.edition.pattern, stranger).role == "owner"
    assert rights_on(a_round.edition.pattern, designer).role == "editor"
    assert a_round.diary.first().text == (
        "Stranger took the pattern and its rounds over from Designer, who is editor now."
    )


@pytest.mark.django_db(transaction=True)
def test_one_link_followed_twice_at_once_gives_one_part(
    shared_by_threads: None, edition: Edition, designer: User, stranger: User, settings: Any
) -> None:
    member_invite(pattern=edition.pattern, email=stranger.email, role="editor", key=uuid.uuid4(), by=designer)
    secret = secret_in_mail()
    start = threading.Barrier(4)
    failures: list[BaseException] = []

    def follow() -> None:
        try:
            start.wait(timeout=10)
            membership_accept(secret=secret, user=stranger)
        except BaseException as error:
            failures.append(error)
        finally:
            connections["default"].close()

    at_once = [threading.Thread(target=follow) for _ in range(4)]
    for thread in at_once:
        thread.start()
    for thread in at_once:
        thread.join(timeout=60)

    assert failures == []
    assert Membership.objects.filter(user=stranger, ended_at=None).count() == 1


# -- how it goes -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("who", ["designer", "stranger"])
def test_the_owner_or_who_holds_it_ends_a_part_and_the_diary_says_so(
    joined: Callable[..., Membership], a_round: Round, designer: User, stranger: User, who: str
) -> None:
    membership = joined("editor")
    by = {"designer": designer, "stranger": stranger}[who]

    assert membership_end(membership=membership, by=by) is True
    assert membership_end(membership=membership, by=by) is False

    assert not may(stranger, Right.LOOK, a_round.edition.pattern)
    entry = a_round.diary.first()
    assert (entry.by, entry.text) == (by, "Stranger is no longer editor.")


def test_an_editor_ends_nobody_elses_part(
    joined: Callable[..., Membership], stranger: User, other_designer: User
) -> None:
    joined("editor")
    other = joined("onlooker", other_designer)

    with pytest.raises(PermissionDenied):
        membership_end(membership=other, by=stranger)


# -- pages -------------------------------------------------------------------------------------------------


def test_the_owner_invites_on_the_pages_of_people(
    signed_in: Callable[[User], Client], designer: User, edition: Edition
) -> None:
    client = signed_in(designer)
    address = reverse("rounds:people", args=[edition.pattern.code])

    empty = client.post(address, {"email": "", "role": "", "key": str(uuid.uuid4())})
    sent = client.post(address, {"email": "eve@example.org", "role": "editor", "key": str(uuid.uuid4())})

    assert (empty.status_code, sent.status_code) == (422, 302)
    assert "Write the address that the link is to go to." in empty.text
    page = client.get(address).text
    assert "eve@example.org" in page
    assert re.findall(r'aria-current="true">([^<]+)<', page) == ["Patterns"]


def test_an_invitation_that_waits_is_sent_again_by_one_press_and_once(
    signed_in: Callable[[User], Client],
    designer: User,
    edition: Edition,
    django_capture_on_commit_callbacks: Mailed,
) -> None:
    member_invite(
        pattern=edition.pattern, email="eve@example.org", role="onlooker", key=uuid.uuid4(), by=designer
    )
    first = Membership.objects.get()
    Membership.objects.update(invited_at=dt.datetime(2026, 3, 5, 12, tzinfo=dt.UTC))
    client = signed_in(designer)
    address = reverse("rounds:people", args=[edition.pattern.code])
    shown = client.get(address).text
    press = dict(re.findall(r'<input type="hidden" name="(email|role|key)" value="([^"]+)">', shown))

    with django_capture_on_commit_callbacks(execute=True):
        client.post(address, press)
        client.post(address, press)

    assert 'waits since <time datetime="2026-03-05T12:00:00+00:00">5 March 2026</time>' in shown
    first.refresh_from_db()
    again = Membership.objects.get(ended_at=None)
    assert (again.email, again.role, again.invited_by) == ("eve@example.org", "onlooker", designer)
    assert first.ended_at is not None
    assert [letter.to for letter in mail.outbox] == [["eve@example.org"]]
    assert Client().get(reverse("rounds:person_join", args=[secret_in_mail()])).status_code == 200


def test_an_invitation_that_ran_out_stays_on_the_page_until_it_is_withdrawn_or_sent_again(
    signed_in: Callable[[User], Client], designer: User, edition: Edition
) -> None:
    member_invite(
        pattern=edition.pattern, email="eve@example.org", role="editor", key=uuid.uuid4(), by=designer
    )
    Membership.objects.update(expires=dt.datetime(2026, 4, 4, 12, tzinfo=dt.UTC))
    client = signed_in(designer)
    address = reverse("rounds:people", args=[edition.pattern.code])

    shown = client.get(address).text
    client.post(reverse("rounds:person_end", args=[edition.pattern.code, Membership.objects.get().pk]))

    assert 'the link ran out on <time datetime="2026-04-04T12:00:00+00:00">4 April 2026</time>' in shown
    assert "Send again" in shown
    assert "eve@example.org" not in re.sub(r'(?s)<ul class="messages.*?</ul>', "", client.get(address).text)


def test_only_the_owner_sends_an_invitation_again(
    signed_in: Callable[[User], Client],
    joined: Callable[..., Membership],
    designer: User,
    stranger: User,
    edition: Edition,
) -> None:
    joined("editor")
    member_invite(
        pattern=edition.pattern, email="eve@example.org", role="editor", key=uuid.uuid4(), by=designer
    )
    client = signed_in(stranger)
    address = reverse("rounds:people", args=[edition.pattern.code])

    shown = client.get(address).text
    pressed = client.post(address, {"email": "eve@example.org", "role": "editor", "key": str(uuid.uuid4())})

    assert "Someone, as editor" in shown
    assert "Send again" not in shown
    assert "eve@example.org" not in shown
    assert pressed.status_code == 403


def test_who_follows_the_link_reads_what_it_gives_signs_in_and_says_yes(
    client: Client,
    edition: Edition,
    designer: User,
    stranger: User,
    django_capture_on_commit_callbacks: Mailed,
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        member_invite(
            pattern=edition.pattern, email=stranger.email, role="onlooker", key=uuid.uuid4(), by=designer
        )
    address = reverse("rounds:person_join", args=[secret_in_mail()])

    before = client.get(address)
    unsigned = client.post(address)
    client.force_login(stranger)
    yes = client.post(address)

    assert "You see nobody&#x27;s measurements, photos or private words." in before.text
    assert unsigned.headers["Location"].startswith("/account/login/?next=")
    assert (yes.status_code, yes.headers["Location"]) == (302, "/")
    assert before.headers["Referrer-Policy"] == "strict-origin"
    assert may(stranger, Right.LOOK, edition.pattern)


def test_the_page_of_people_reads_the_same_number_of_queries_for_any_number_of_them(
    signed_in: Callable[[User], Client],
    designer: User,
    edition: Edition,
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    client = signed_in(designer)
    address = reverse("rounds:people", args=[edition.pattern.code])
    for number in range(12):
        person = User.objects.create_user(f"p{number}@example.org", name=f"Person {number}")
        Membership.objects.create(
            pattern=edition.pattern,
            role="onlooker",
            email=person.email,
            user=person,
            secret_hash=str(number),
            expires=timezone.now(),
            joined_at=timezone.now(),
        )

    with django_assert_max_num_queries(4):
        client.get(address)


# -- how the round stands ----------------------------------------------------------------------------------


@pytest.fixture
def standing_round(a_round: Round, tester: User) -> Round:
    for number, (size, state) in enumerate([("S", "taken"), ("S", "making"), ("M", "measured")], start=1):
        Place.objects.create(
            round=a_round,
            key=f"t{number:02}",
            name=f"Tester {number}",
            tester=tester if number == 1 else None,
            size=size,
            state=state,
            measures={"bust": 77.7 + number},
        )
    return a_round


def test_how_a_round_stands_is_sizes_by_stage_in_numbers(standing_round: Round) -> None:
    standing = standing_of(standing_round)

    assert (standing.place_count, standing.finished_count) == (3, 1)
    assert {
        row.size: {cell.state: cell.count for cell in row.cells if cell.count} for row in standing.rows
    } == {"XS": {}, "S": {"taken": 1, "making": 1}, "M": {"measured": 1}}


def test_only_those_are_named_who_allow_it(standing_round: Round) -> None:
    first, second, _ = standing_round.places.all()
    consents_set(place=first, kinds={Consent.Kind.STANDING}, by=None)
    consents_set(place=second, kinds={Consent.Kind.STANDING}, by=None)
    consents_set(place=second, kinds=set(), by=None)

    names = [name for row in standing_of(standing_round).rows for cell in row.cells for name in cell.names]

    assert names == ["Tester 1"]


def test_an_onlooker_reads_no_name_and_no_measurement(
    joined: Callable[..., Membership],
    standing_round: Round,
    stranger: User,
    signed_in: Callable[[User], Client],
) -> None:
    joined("onlooker")

    page = signed_in(stranger).get(reverse("rounds:standing", args=[standing_round.code]))

    assert page.status_code == 200
    assert "1 of 3 places measured." in page.text
    assert re.findall(r"Tester \d|77\.|78\.|79\.|80\.", page.text) == []
    assert list(rounds_looked_on(stranger)) == [standing_round]


def test_a_tester_sees_how_the_round_stands_where_its_designer_shows_it(
    standing_round: Round, tester: User, designer: User, signed_in: Callable[[User], Client]
) -> None:
    client, address = signed_in(tester), reverse("rounds:standing", args=[standing_round.code])
    hidden = client.get(address)

    round_edit(
        round=standing_round,
        by=designer,
        title=standing_round.title,
        opens=None,
        swatches_due=None,
        closes=None,
        terms="",
        places_plan=None,
        shows_standing=True,
    )

    assert (hidden.status_code, client.get(address).status_code) == (404, 200)
    assert standing_round.diary.first().text == "Plan changed: testers may see how the round stands."


def test_who_gave_the_place_back_sees_it_no_more(standing_round: Round, tester: User) -> None:
    Round.objects.update(shows_standing=True)
    Place.objects.filter(tester=tester).update(state=Place.State.GIVEN_BACK)

    assert list(standings_open_to(tester)) == []


def test_the_page_of_how_a_round_stands_reads_the_same_number_of_queries_for_any_number_of_places(
    standing_round: Round,
    designer: User,
    signed_in: Callable[[User], Client],
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    client, address = signed_in(designer), reverse("rounds:standing", args=[standing_round.code])
    Place.objects.bulk_create(
        Place(round=standing_round, key=f"u{n}", name=f"U {n}", size="S", state="making") for n in range(60)
    )

    with django_assert_max_num_queries(15):
        client.get(address)
    with django_assert_max_num_queries(7):
        client.get(address)
