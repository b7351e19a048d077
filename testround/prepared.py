"""Statements that Django puts together once, and that are asked again with other values.

Of a long statement that finds a few rows, putting it together takes most of the time: a page that asks ten of them
waits longer for that than for the database.
"""

from __future__ import annotations

import copy
import datetime as dt
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from django.core.exceptions import EmptyResultSet
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.models import Model, QuerySet
from django.db.transaction import TransactionManagementError

Row = TypeVar("Row")
Values = Mapping[str, Any]
# No key is as large, and databases do not even compare with one that is.
MOST_ROWS = 2**63


class CannotPrepare(TypeError):
    """The query uses a value in a way that a statement put together beforehand cannot follow."""


class Prepared(Generic[Row]):
    """A query with gaps for values, as in ``Prepared(lambda user, date: places_of(user).filter(due__lt=date))``.

    A value is a row with a key, a key, a UUID, a text, a date or a moment, and stands in the query as it was given: a
    query that works another value out of it, or takes another form for other values, is refused as it is prepared. A
    list of values and None are not for it, as each makes a statement of another form.
    """

    def __init__(self, make: Callable[..., QuerySet[Row]]) -> None:
        self.make = make
        self._statements: dict[str, _Statement] = {}

    def rows(self, **values: Any) -> list[Row]:
        """What ``make`` finds with these values: one query, and what it prefetches."""
        if any(isinstance(value, int) and abs(value) >= MOST_ROWS for value in values.values()):
            return []
        return list(self.statement(**values).asked_with(values))

    def first(self, **values: Any) -> Row | None:
        """The first of them, for a query that asks for no more than one."""
        return next(iter(self.rows(**values)), None)

    def statement(self, **values: Any) -> _Statement:
        """The statement for values of these kinds, put together where it is not yet."""
        vendor = connections[DEFAULT_DB_ALIAS].vendor
        if vendor not in self._statements:
            self._statements[vendor] = _prepared(self.make, values)
        return self._statements[vendor]


@dataclass(frozen=True, slots=True)
class _Gap:
    """Where in the parameters of a statement a value goes."""

    name: str


@dataclass(frozen=True, slots=True)
class _Statement:
    queryset: QuerySet[Any]
    compiler: Any
    converters: Any
    """By column, what makes of what the database says what Python has for it."""
    sql: str
    pattern: tuple[Any, ...]

    def parameters(self, values: Values) -> tuple[Any, ...]:
        adapted = {name: _adapted(value) for name, value in values.items()}
        return tuple(adapted[one.name] if isinstance(one, _Gap) else one for one in self.pattern)

    def asked_with(self, values: Values) -> QuerySet[Any]:
        queryset = self.queryset._chain()
        connection = connections[DEFAULT_DB_ALIAS]
        locks = queryset.query.select_for_update and connection.features.has_select_for_update
        if locks and connection.get_autocommit():
            # Django says so as it puts a statement together, which it did in another transaction.
            raise TransactionManagementError(
                "Rows are locked until the end of a transaction, and there is none."
            )
        parameters = self.parameters(values)

        def get_compiler(*_args: Any, **_how: Any) -> Any:
            # What it has worked out of the query serves every thread; the connection is each thread's own.
            compiler = copy.copy(self.compiler)
            compiler.connection = connections[DEFAULT_DB_ALIAS]
            compiler.as_sql = lambda *_args, **_how: (self.sql, parameters)
            compiler.get_converters = lambda _columns: self.converters
            return compiler

        queryset.query.get_compiler = get_compiler
        return queryset


def _prepared(make: Callable[..., QuerySet[Any]], values: Values) -> _Statement:
    """The statement with gaps, found by putting it together twice with values that occur nowhere else."""
    marks = {name: _mark(value, n) for n, (name, value) in enumerate(values.items())}
    others = {name: _mark(value, n + len(values)) for n, (name, value) in enumerate(values.items())}
    queryset = make(**marks)
    compiler, sql, parameters = _compiled(queryset)
    _compiler, other_sql, other_parameters = _compiled(make(**others))
    if sql != other_sql:
        raise CannotPrepare(f"With other values the statement takes another form: {sql}")
    gaps = {_adapted(mark): _Gap(name) for name, mark in marks.items()}
    pattern = []
    for one, other in zip(parameters, other_parameters, strict=True):
        if one != other and one not in gaps:
            raise CannotPrepare(f"The query works “{one}” out of a value that it is given: {sql}")
        pattern.append(gaps[one] if one != other else one)
    converters = compiler.get_converters([column for column, *_rest in compiler.select])
    return _Statement(queryset, compiler, converters, sql, tuple(pattern))


def _compiled(queryset: QuerySet[Any]) -> tuple[Any, str, tuple[Any, ...]]:
    compiler = queryset.query.get_compiler(using=DEFAULT_DB_ALIAS)
    try:
        sql, parameters = compiler.as_sql()
    except EmptyResultSet as error:
        raise CannotPrepare("The query can find nothing, whatever it is given.") from error
    return compiler, sql, tuple(parameters)


def _mark(value: Any, n: int) -> Any:
    """A value of the same kind that stands in no query of ours."""
    far = dt.datetime(7000 + n, 2, 3, 4, 5, 6, tzinfo=dt.UTC)
    match value:
        case Model():
            # A request's person is asked for lazily, and stands for its class.
            return value.__class__(pk=7_000_000_000_000 + n)
        case dt.datetime():
            return far
        case dt.date():
            return far.date()
        case uuid.UUID():
            return uuid.UUID(int=7_000_000_000_000 + n)
        case str():
            # With every sign that some comparisons write otherwise.
            return f"\\%_{n} in no row"
        case bool():
            pass
        case int():
            return 7_000_000_000_000 + n
    raise CannotPrepare(f"{value!r} is neither a row, a key, a UUID, a text, a date nor a moment.")


def _adapted(value: Any) -> Any:
    """A value as the parameters of a statement have it."""
    connection = connections[DEFAULT_DB_ALIAS]
    operations = connection.ops
    match value:
        case Model():
            return value.pk
        case uuid.UUID():
            return value if connection.features.has_native_uuid_field else value.hex
        case dt.datetime():
            return operations.adapt_datetimefield_value(value)
        case dt.date():
            return operations.adapt_datefield_value(value)
    return value
