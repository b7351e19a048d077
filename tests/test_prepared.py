"""Statements that are put together once say what Django would say anew, whatever they are asked with."""

from __future__ import annotations

import datetime as dt
import importlib
import inspect
import pkgutil
import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from django.db import transaction
from django.db.models import QuerySet
from django.db.transaction import TransactionManagementError
from django.utils import timezone
from django.utils.functional import SimpleLazyObject

import testround
from testround.people.models import User
from testround.prepared import CannotPrepare, Prepared
from testround.rounds.models import Place, Round

pytestmark = pytest.mark.django_db

# What a value is by its name, in every query that is prepared anywhere.
KINDS: dict[str, Any] = {
    "user": lambda n: User(pk=n),
    "person": lambda n: User(pk=n),
    "place": lambda n: Place(pk=n),
    "round": lambda n: Round(pk=n),
    "pk": lambda n: n,
    "address": lambda n: f"somebody_{n}%@Example.org",
    "key": lambda n: uuid.UUID(int=n),
    "code": lambda n: f"code{n}%_",
    "form": lambda n: f"counts {n}%_",
    "kind": lambda n: f"kind{n}%_",
    "once_key": lambda n: f"round-{n}%_",
    "hash": lambda n: f"{n:064}",
    "date": lambda n: dt.date(2027, 1, n),
    "now": lambda n: dt.datetime(2027, 1, n, 12, tzinfo=dt.UTC),
}


def prepared() -> Iterator[tuple[str, Prepared[Any], tuple[str, ...]]]:
    """Every query that is prepared, with the names of its values."""
    for found in pkgutil.walk_packages(testround.__path__, "testround."):
        if ".migrations" in found.name or found.name in ("testround.wsgi", "testround.celery"):
            continue
        module = importlib.import_module(found.name)
        for name, value in vars(module).items():
            several = value.values() if isinstance(value, dict) else [value]
            for n, one in enumerate(several):
                if isinstance(one, Prepared) and one not in seen:
                    seen.append(one)
                    yield f"{found.name}.{name}[{n}]", one, names_of(one)


seen: list[Any] = []


def names_of(one: Prepared[Any]) -> tuple[str, ...]:
    return tuple(
        parameter.name
        for parameter in inspect.signature(one.make).parameters.values()
        if parameter.default is parameter.empty
    )


ALL = list(prepared())


def test_there_are_statements_to_look_at() -> None:
    assert len(ALL) > 25


@pytest.mark.parametrize(("one", "names"), [pytest.param(one, names, id=name) for name, one, names in ALL])
def test_a_prepared_statement_is_what_django_would_put_together(
    one: Prepared[Any], names: tuple[str, ...]
) -> None:
    for n in (3, 7):
        values = {name: KINDS[name](n) for name in names}
        anew: QuerySet[Any] = one.make(**values)
        sql, parameters = anew.query.sql_with_params()

        statement = one.statement(**values)

        assert statement.sql == sql
        assert statement.parameters(values) == tuple(parameters)


def test_it_finds_the_rows_of_whoever_asks(designer: User, tester: User, place: Place) -> None:
    held = Prepared(lambda user: Place.objects.filter(tester=user).select_related("round").order_by("pk"))

    assert held.rows(user=designer) == []
    assert held.rows(user=tester) == [place]
    assert held.first(user=SimpleLazyObject(lambda: tester)) == place


def test_each_row_is_an_object_of_its_own(tester: User, place: Place, django_assert_num_queries: Any) -> None:
    held = Prepared(lambda user: Place.objects.filter(tester=user).select_related("round"))
    first = held.rows(user=tester)[0]
    first.name = "Somebody else"

    with django_assert_num_queries(1):
        again = held.rows(user=tester)[0]
        _title = again.round.title

    assert again.name == place.name


def test_what_hangs_on_the_rows_is_fetched_with_them(
    tester: User, place: Place, django_assert_num_queries: Any
) -> None:
    held = Prepared(lambda user: Place.objects.filter(tester=user).prefetch_related("consents"))

    with django_assert_num_queries(2):
        _consents = [list(one.consents.all()) for one in held.rows(user=tester)]


def test_no_row_has_a_key_that_no_database_knows(tester: User) -> None:
    found = Prepared(lambda user, pk: Place.objects.filter(tester=user, pk=pk))

    assert found.first(user=tester, pk=2**63) is None
    assert found.first(user=tester, pk=-(2**70)) is None


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_rows_are_locked_within_a_transaction_only(place: Place) -> None:
    locked = Prepared(lambda pk: Place.objects.select_for_update().filter(pk=pk))
    with transaction.atomic():
        assert locked.first(pk=place.pk) == place

    with pytest.raises(TransactionManagementError, match="there is none"):
        locked.first(pk=place.pk)


@pytest.mark.parametrize(
    ("make", "values", "said"),
    [
        pytest.param(
            lambda now: Place.objects.filter(agreed_at__lt=now - dt.timedelta(days=14)),
            {"now": timezone.now()},
            "works “7000-01-20",
            id="another value worked out of one",
        ),
        pytest.param(
            lambda name: Place.objects.filter(name__contains=name),
            {"name": "Willow"},
            "works “%",
            id="a text that is looked for in a pattern",
        ),
        pytest.param(
            lambda pk: Place.objects.filter(pk__in=[pk] * (1 + pk % 2)).distinct()[: 1 + pk % 2],
            {"pk": 1},
            "another form",
            id="a form that hangs on a value",
        ),
        pytest.param(
            lambda name: Place.objects.filter(name=name), {"name": None}, "None is neither", id="no value"
        ),
        pytest.param(
            lambda pks: Place.objects.filter(pk__in=pks), {"pks": [1, 2]}, "is neither", id="a list of values"
        ),
        pytest.param(
            lambda user: Place.objects.none(), {"user": User(pk=1)}, "find nothing", id="nothing to find"
        ),
    ],
)
def test_a_query_that_cannot_be_prepared_is_refused(make: Any, values: dict[str, Any], said: str) -> None:
    with pytest.raises(CannotPrepare, match=said):
        Prepared(make).rows(**values)
