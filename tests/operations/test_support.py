"""The admin, for support: every act in it is kept, body measurements are not in it, and nothing is deleted there."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from django.contrib import admin
from django.contrib.auth.models import Permission
from django.db import models
from django.test import Client, RequestFactory
from django.urls import reverse
from django.utils import timezone

from testround.errata.services import analysis_keep
from testround.operations.acts import acts_forget
from testround.operations.models import Act
from testround.outbox.models import Mail
from testround.people.held import held_of, person_erase
from testround.people.models import User
from testround.reports.models import Submission
from testround.rounds.models import Candidate, Round
from tests.errata.conftest import nothing_kept, round_of, tested
from tests.people.test_sessions import browser, is_signed_in

__all__ = ["nothing_kept", "round_of", "tested"]

pytestmark = pytest.mark.django_db

REGISTERED = sorted(admin.site._registry, key=lambda model: model._meta.label)
BUST = 87.65


@pytest.fixture
def keeper(db: None) -> User:
    return User.objects.create_superuser("keeper@example.org", "a-long-password")


@pytest.fixture
def desk(keeper: User) -> Client:
    client = Client()
    client.force_login(keeper)
    return client


def address(model: type[models.Model], page: str, *args: Any) -> str:
    return reverse(f"admin:{model._meta.app_label}_{model._meta.model_name}_{page}", args=args)


def acts() -> list[tuple[Any, ...]]:
    return list(
        Act.objects.order_by("pk").values_list("name", "method", "view", "object_id", "query", "status")
    )


def test_each_page_that_is_opened_is_kept_with_what_was_searched_for(desk: Client, stranger: User) -> None:
    desk.get(address(User, "changelist"), {"q": "stranger@example.org"})
    desk.get(address(User, "change", stranger.pk))
    desk.post(address(User, "delete", stranger.pk), {"post": "yes"})

    who = "keeper@example.org"
    assert acts() == [
        (who, "GET", "people_user_changelist", "", "q=stranger%40example.org", 200),
        (who, "GET", "people_user_change", str(stranger.pk), "", 200),
        (who, "POST", "people_user_delete", str(stranger.pk), "", 403),
    ]


@pytest.mark.parametrize("model", REGISTERED, ids=lambda model: model._meta.label)
def test_looking_at_any_table_is_kept_and_nothing_in_it_is_deleted_or_made_there(
    desk: Client, keeper: User, model: type[models.Model]
) -> None:
    request = RequestFactory().get("/")
    request.user = keeper
    shown = admin.site.get_model_admin(model)

    desk.get(address(model, "changelist"))

    assert [act[2] for act in acts()] == [f"{model._meta.app_label}_{model._meta.model_name}_changelist"]
    # Groups hold rights and nobody's data.
    assert shown.has_delete_permission(request) is (model.__name__ == "Group")
    assert shown.has_add_permission(request) is (model.__name__ == "Group")
    assert shown.has_change_permission(request) is (model.__name__ in ("Group", "User"))


def test_nobody_reads_a_body_measurement_in_any_table(desk: Client, tested: Round) -> None:
    for place in tested.places.all():
        place.measures = {"bust": BUST}
        place.save()
        Submission.objects.create(place=place, kind="measures", typed={"bust": str(BUST)})
    Candidate.objects.create(
        round=tested, key="c09", name="Hazel", measures={"bust": BUST}, typed={"bust": str(BUST)}
    )
    analysis_keep(round=tested)
    told = []

    for model in REGISTERED:
        paths = [address(model, "changelist")]
        paths += [address(model, "change", row.pk) for row in model._default_manager.all()[:3]]
        told += [path for path in paths if str(BUST) in desk.get(path).text]

    assert told == []


def test_those_at_the_door_leave_no_act(client: Client, stranger: User) -> None:
    client.get("/admin/")
    client.force_login(stranger)
    client.get(address(User, "changelist"))

    assert acts() == []


def test_acts_are_kept_for_two_years(desk: Client) -> None:
    desk.get("/admin/")
    now = timezone.now()

    assert acts_forget(now=now + dt.timedelta(days=729)) == 0
    assert acts_forget(now=now + dt.timedelta(days=731)) == 1


def test_who_supports_a_server_sees_their_acts_and_goes_without_a_name(desk: Client, keeper: User) -> None:
    desk.get("/admin/")
    (shelf,) = [shelf for shelf in held_of(keeper) if shelf.key == "support"]

    person_erase(user=keeper)

    assert [row["view"] for row in shelf.rows] == ["index"]
    assert list(Act.objects.values_list("person", "name")) == [(None, "somebody of the support staff")]


def end_sessions(person: User) -> str:
    return reverse("admin:people_user_end_sessions", args=[person.pk])


def test_support_signs_somebody_out_everywhere_and_leaves_the_account_open(
    desk: Client, keeper: User, stranger: User, tester: User
) -> None:
    phone, laptop, another = browser(stranger), browser(stranger), browser(tester)
    ends = end_sessions(stranger)
    assert ends in desk.get(address(User, "change", stranger.pk)).text

    asked = desk.get(ends)
    before = [is_signed_in(client) for client in (phone, laptop, another)]
    answer = desk.post(ends, follow=True)

    assert "Sign stranger@example.org out everywhere?" in asked.text
    assert before == [True, True, True]
    assert "2 browsers of this account are signed out." in answer.text
    assert [is_signed_in(client) for client in (phone, laptop, another)] == [False, False, True]
    assert is_signed_in(browser(stranger))
    assert [act[1:4] for act in acts() if act[2] == "people_user_end_sessions"] == [
        ("GET", "people_user_end_sessions", str(stranger.pk)),
        ("POST", "people_user_end_sessions", str(stranger.pk)),
    ]
    told = Mail.objects.filter(subject="You were signed out everywhere")
    assert [letter.to for letter in told] == [stranger.email]


def test_an_account_that_is_signed_in_nowhere_gets_no_mail_of_it(desk: Client, stranger: User) -> None:
    answer = desk.post(end_sessions(stranger), follow=True)

    assert "This account was signed in nowhere." in answer.text
    assert not Mail.objects.exists()


def test_who_may_read_accounts_and_not_change_them_ends_no_session(stranger: User, tester: User) -> None:
    tester.is_staff = True
    tester.save()
    tester.user_permissions.add(Permission.objects.get(codename="view_user"))
    client, theirs = Client(), browser(stranger)
    client.force_login(tester)

    page = client.get(address(User, "change", stranger.pk))
    answers = [client.get(end_sessions(stranger)), client.post(end_sessions(stranger))]

    assert page.status_code == 200
    assert end_sessions(stranger) not in page.text
    assert [answer.status_code for answer in answers] == [403, 403]
    assert is_signed_in(theirs)


def test_the_staff_of_a_served_installation_has_a_second_factor_or_reads_nothing(
    desk: Client, keeper: User, settings: Any
) -> None:
    settings.SERVED = True
    without = [desk.get(path) for path in ("/admin/", "/operator/")]
    Authenticator.objects.create(user=keeper, type=Authenticator.Type.TOTP, data={})

    assert [(answer.status_code, answer.headers["Location"]) for answer in without] == [
        (302, reverse("mfa_index"))
    ] * 2
    assert [desk.get(path).status_code for path in ("/admin/", "/operator/")] == [200, 200]
