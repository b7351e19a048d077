"""What requests are made of: bodies that say which field is not known, and documents of the kernel."""

from __future__ import annotations

import numbers
from collections.abc import Mapping
from typing import Any

from django.http import QueryDict
from django.utils.translation import gettext as _
from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from rest_framework import serializers


class Input(serializers.Serializer):
    """The body of a request. A field it does not know, or a value of another JSON type, is refused and not guessed at."""

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, Mapping):
            problems: dict[str, list[str]] = {
                str(name): [
                    _("This is no field here. There are: {names}.").format(names=", ".join(self.fields))
                ]
                for name in data
                if name not in self.fields
            }
            if not isinstance(data, QueryDict):
                for name, field in self.fields.items():
                    if name in data and (said := _of_another_type(field, data[name])):
                        problems[name] = [said]
            if problems:
                raise serializers.ValidationError(problems)
        return super().to_internal_value(data)


_TEXTS = (
    serializers.CharField,
    serializers.ChoiceField,
    serializers.DateField,
    serializers.DateTimeField,
    serializers.UUIDField,
)


def _of_another_type(field: Any, value: Any) -> str:
    """What is wrong with the JSON type of a value; nothing when it is right or the field will say it."""
    if value is None:
        return ""
    if isinstance(field, serializers.BooleanField):
        return "" if isinstance(value, bool) else _("Write true or false.")
    if isinstance(field, serializers.IntegerField):
        whole = isinstance(value, numbers.Integral) or (isinstance(value, float) and value.is_integer())
        return "" if whole and not isinstance(value, bool) else _("Write a whole number.")
    if isinstance(field, serializers.FloatField):
        return "" if isinstance(value, numbers.Real) and not isinstance(value, bool) else _("Write a number.")
    if isinstance(field, _TEXTS) and not isinstance(field, serializers.MultipleChoiceField):
        return "" if isinstance(value, str) else _("Write this as text, in quotes.")
    return ""


class DocumentField(serializers.Field):
    """A document that the kernel reads and writes; ``component`` names its schema, as in "Sheet"."""

    def __init__(self, component: str, **options: Any) -> None:
        self.component = component
        super().__init__(**options)

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, dict):
            raise serializers.ValidationError(_("Write this as an object."))
        return data

    def to_representation(self, value: Any) -> Any:
        return value


class DocumentFieldSchema(OpenApiSerializerFieldExtension):
    """Refers to the component, which `openapi.complete` adds."""

    target_class = DocumentField

    def map_serializer_field(self, auto_schema: Any, direction: str) -> dict[str, Any]:
        return {"$ref": f"#/components/schemas/{self.target.component}"}
