"""Following a pattern by mail: asked for, confirmed by whoever reads the mail, ended at one press."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from testround.errata.models import Erratum
from testround.following import services
from testround.following.models import Follower
from testround.following.services import followers_forget
from testround.outbox.models import Mail, Work
from testround.outbox.services import work_run
from testround.patterns.models import Edition, Pattern
from testround.people.held import held_of, person_erase
from testround.people.models import User
from testround.rounds.models import Round

pytestmark = pytest.mark.django_db(transaction=True)

ONE_CLICK = {"data": "List-Unsubscribe=One-Click", "content_type": "application/x-www-form-urlencoded"}


def ask(client: Client, pattern: Pattern, address: str = "maker@example.org", **more: Any) -> Any:
    return client.post(reverse("following:follow", args=[pattern.code]), {"email": address}, **more)


def link_in(message: Any, page: str, settings: Any) -> str:
    """The path of the one link in a mail that leads to the page to confirm or to leave."""
    (path,) = set(re.findall(rf"{re.escape(settings.SITE_URL)}(/following/{page}/\S+/)", message.body))
    return path


def addresses() -> list[tuple[str, bool]]:
    return [(f.address, f.confirmed_at is not None) for f in Follower.objects.order_by("pk")]


# -- asking ------------------------------------------------------------------------------------------------


def test_the_public_list_asks_for_the_address_alone_and_says_who_sees_it(
    client: Client, followed: Pattern
) -> None:
    answer = client.get(reverse("errata:list", args=[followed.code]))

    page = " ".join(answer.content.decode().split())
    form = page[page.index('<form class="form" method="post" action="/errata/') :]
    fields = re.findall(r"<input [^>]+>", form[: form.index("</form>")])
    assert [field for field in fields if "hidden" not in field] == [
        field for field in fields if 'name="email"' in field
    ]
    assert "The designer sees how many follow, never an address" in page
    # A page that everybody may keep: no token of a form, and so no cookie.
    assert answer.cookies == {}


def test_who_asks_gets_one_mail_with_a_link_and_follows_only_after_the_press_of_a_button(
    followed: Pattern, settings: Any
) -> None:
    # No cookie and no token: the form is the same for everybody.
    client = Client(enforce_csrf_checks=True)

    answer = ask(client, followed)

    there = f"/errata/{followed.code}/follow/asked/?language=en-gb"
    assert (answer.status_code, answer["Location"]) == (302, there)
    (asked,) = mail.outbox
    assert (asked.to, asked.subject) == (["maker@example.org"], "Follow the errata of Little top?")
    assert not [name for name in asked.extra_headers if name.startswith("List-")]
    path = link_in(asked, "confirm", settings)
    page = client.get(path)
    assert "Follow the errata of Little top?" in page.text
    assert page["Referrer-Policy"] == "strict-origin"
    assert "no-store" in page["Cache-Control"]
    assert addresses() == [("maker@example.org", False)]

    pressed = client.post(path)

    assert "You follow the errata of Little top" in pressed.text
    assert addresses() == [("maker@example.org", True)]
    assert len(mail.outbox) == 1


@pytest.mark.parametrize("already", [True, False])
def test_the_answer_does_not_tell_whether_an_address_follows_already(
    client: Client, follower: Follower, already: bool
) -> None:
    address = "MAKER@example.org" if already else "somebody@example.org"

    answer = ask(client, follower.pattern, address)

    page = client.get(answer["Location"])
    assert (answer.status_code, page.status_code) == (302, 200)
    assert address not in page.text
    assert len(mail.outbox) == (0 if already else 1)
    assert len(addresses()) == (1 if already else 2)


def test_an_address_is_asked_once_a_day_however_often_it_is_given(client: Client, followed: Pattern) -> None:
    for _ in range(3):
        ask(client, followed)
    assert len(mail.outbox) == 1

    Follower.objects.update(asked_at=timezone.now() - dt.timedelta(hours=25))
    ask(client, followed)

    assert len(mail.outbox) == 2
    assert len(addresses()) == 1


def test_an_address_is_asked_about_five_patterns_a_day_and_no_more(
    client: Client, edition: Edition, designer: User
) -> None:
    for number in range(7):
        pattern = Pattern.objects.create(owner=designer, title=f"Top {number}")
        other = Edition.objects.create(pattern=pattern, label="1.0", sheet=edition.sheet)
        Erratum.objects.create(
            pattern=pattern, edition=other, place="Hem", text="Knit.", number=1, published_at=timezone.now()
        )
        ask(client, pattern)

    assert len(mail.outbox) == 5


def test_from_one_network_twenty_addresses_an_hour_are_taken(client: Client, followed: Pattern) -> None:
    answers = [ask(client, followed, f"maker{number}@example.org").status_code for number in range(21)]

    assert answers == [302] * 20 + [429]
    assert len(mail.outbox) == 20


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("", "Write the address that errata are to go to."),
        ("maker at home", "This is no email address: write it as in name@example.org."),
        ("a@b.example\nBcc: x@example.org", "This is no email address: write it as in name@example.org."),
    ],
)
def test_what_is_no_address_is_said_beside_the_field_and_kept(
    client: Client, followed: Pattern, typed: str, said: str
) -> None:
    answer = ask(client, followed, typed)

    assert answer.status_code == 422
    assert said in answer.text
    assert typed.split("\n")[0] in answer.text
    assert (addresses(), mail.outbox) == ([], [])


def test_a_pattern_of_which_nothing_is_public_cannot_be_followed(client: Client, edition: Edition) -> None:
    assert ask(client, edition.pattern).status_code == 404
    assert client.get(reverse("following:asked", args=[edition.pattern.code])).status_code == 404


def test_who_says_nothing_is_forgotten_after_three_days_and_the_link_has_run_out(
    client: Client, followed: Pattern, settings: Any
) -> None:
    ask(client, followed)
    path = link_in(mail.outbox[0], "confirm", settings)
    now = timezone.now()

    assert followers_forget(now=now + dt.timedelta(days=2, hours=23)) == 0
    assert followers_forget(now=now + dt.timedelta(days=3, minutes=1)) == 1

    assert (addresses(), Mail.objects.count()) == ([], 0)
    answer = client.get(path)
    assert (answer.status_code, "This link has run out" in answer.text) == (410, True)


def test_who_said_yes_is_not_forgotten(follower: Follower) -> None:
    assert followers_forget(now=timezone.now() + dt.timedelta(days=4000)) == 0
    assert addresses() == [("maker@example.org", True)]


@pytest.mark.parametrize("page", ["confirm", "leave"])
@pytest.mark.parametrize("token", ["no-such-token", "ImFiYyI:1abcde:xyz", "%C3%A4"])
def test_a_link_that_is_not_ours_is_unknown(client: Client, followed: Pattern, page: str, token: str) -> None:
    assert client.get(f"/following/{page}/{token}/").status_code == 404
    assert client.post(f"/following/{page}/{token}/").status_code == 404


def test_the_link_to_confirm_does_not_leave_and_the_other_way_round(
    client: Client, followed: Pattern, settings: Any
) -> None:
    ask(client, followed)
    token = link_in(mail.outbox[0], "confirm", settings).split("/")[-2]

    assert client.post(f"/following/leave/{token}/").status_code == 404
    assert addresses() == [("maker@example.org", False)]


# -- an erratum --------------------------------------------------------------------------------------------


def test_a_published_erratum_comes_to_who_has_said_yes_and_to_nobody_else(
    follower: Follower, publish: Callable[..., Erratum], designer: User, edition: Edition
) -> None:
    Follower.objects.create(pattern=follower.pattern, address="silent@example.org", language="en-gb")
    elsewhere = Pattern.objects.create(owner=designer, title="Other top")
    Follower.objects.create(
        pattern=elsewhere, address="other@example.org", language="en-gb", confirmed_at=timezone.now()
    )

    publish()

    assert [message.to for message in mail.outbox] == [["maker@example.org"]]


def test_the_mail_says_where_which_sizes_was_now_and_why_in_both_units_and_both_terms(
    follower: Follower, publish: Callable[..., Erratum], settings: Any
) -> None:
    from tests.following.conftest import CAST_ON, CHEST

    publish(
        changes=[CAST_ON, CHEST],
        place="Back, step 1 and measurements",
        text="Cast on 114 stitches, then work 2 dc in each.",
        why="It came out 3.7 cm too wide.",
    )

    (sent,) = mail.outbox
    leave = link_in(sent, "leave", settings)
    code = follower.pattern.code
    assert sent.subject == "Erratum 2 for Little top: edition 1.0, size M"
    assert (
        sent.body
        == f"""\
An erratum for Little top has been published.

Where: Back, step 1 and measurements
Edition: 1.0
Sizes: M

In US terms: Cast on 114 stitches, then work 2 dc in each.

In UK terms: Cast on 114 stitches, then work 2 tr in each.

Back, step 1: Back, cast on, stitches

M: was 118, now 114

Measurements: Chest circumference

M: was 107.3 cm (42 1/4 in), now 103.6 cm (40 3/4 in)

Why: It came out 3.7 cm too wide.

In inches: It came out 1 1/2 in too wide.

Open it, in my own size and units:
http://127.0.0.1:8000/errata/{code}/2/

--\x20
You get this mail because this address follows the errata of Little top. It is used for nothing else, and the designer does not see it.
No more mails of this kind: http://127.0.0.1:8000{leave}
Testround
"""
    )
    (html, kind) = sent.alternatives[0]
    assert kind == "text/html"
    assert "was 107.3 cm (42 1/4 in), now 103.6 cm (40 3/4 in)" in html


def test_the_mail_says_which_earlier_erratum_is_put_right(
    follower: Follower, publish: Callable[..., Erratum]
) -> None:
    first = Erratum.objects.get()

    publish(corrects=first)

    assert "It puts right erratum 1." in mail.outbox[0].body


def test_the_mail_is_in_the_language_in_which_its_reader_asked(
    client: Client,
    followed: Pattern,
    publish: Callable[..., Erratum],
    german: Callable[[dict[str, str]], None],
    settings: Any,
) -> None:
    german(
        {
            "An erratum for {title} has been published.": "Ein Erratum zu {title} ist erschienen.",
            "Look in your mail": "Schau in deine Mails",
        }
    )
    # The page says its language by its address, whatever a browser asks for; the form on it says it again.
    page = client.get(reverse("errata:list", args=[followed.code]), {"language": "de"})
    (language,) = re.findall(r'name="language" value="(\w+)"', page.text)
    asked = client.post(
        reverse("following:follow", args=[followed.code]),
        {"email": "maker@example.org", "language": language},
        headers={"Accept-Language": "en"},
        follow=True,
    )
    assert "Schau in deine Mails" in asked.text
    client.post(link_in(mail.outbox[0], "confirm", settings))

    publish()

    assert "Ein Erratum zu Little top ist erschienen." in mail.outbox[1].body
    assert mail.outbox[1].extra_headers["Content-Language"] == "de"


def test_each_follower_gets_one_mail_of_an_erratum_however_often_the_work_runs(
    follower: Follower, publish: Callable[..., Erratum], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(services, "BATCH", 2)
    for number in range(4):
        Follower.objects.create(
            pattern=follower.pattern,
            address=f"maker{number}@example.org",
            language="en-gb",
            confirmed_at=timezone.now(),
        )

    publish()
    telling = Work.objects.filter(kind="tell-followers").order_by("pk")
    works = list(telling)
    telling.update(state=Work.State.WAITING, attempts=0)
    for work in works:
        work_run(work_id=work.pk)

    # The first erratum, before anybody followed; then two, two and one.
    assert [work.subject["after"] == 0 for work in works] == [True, True, False, False]
    assert {work.state for work in telling.all()} == {Work.State.DONE}
    assert sorted(message.to[0] for message in mail.outbox) == [
        "maker0@example.org",
        "maker1@example.org",
        "maker2@example.org",
        "maker3@example.org",
        "maker@example.org",
    ]


def test_who_follows_after_the_publication_is_not_told_of_what_is_on_the_page(
    followed: Pattern, publish: Callable[..., Erratum]
) -> None:
    publish()
    Follower.objects.create(
        pattern=followed, address="late@example.org", language="en-gb", confirmed_at=timezone.now()
    )

    for work in Work.objects.filter(kind="tell-followers"):
        Work.objects.update(state=Work.State.WAITING, attempts=0)
        work_run(work_id=work.pk)

    assert mail.outbox == []


def test_the_mails_of_a_batch_are_written_once_and_in_a_few_queries(
    follower: Follower,
    publish: Callable[..., Erratum],
    django_assert_max_num_queries: Any,
    monkeypatch: pytest.MonkeyPatch,
    settings: Any,
) -> None:
    erratum = publish()
    Follower.objects.bulk_create(
        Follower(
            pattern=follower.pattern,
            address=f"maker{number}@example.org",
            language="en-gb",
            confirmed_at=erratum.published_at,
        )
        for number in range(50)
    )
    written: list[int] = []
    letter_of = services.letters.published
    monkeypatch.setattr(
        services.letters, "published", lambda *, erratum: written.append(1) or letter_of(erratum=erratum)
    )
    settings.OUTBOX_RUNNER = "thread"
    monkeypatch.setattr("testround.outbox.mail.send_off", lambda *_: None)

    with django_assert_max_num_queries(10):
        services._tell_batch({"erratum": erratum.pk, "after": 0})

    assert len(written) == 1
    assert Mail.objects.count() == 51


def test_who_is_about_to_publish_is_told_how_many_will_hear_of_it(
    follower: Follower,
    edition: Edition,
    a_round: Round,
    designer: User,
    signed_in: Callable[[User], Client],
) -> None:
    draft = Erratum.objects.create(
        pattern=edition.pattern, edition=edition, round=a_round, place="Hem", text="Knit 4 rows."
    )

    page = signed_in(designer).get(reverse("errata:preview", args=[a_round.code, draft.pk]))

    assert "When it is published, 1 address that follows gets it by mail." in page.text


# -- leaving -----------------------------------------------------------------------------------------------


def test_an_erratums_mail_has_the_headers_by_which_a_mail_program_leaves(
    follower: Follower, publish: Callable[..., Erratum], settings: Any
) -> None:
    settings.SITE_URL = "https://testround.example.org"

    publish()

    (sent,) = mail.outbox
    leave = link_in(sent, "leave", settings)
    # RFC 8058, section 3.1: an https address, and this very value; RFC 2919 for the list's own name.
    assert sent.extra_headers["List-Unsubscribe"] == f"<https://testround.example.org{leave}>"
    assert sent.extra_headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert sent.extra_headers["List-Id"] == f"<{follower.pattern.code}.errata.testround.example.org>"
    assert f'href="https://testround.example.org{leave}"' in sent.alternatives[0][0]


def test_one_post_of_the_mail_program_leaves_and_deletes_the_address_everywhere(
    follower: Follower, publish: Callable[..., Erratum], settings: Any
) -> None:
    publish()
    path = link_in(mail.outbox[0], "leave", settings)
    # RFC 8058, section 3.2: without cookies and context, and not answered by a redirect.
    program = Client(enforce_csrf_checks=True)

    answer = program.post(path, **ONE_CLICK)

    assert (answer.status_code, answer.cookies) == (200, {})
    assert (addresses(), Mail.objects.count()) == ([], 0)
    publish()
    assert len(mail.outbox) == 1
    again = program.post(path, **ONE_CLICK)
    assert (again.status_code, "You get no more of these" in again.text) == (200, True)


def test_looking_at_the_page_leaves_nothing(
    client: Client, follower: Follower, publish: Callable[..., Erratum], settings: Any
) -> None:
    publish()
    path = link_in(mail.outbox[0], "leave", settings)

    page = client.get(path)

    assert "No more mails about errata of Little top?" in page.text
    assert page["Referrer-Policy"] == "strict-origin"
    assert addresses() == [("maker@example.org", True)]


def test_who_leaves_while_their_mail_waits_does_not_get_it(
    follower: Follower, publish: Callable[..., Erratum], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("testround.outbox.mail.send_off", lambda *_: None)
    publish()
    assert Mail.objects.filter(to="maker@example.org", state=Mail.State.WAITING).count() == 1

    services.follower_leave(follower=follower)

    assert (Mail.objects.count(), mail.outbox) == (0, [])


def test_who_left_can_come_back_at_once(client: Client, follower: Follower, settings: Any) -> None:
    services.follower_leave(follower=follower)

    ask(client, follower.pattern)
    client.post(link_in(mail.outbox[0], "confirm", settings))

    assert addresses() == [("maker@example.org", True)]


# -- what others see ---------------------------------------------------------------------------------------


def test_the_designer_sees_how_many_follow_and_no_address(
    follower: Follower, designer: User, signed_in: Callable[[User], Client]
) -> None:
    Follower.objects.create(pattern=follower.pattern, address="silent@example.org", language="en-gb")

    page = signed_in(designer).get(reverse("following:pattern", args=[follower.pattern.code]))

    assert "<strong>1 address</strong> follows" in page.text
    assert "maker@" not in page.text
    assert "silent@" not in page.text


def test_the_designers_page_costs_the_same_for_one_follower_or_many(
    follower: Follower,
    designer: User,
    signed_in: Callable[[User], Client],
    django_assert_num_queries: Any,
) -> None:
    client, path = signed_in(designer), reverse("following:pattern", args=[follower.pattern.code])
    for count in (1, 30):
        Follower.objects.bulk_create(
            Follower(
                pattern=follower.pattern,
                address=f"{count}-{number}@example.org",
                language="",
                confirmed_at=timezone.now(),
            )
            for number in range(count)
        )
        with django_assert_num_queries(5):  # session, person, pattern, followers, webhooks
            client.get(path)


def test_what_follows_under_ones_own_address_is_listed_and_goes_with_the_account(
    follower: Follower, tester: User
) -> None:
    from allauth.account.models import EmailAddress

    address = EmailAddress.objects.create(user=tester, email="maker@example.org", verified=False)
    assert [shelf.rows for shelf in held_of(tester) if shelf.key == "follows"] == [[]]

    address.verified = True
    address.save()
    (rows,) = (shelf.rows for shelf in held_of(tester) if shelf.key == "follows")
    assert [(row["pattern"], row["address"]) for row in rows] == [("Little top", "maker@example.org")]

    person_erase(user=tester)

    assert addresses() == []
