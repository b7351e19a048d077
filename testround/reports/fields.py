"""Form fields for what a tester types: lengths, counts, tools, hours. What they say is the kernel's."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from typing import Any, TypeVar

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from testround.kernel import units
from testround.kernel.units import LengthUnit, ToolSystem, TypedLength, TypedTool, UnitsError

T = TypeVar("T")

MOST_HOURS_AT_A_TIME = 24 * 7
# Units in the words of every language that is spoken here, whichever is read at the moment.
_HOUR = r"(?:h|hrs?|hours?|std\.?|stunden?)"
_MINUTE = r"(?:m|min\.?|mins|minutes?|minuten)"
_CLOCK = re.compile(rf"(\d{{1,3}})\s*(?::|{_HOUR})\s*([0-5]?\d)\s*{_MINUTE}?", re.IGNORECASE)
_MINUTES = re.compile(rf"(\d{{1,4}})\s*{_MINUTE}", re.IGNORECASE)
# The yard is 0.9144 m exactly: international yard and pound agreement, 1959.
METRES_PER_YARD = Fraction(9144, 10000)
_YARN = re.compile(r"(?P<amount>.*?)\s*(?:(?P<yards>yds?|yards?)|m|metres?|meters?)?\.?", re.IGNORECASE)
_HOURS = re.compile(rf"(.*?)\s*{_HOUR}?", re.IGNORECASE)


def _read(read: Callable[..., T], text: str, label: str, *args: Any, **options: Any) -> T:
    """What was typed, or the kernel's sentence; the label in front is the page's to say."""
    try:
        return read(text, *args, name=label, **options)
    except UnitsError as error:
        sentence = str(error).removeprefix(f"{label}: ")
        raise ValidationError(sentence[:1].upper() + sentence[1:]) from error


class TypedField(forms.CharField):
    """A short text that is kept as typed and read by the kernel."""

    inputmode = "decimal"

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("required", False)
        kwargs.setdefault("max_length", 60)
        super().__init__(**kwargs)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return {"inputmode": self.inputmode, "autocomplete": "off", **super().widget_attrs(widget)}

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        return self.read(text) if text else None

    def read(self, text: str) -> Any:
        raise NotImplementedError

    @property
    def name(self) -> str:
        return str(self.label or _("This"))


class LengthField(TypedField):
    """A length in the tester's unit unless another is typed; gives a TypedLength."""

    def __init__(self, *, units: LengthUnit, **kwargs: Any) -> None:
        self.units = units
        # The decimal keys of a phone have no stroke for fractions of an inch.
        self.inputmode = "decimal" if units == "cm" else "text"
        super().__init__(**kwargs)

    def read(self, text: str) -> TypedLength:
        return _read(units.parse_length, text, self.name, self.units)


class CountField(TypedField):
    """Stitches, rows or repeats; gives a float."""

    inputmode = "text"

    def __init__(self, *, above_zero: bool = False, **kwargs: Any) -> None:
        self.above_zero = above_zero
        super().__init__(**kwargs)

    def read(self, text: str) -> float:
        count = _read(units.parse_count, text, self.name)
        if self.above_zero and count <= 0:
            raise ValidationError(
                _("There is at least a part of one in any swatch; write how many you counted.")
            )
        return count


class ToolField(TypedField):
    """A hook or needle in the tester's own system; gives a TypedTool."""

    inputmode = "text"

    def __init__(self, *, craft: str, system: ToolSystem, **kwargs: Any) -> None:
        self.craft = craft
        self.system = system
        super().__init__(**kwargs)

    def read(self, text: str) -> TypedTool:
        return _read(units.parse_tool, text, self.name, self.craft, self.system)


class HoursField(TypedField):
    """A stretch of time: "2:30", "2.5", "2 h 30 min", "45 min", "1 1/2"; gives hours."""

    inputmode = "text"

    def read(self, text: str) -> float:
        hours = self._hours(text.strip())
        if hours <= 0:
            raise ValidationError(
                _("A sitting takes some time; write how long it was, as in {example}.").format(
                    example=_times()
                )
            )
        if hours > MOST_HOURS_AT_A_TIME:
            raise ValidationError(
                _(
                    "That is more than a week without a break. Write hours, as in {example}, or log it in parts."
                ).format(example=_times())
            )
        return float(hours)

    def _hours(self, text: str) -> Fraction:
        if found := _CLOCK.fullmatch(text):
            return int(found[1]) + Fraction(int(found[2]), 60)
        if found := _MINUTES.fullmatch(text):
            return Fraction(int(found[1]), 60)
        found = _HOURS.fullmatch(text)
        try:
            return Fraction(units.parse_count(found[1] if found else text))
        except UnitsError as error:
            raise ValidationError(
                _("“{entry}” is no time; write hours as in {example}.").format(entry=text, example=_times())
            ) from error


class AmountField(TypedField):
    """A plain amount above zero, of metres, grams or hours; gives a float."""

    def __init__(self, *, most: float, example: str, **kwargs: Any) -> None:
        self.most = most
        self.example = example
        super().__init__(**kwargs)

    def read(self, text: str) -> float:
        words = re.sub(
            rf"\s*(?:m|metres?|meters?|g|gramm|grams?|{_HOUR})$", "", text.strip(), flags=re.IGNORECASE
        )
        try:
            amount = units.parse_count(words)
        except UnitsError as error:
            raise ValidationError(
                _("“{entry}” cannot be read as an amount; write a number, as in {example}.").format(
                    entry=text.strip(), example=self.example
                )
            ) from error
        if amount <= 0:
            raise ValidationError(_above_zero(self.example))
        if amount > self.most:
            raise ValidationError(_too_much(text))
        return amount


class MetresField(TypedField):
    """A length of yarn in metres, or in yards when they are named; gives metres."""

    inputmode = "text"
    most = 1_000_000

    def read(self, text: str) -> float:
        found = _YARN.fullmatch(text.strip())
        try:
            amount = units.parse_count(found["amount"] if found else text)
        except UnitsError as error:
            raise ValidationError(
                _(
                    "“{entry}” cannot be read as a length of yarn; write metres, as in 1010, or 1100 yd."
                ).format(entry=text.strip())
            ) from error
        metres = float(Fraction(amount) * (METRES_PER_YARD if found and found["yards"] else 1))
        if metres <= 0:
            raise ValidationError(_above_zero("1010"))
        if metres > self.most:
            raise ValidationError(_too_much(text))
        return metres


class PercentField(TypedField):
    """A share in per cent; gives 0 to 1."""

    def read(self, text: str) -> float:
        try:
            share = units.parse_count(text.strip().removesuffix("%").strip())
        except UnitsError as error:
            raise ValidationError(
                _("“{entry}” is no share; write per cent, as in 40.").format(entry=text.strip())
            ) from error
        if share > 100:
            raise ValidationError(_("A part is at most 100 per cent done; write 100 when it is finished."))
        return share / 100


def _times() -> str:
    """Two ways to write a length of time, as an example."""
    return _("{clock} or {hours}").format(clock="2:30", hours=units.decimal(2.5))


def _above_zero(example: str) -> str:
    return _("Write an amount above zero, as in {example}, or leave it empty.").format(example=example)


def _too_much(text: str) -> str:
    return _("“{entry}” is more than can be meant; check the number.").format(entry=text.strip())


def as_typed(text: str, unit: str) -> str:
    """What was typed, with the unit it was meant in when none was written."""
    text = text.strip()
    return text if re.search(r"[^\W\d_]|[\"”″'’′]", re.sub(r"[¼½¾⅛⅜⅝⅞⅓⅔]", "", text)) else f"{text} {unit}"
