"""Which entries of a list are asked for, by django-filter; a value that cannot be is refused and not passed over."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import django_filters as df
from django import forms
from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter

from testround.api.paging import MOST_ID
from testround.api.problems import Fault, invalid


class RowFilter(df.NumberFilter):
    """Rows of an object named by its number, which is no larger than a database has any."""

    field_class = forms.IntegerField

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, min_value=0, max_value=MOST_ID, **options)


def filtered(
    filters: type[df.FilterSet] | None, rows: QuerySet[Any], asked: Mapping[str, str]
) -> QuerySet[Any]:
    """The rows that the parameters of an address ask for. Raises with each parameter that is not understood."""
    if filters is None:
        return rows
    bound = filters(asked, queryset=rows)
    if not bound.is_valid():
        raise invalid(
            *(Fault(sentence, parameter=name) for name, said in bound.errors.items() for sentence in said)
        )
    found: QuerySet[Any] = bound.qs
    return found


_SCHEMAS: tuple[tuple[type[df.Filter], dict[str, Any]], ...] = (
    (df.BooleanFilter, {"type": "boolean"}),
    (df.IsoDateTimeFilter, {"type": "string", "format": "date-time"}),
    (df.DateFilter, {"type": "string", "format": "date"}),
    (RowFilter, {"type": "integer", "minimum": 0, "maximum": MOST_ID}),
    (df.NumberFilter, {"type": "number"}),
    (df.CharFilter, {"type": "string"}),
)


def parameters_of(filters: type[df.FilterSet] | None) -> list[OpenApiParameter]:
    """The parameters of a list's filters, for the OpenAPI document: each has its ``label`` as what it says."""
    if filters is None:
        return []
    return [
        OpenApiParameter(name, _schema_of(one), OpenApiParameter.QUERY, description=str(one.label or ""))
        for name, one in filters.base_filters.items()
    ]


def _schema_of(one: df.Filter) -> dict[str, Any]:
    if choices := one.extra.get("choices"):
        return {"type": "string", "enum": [str(value) for value, _label in choices]}
    for kind, schema in _SCHEMAS:
        if isinstance(one, kind):
            return schema
    raise TypeError(f"{type(one).__name__} has no schema yet: add it to filtering._SCHEMAS.")
