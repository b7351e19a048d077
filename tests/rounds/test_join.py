from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from testround.outbox.mailbox import mails
from testround.people.models import User
from testround.rounds import services
from testround.rounds.models import DiaryEntry, Place, Round

from .conftest import path_of

SignIn = Callable[[User], Client]


def yes(**changed: str) -> dict[str, str]:
    """What a newcomer's form sends."""
    return {
        "name": "Willow",
        "email": "willow@example.org",
        "units": "in",
        "tools": "us",
        "agree": "on",
        "key": str(uuid.uuid4()),
    } | changed


def errors_of(response: Any) -> dict[str, list[str]]:
    return {field: list(errors) for field, errors in response.context["form"].errors.items()}


def test_the_link_says_what_it_is_about_before_anything_is_given(client: Client, link: str) -> None:
    response = client.get(link)

    body = response.content.decode()
    form = body.index('name="agree"')
    for said in (
        "Little top",
        "Wool, supplied",
        "25 January 2027",
        "8 March 2027",
        "Show nothing before publication.",
        "<strong>Body measurements:</strong> you, Designer, and whoever edits the pattern beside them.",
        "<strong>Photos:</strong> the same, if you allow it when you send one.",
    ):
        assert -1 < body.find(said) < form, said
    assert response.status_code == 200
    assert User.objects.count() == 1  # the designer


def test_the_day_to_answer_by_and_both_answers_stand_before_the_small_print(
    client: Client, link: str, offered: Place
) -> None:
    body = client.get(link).text

    first = body[: body.index("Who sees what you send")]
    expires = timezone.localdate(offered.invitations.get().expires)
    assert f'<dt>Answer by</dt><dd><time datetime="{expires:%Y-%m-%d}">' in first
    assert 'href="#take">Take the place</a>' in first
    assert f'href="{link}no/">No, thank you</a>' in first


def test_the_address_of_the_link_is_told_to_nobody(client: Client, link: str) -> None:
    response = client.get(link)

    assert response["Referrer-Policy"] == "strict-origin"
    assert "no-store" in response["Cache-Control"]
    assert response["X-Robots-Tag"] == "noindex"


def test_a_newcomer_says_yes_and_is_in(client: Client, link: str, offered: Place) -> None:
    response = client.post(link, yes())

    offered.refresh_from_db()
    user = User.objects.get(email="willow@example.org")
    assert (response.status_code, response["Location"]) == (302, offered.get_absolute_url())
    assert (offered.tester, offered.state, offered.name) == (user, "taken", "Willow")
    assert (user.units, user.tools) == ("in", "us")
    assert client.session["_auth_user_id"] == str(user.pk)


def test_a_newcomer_comes_back_with_a_code_sent_by_mail(
    client: Client,
    link: str,
    offered: Place,
    settings: Any,
    django_capture_on_commit_callbacks: Callable[..., Any],
) -> None:
    settings.EMAIL_BACKEND = "testround.outbox.mailbox.FolderBackend"
    with django_capture_on_commit_callbacks(execute=True):
        client.post(link, yes())
    welcome = mails()[0]
    code_page = reverse("account_request_login_code")

    elsewhere = Client()
    with django_capture_on_commit_callbacks(execute=True):
        asked = elsewhere.post(code_page, {"email": "willow@example.org"})
    code = re.search(r"^\s*([A-Z0-9]{3,4}-?[A-Z0-9]{3,4})\s*$", mails()[0].text, re.M)
    assert code is not None, mails()[0].text
    elsewhere.post(asked["Location"], {"code": code[1]})

    assert (welcome.to, welcome.subject) == (
        "willow@example.org",
        "Your place in Little top, and how to come back",
    )
    assert f"{settings.SITE_URL}{code_page}" in welcome.text.splitlines()
    assert elsewhere.session["_auth_user_id"] == str(User.objects.get(email="willow@example.org").pk)


@pytest.mark.parametrize(
    ("changed", "errors"),
    [
        (
            {"agree": ""},
            {"agree": ["Say yes to the terms to take the place. If you would rather not, leave the page."]},
        ),
        ({"name": " "}, {"name": ["Write a name to call you by; a first name will do."]}),
        ({"email": ""}, {"email": ["Write your email address; it is how you come back to your place."]}),
        ({"email": "willow"}, {"email": ["This is no email address: write it as in name@example.org."]}),
        (
            {"email": f"{'w' * 243}@example.org"},
            {"email": ["Ensure this value has at most 254 characters (it has 255)."]},
        ),
    ],
)
def test_a_refused_yes_keeps_what_was_typed_and_nothing_else(
    client: Client, link: str, offered: Place, changed: dict[str, str], errors: dict[str, list[str]]
) -> None:
    typed = yes(**changed)
    if not typed["agree"]:
        del typed["agree"]

    response = client.post(link, typed)

    offered.refresh_from_db()
    assert response.status_code == 422
    assert errors_of(response) == errors
    assert {
        name: str(response.context["form"][name].value()) for name in ("name", "email", "units", "tools")
    } == {name: typed[name] for name in ("name", "email", "units", "tools")}
    assert (offered.state, User.objects.count()) == ("offered", 1)


def test_somebody_signed_in_takes_the_place_as_themselves(
    signed_in: SignIn, tester: User, link: str, offered: Place
) -> None:
    client = signed_in(tester)

    shown = client.get(link)
    response = client.post(link, {"name": "Tess", "agree": "on"})

    offered.refresh_from_db()
    assert list(shown.context["form"].fields) == ["name", "agree", "key"]
    assert response["Location"] == offered.get_absolute_url()
    assert (offered.tester, offered.name) == (tester, "Tess")
    assert User.objects.count() == 2


def test_an_address_with_an_account_is_asked_to_sign_in_and_comes_back_here(
    client: Client, link: str, offered: Place, tester: User
) -> None:
    response = client.post(link, yes(email="Tester@Example.org"))

    offered.refresh_from_db()
    assert response.status_code == 422
    assert errors_of(response) == {
        "email": ["There is an account with this address. Sign in first, then follow the link again."]
    }
    assert f'href="/account/login/?next={link.replace("/", "%2F")}"' in response.content.decode()
    assert "_auth_user_id" not in client.session
    assert (offered.state, offered.tester) == ("offered", None)


def test_its_holder_follows_a_used_link_to_the_place(client: Client, link: str, offered: Place) -> None:
    client.post(link, yes())

    again = client.get(link)
    pressed_again = client.post(link, yes())

    for response in (again, pressed_again):
        assert (response.status_code, response["Location"]) == (302, offered.get_absolute_url())
    assert DiaryEntry.objects.filter(text__contains="to taken").count() == 1


def test_a_press_repeated_before_the_answer_came_is_answered_alike(link: str, offered: Place) -> None:
    form = yes()

    first = Client().post(link, form)
    phone = Client()
    second = phone.post(link, form)

    assert first["Location"] == second["Location"] == offered.get_absolute_url()
    assert phone.session["_auth_user_id"] == str(User.objects.get(email="willow@example.org").pk)
    assert User.objects.filter(email="willow@example.org").count() == 1


def test_the_same_answers_from_another_page_open_no_account(client: Client, link: str) -> None:
    Client().post(link, yes())

    response = client.post(link, yes())

    assert response.status_code == 410
    assert "_auth_user_id" not in client.session


def test_a_used_link_tells_anybody_else_how_to_come_in_if_it_was_them(
    signed_in: SignIn, stranger: User, link: str
) -> None:
    Client().post(link, yes())

    for client in (Client(), signed_in(stranger)):
        response = client.get(link)

        assert response.status_code == 410
        assert (
            "This link has been used. If it was you who used it, sign in with the address you gave"
            in response.content.decode()
        )
        assert "willow" not in response.content.decode().lower()


def test_a_withdrawn_link_says_so(client: Client, link: str, offered: Place, designer: User) -> None:
    services.invitation_withdraw(place=offered, by=designer)

    response = client.get(link)

    assert response.status_code == 410
    assert "This link was withdrawn" in response.content.decode()


def test_a_link_to_a_closed_round_says_so(client: Client, link: str, opened: Round, designer: User) -> None:
    services.round_move(round=opened, state="closed", by=designer)

    response = client.post(link, yes())

    assert response.status_code == 410
    assert "This round is closed" in response.content.decode()
    assert not User.objects.filter(email="willow@example.org").exists()


@pytest.mark.parametrize("secret", ["x", "a" * 43, "…", "%00"])
def test_a_link_nobody_made_is_not_there(client: Client, db: None, secret: str) -> None:
    assert client.get(f"/rounds/join/{secret}/").status_code == 404
    assert client.post(f"/rounds/join/{secret}/", yes()).status_code == 404


def test_an_address_the_invitation_was_mailed_to_is_filled_in(
    client: Client, offered: Place, designer: User
) -> None:
    _, url = services.invitation_create(place=offered, email="willow@example.org", by=designer)

    response = client.get(path_of(url))

    assert response.context["form"]["email"].value() == "willow@example.org"


def test_who_offered_in_inches_is_asked_in_inches(
    client: Client, link: str, offered: Place, opened: Round
) -> None:
    offered.candidate = opened.candidates.create(key="c01", name="Willow", units="in", terms="uk")
    offered.save()

    initial = client.get(link).context["form"].initial

    assert (initial["units"], initial["terms"]) == ("in", "uk")


def test_a_designer_is_told_when_the_round_is_her_own(
    signed_in: SignIn, designer: User, link: str, offered: Place
) -> None:
    client = signed_in(designer)

    body = client.get(link).content.decode()
    client.post(link, {"name": "Me", "agree": "on"})

    offered.refresh_from_db()
    assert "Your own round:" in body
    assert offered.tester == designer


def test_a_second_place_in_the_same_round_is_refused_in_a_sentence(
    signed_in: SignIn, designer: User, tester: User, link: str, opened: Round, offered: Place
) -> None:
    other = services.place_add(round=opened, name="Other", size="XS", by=designer)
    Place.objects.filter(pk=other.pk).update(tester=tester, state="taken")

    response = signed_in(tester).post(link, {"name": "Tess", "agree": "on"})

    offered.refresh_from_db()
    assert response.status_code == 422
    assert errors_of(response)["__all__"][0].startswith("You hold a place in this round already (size XS)")
    assert offered.state == "offered"


def test_the_secret_is_nowhere_in_the_diary(client: Client, link: str) -> None:
    client.post(link, yes())

    secret = link.rstrip("/").rsplit("/", 1)[-1]
    assert not DiaryEntry.objects.filter(text__contains=secret).exists()
