"""The forms of a tester. What is written is kept when a form is refused, and shown back as it was typed."""

from __future__ import annotations

import uuid
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext

from testround.kernel.measuring import how_to_measure
from testround.kernel.round import Craft, Dimension, Measure, Number
from testround.kernel.units import TypedLength, decimal, format_count, format_length, tool_label
from testround.kernel.words import and_more, commas
from testround.people.kept import fresh_key
from testround.people.readers import Reader
from testround.reports import doubts
from testround.reports.encoding import too_long
from testround.reports.fields import (
    AmountField,
    CountField,
    HoursField,
    LengthField,
    MetresField,
    PercentField,
    ToolField,
    as_typed,
)
from testround.reports.models import FABRIC_STATES, Draft, Fit, Remark, Sitting, Swatch
from testround.reports.photos import PhotoRefused, photo_check
from testround.reports.selectors import Desk
from testround.rounds.models import Consent
from testround.rounds.services.privacy import CHOSEN_APART

# What may be done with photos that are seen.
ABOUT_PHOTOS = (Consent.Kind.PATTERN, Consent.Kind.ONLINE, Consent.Kind.FACE, Consent.Kind.NAME)

READINGS = (1, 2, 3)
MOST_REMARK = 5000
MOST_NAMED = 6

__all__ = [
    "CountsForm",
    "FinishedForm",
    "FitForm",
    "GuessForm",
    "MeasuresForm",
    "PhotoForm",
    "RemarkForm",
    "SittingForm",
    "SwatchForm",
    "YarnForm",
]


class SentForm(forms.Form):
    """A form that is sent once: its key was made with the page."""

    key = forms.UUIDField(
        widget=forms.HiddenInput,
        error_messages={
            "required": gettext_lazy("The form lost its number on the way. Look it over and send it again."),
            "invalid": gettext_lazy(
                "The form's number was changed on the way. Look it over and send it again."
            ),
        },
    )

    data: Any

    def __init__(self, *args: Any, desk: Desk, reader: Reader, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.desk = desk
        self.reader = reader
        self.initial.setdefault("key", fresh_key)
        # Under which name what is typed is kept until it is sent, if it is; and what is kept.
        self.draft_name = ""
        self.draft: Draft | None = None

    def take_up(self, kept: Mapping[str, str]) -> None:
        """Begin with what a draft holds, where it still answers a question of the form."""
        for name, text in kept.items():
            if name in self.fields and not isinstance(self.fields[name].widget, forms.HiddenInput):
                self.initial[name] = text

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if "key" in self.errors:
            self.renew()
        return cleaned

    def renew(self) -> None:
        """Give the form another key, so that it can be sent as a report of its own."""
        data = self.data.copy()
        data[self.add_prefix("key")] = str(uuid.uuid4())
        self.data = data

    def sent_before(self, sentence: str) -> None:
        self.add_error(None, sentence)
        self.renew()

    def text(self, name: str) -> str:
        """What stands in a field, as typed."""
        return str(self.data.get(self.add_prefix(name), "")).strip()

    def length_text(self, name: str) -> str:
        length: TypedLength = self.cleaned_data[name]
        return as_typed(length.text, self.reader.units)


def _states(craft: Craft, blocked: str) -> list[tuple[str, str]]:
    """The states of the fabric to choose from, the one that counts first."""
    worked = _("Off the needles, not washed") if craft is Craft.KNIT else _("Off the hook, not washed")
    return [("blocked", blocked), ("worked", worked)]


class SwatchForm(SentForm):
    gauge = forms.ChoiceField(label=gettext_lazy("Which swatch"))
    state = forms.ChoiceField(
        label=gettext_lazy("How is it now"), choices=FABRIC_STATES, widget=forms.RadioSelect
    )

    def __init__(self, *args: Any, corrects: Swatch | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.corrects = corrects
        pattern, reader = self.desk.pattern, self.reader
        gauges = [(gauge.key, gauge.label) for gauge in pattern.gauges]
        self.fields["gauge"].choices = gauges
        if len(gauges) == 1:
            self.fields["gauge"].widget = forms.HiddenInput()
        self.fields["state"].choices = _states(
            pattern.craft, _("Washed, dried and measured at rest (blocked)")
        )
        self.fields["tool"] = ToolField(
            label=_("Needle size") if pattern.craft is Craft.KNIT else _("Hook size"),
            craft=pattern.craft,
            system=reader.tools,
        )
        self.fields["tool"].widget.attrs["list"] = "tools"
        self.fields["width"] = LengthField(label=_("Width measured"), units=reader.units)
        self.fields["stitches"] = CountField(label=_("Stitches in that width"), above_zero=True)
        self.fields["height"] = LengthField(label=_("Height measured"), units=reader.units)
        self.fields["rows"] = CountField(label=_("Rows in that height"), above_zero=True)
        self.fields["keep"] = forms.BooleanField(label=_("It is right, keep it"), required=False)
        self.doubt = ""
        self._begin_with(corrects)

    def _begin_with(self, corrects: Swatch | None) -> None:
        if self.is_bound:
            return
        stated = self.desk.pattern.gauges[0]
        self.initial.setdefault("gauge", stated.key)
        self.initial.setdefault("state", "blocked")
        if corrects is None:
            if stated.tool_mm and not self.desk.swatches:
                self.initial.setdefault("tool", self._tool_text(stated.tool_mm))
            return
        self.initial.update(gauge=corrects.gauge, state=corrects.state, **corrects.typed)
        for name in ("width", "height"):
            value = getattr(corrects, name)
            if value is not None:
                self.initial.setdefault(name, format_length(value, self.reader.units))
        for name in ("stitches", "rows"):
            value = getattr(corrects, name)
            if value is not None:
                self.initial.setdefault(name, format_count(value))
        if corrects.tool_mm is not None:
            self.initial.setdefault("tool", self._tool_text(corrects.tool_mm))

    def _tool_text(self, mm: float) -> str:
        label = tool_label(mm, self.desk.pattern.craft, self.reader.tools)
        return label.partition(" (")[0]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        self._check_pair(
            "width",
            "stitches",
            no_count=_("Write the stitches you counted across it too, or empty both."),
            no_length=_("Write the width they were counted over too, or empty both."),
        )
        self._check_pair(
            "height",
            "rows",
            no_count=_("Write the rows you counted up it too, or empty both."),
            no_length=_("Write the height they were counted over too, or empty both."),
        )
        wrong = self.errors.keys() & {"width", "stitches", "height", "rows"}
        if not wrong and cleaned.get("width") is None and cleaned.get("height") is None:
            self.add_error(
                "width", _("Write a width with its stitches, or a height with its rows, or better both.")
            )
        if not self.errors:
            self.doubt = doubts.of_swatch(
                self.desk, gauge=cleaned["gauge"], values=self.values(), units=self.reader.units
            )
            if self.doubt and not cleaned["keep"]:
                self.add_error("keep", self.doubt)
        return cleaned

    def _check_pair(self, length: str, count: str, *, no_count: str, no_length: str) -> None:
        has_length, has_count = (self.cleaned_data.get(name) is not None for name in (length, count))
        if length in self.errors or count in self.errors or has_length == has_count:
            return
        if has_length:
            self.add_error(count, no_count)
        else:
            self.add_error(length, no_length)

    def values(self) -> dict[str, float | None]:
        """The four readings, lengths in centimetres."""
        cleaned = self.cleaned_data
        return {
            "width": cleaned["width"] and cleaned["width"].cm,
            "stitches": cleaned["stitches"],
            "height": cleaned["height"] and cleaned["height"].cm,
            "rows": cleaned["rows"],
        }

    def report(self) -> dict[str, Any]:
        cleaned = self.cleaned_data
        typed = {
            name: self.length_text(name) for name in ("width", "height") if cleaned[name] is not None
        } | {name: self.text(name) for name in ("stitches", "rows", "tool") if cleaned[name] is not None}
        return {
            "gauge": cleaned["gauge"],
            "state": cleaned["state"],
            "tool_mm": cleaned["tool"] and cleaned["tool"].mm,
            **self.values(),
            "typed": typed,
            "corrects": self.corrects,
        }


@dataclass(frozen=True, slots=True)
class CountLine:
    """One number of the sheet on the counts page: its field, what the text says, what was sent before."""

    number: Number
    field: forms.BoundField
    value: float | None
    own: float | None
    sent: str
    keep: forms.BoundField
    doubt: str

    @property
    def unit(self) -> str:
        """What is counted, as it stands after a number."""
        return {"st": _("stitches"), "row": _("rows")}.get(self.number.unit, _("repeats"))


class CountsForm(SentForm):
    """The numbers of the sheet, or those of one section; what stays empty is not worked yet, or stays as sent."""

    def __init__(self, *args: Any, only: Collection[str] | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.doubts: dict[str, str] = {}
        self._numbers = tuple(
            number for number in self.desk.pattern.numbers if only is None or number.key in only
        )
        right = _("It is right, keep it")
        for number in self._numbers:
            self.fields[_counted(number)] = CountField(label=number.label)
            self.fields[_keep(number)] = forms.BooleanField(label=right, required=False)

    @property
    def own_beside(self) -> bool:
        """Whether what the tester's own gauge would need stands beside a number."""
        return any(line.own is not None for _place, lines in self.groups() for line in lines)

    def groups(self) -> list[tuple[str, list[CountLine]]]:
        """The lines by place in the text, in the sheet's order."""
        values = {line.key: line for place in self.desk.worksheet.places for line in place.numbers}
        sent = {row.number: row.typed.get("worked") or format_count(row.worked) for row in self.desk.counts}
        grouped: dict[str, list[CountLine]] = {}
        for number in self._numbers:
            line = values[number.key]
            grouped.setdefault(line.place, []).append(
                CountLine(
                    number=number,
                    field=self[_counted(number)],
                    value=line.value,
                    own=line.own_if_other,
                    sent=sent.get(number.key, ""),
                    keep=self[_keep(number)],
                    doubt=self.doubts.get(number.key, ""),
                )
            )
        return list(grouped.items())

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if not self.errors and not any(cleaned[_counted(number)] is not None for number in self._numbers):
            raise ValidationError(_("Nothing is written yet. Write at least one count, then send."))
        self.doubts = doubts.of_counts(self.desk, counts=self._counts())
        for number in self._numbers:
            if number.key in self.doubts and not cleaned.get(_keep(number)):
                self.add_error(_counted(number), self.doubts[number.key])
        return cleaned

    def _counts(self) -> dict[str, float]:
        return {
            number.key: self.cleaned_data[_counted(number)]
            for number in self._numbers
            if self.cleaned_data.get(_counted(number)) is not None
        }

    def report(self) -> dict[str, Any]:
        counts = self._counts()
        typed = {number.key: self.text(_counted(number)) for number in self._numbers if number.key in counts}
        return {"counts": counts, "typed": typed}


def _counted(number: Number) -> str:
    return f"count_{number.key}"


@dataclass(frozen=True, slots=True)
class MeasureLine:
    """One thing to measure: its fields, how to take it, what was sent before, and a doubt about it."""

    entry: Dimension | Measure
    fields: list[forms.BoundField]
    keep: forms.BoundField
    sent: str
    doubt: str

    @property
    def first(self) -> forms.BoundField:
        return self.fields[0]

    @property
    def wrong(self) -> list[tuple[str, list[str]]]:
        """What is to be mended, by the id that the field points at; the question is not among it."""
        found = []
        for field in self.fields:
            sentences = [str(error) for error in field.errors if str(error) != self.doubt]
            if sentences:
                found.append((f"{field.auto_id}_error", sentences))
        return found

    @property
    def question_id(self) -> str:
        """The id by which the first field points at the question, where it has nothing else to point at."""
        ident = f"{self.first.auto_id}_error"
        return ident if self.first.errors and ident not in dict(self.wrong) else ""

    @property
    def how(self) -> str:
        """How it is taken: in the pattern's words, and for a body as is common practice where it has none."""
        if isinstance(self.entry, Dimension):
            return self.entry.how or ""
        return how_to_measure(self.entry.key, self.entry.label, self.entry.how)

    @property
    def errors(self) -> list[str]:
        return [str(error) for field in self.fields for error in field.errors]


class FinishedForm(SentForm):
    state = forms.ChoiceField(
        label=gettext_lazy("How is the piece now"), choices=FABRIC_STATES, widget=forms.RadioSelect
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["state"].choices = _states(
            self.desk.pattern.craft, _("Washed and dried to shape (blocked)")
        )
        self.initial.setdefault("state", "blocked")
        self.doubts: dict[str, str] = {}
        nth, right = _("{dimension}, reading {number}"), _("It is right, keep it")
        for dimension in self._dimensions:
            for reading in READINGS:
                name = nth.format(dimension=dimension.label, number=reading)
                self.fields[_read_at(dimension, reading)] = LengthField(label=name, units=self.reader.units)
            self.fields[_keep(dimension)] = forms.BooleanField(label=right, required=False)

    @property
    def _dimensions(self) -> tuple[Dimension, ...]:
        return self.desk.pattern.dimensions

    def lines(self) -> list[MeasureLine]:
        sent = {}
        for row in self.desk.finished:
            typed = row.typed.get("values") or [
                format_length(value, self.reader.units) for value in row.values
            ]
            sent[row.dimension] = commas(typed)
        return [
            MeasureLine(
                entry=dimension,
                fields=[self[_read_at(dimension, reading)] for reading in READINGS],
                keep=self[_keep(dimension)],
                sent=sent.get(dimension.key, ""),
                doubt=self.doubts.get(dimension.key, ""),
            )
            for dimension in self._dimensions
        ]

    def readings(self, dimension: Dimension) -> list[TypedLength]:
        found = (self.cleaned_data.get(_read_at(dimension, reading)) for reading in READINGS)
        return [length for length in found if length is not None]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        given = {dimension.key: self.readings(dimension) for dimension in self._dimensions}
        if not self.errors and not any(given.values()):
            raise ValidationError(_("Nothing is written yet. Write at least one measurement, then send."))
        self.doubts = doubts.of_finished(
            self.desk,
            readings={key: [length.cm for length in lengths] for key, lengths in given.items() if lengths},
            units=self.reader.units,
        )
        for dimension in self._dimensions:
            if dimension.key in self.doubts and not cleaned.get(_keep(dimension)):
                self.add_error(_read_at(dimension, 1), self.doubts[dimension.key])
        return cleaned

    def doubt_about(self, key: str, readings: list[float]) -> str:
        """The question about the readings of one dimension, cm; empty where there is none."""
        return doubts.of_finished(self.desk, readings={key: readings}, units=self.reader.units).get(key, "")

    def report(self) -> dict[str, Any]:
        given = {dimension.key: self.readings(dimension) for dimension in self._dimensions}
        return {
            "state": self.cleaned_data["state"],
            "readings": {key: [length.cm for length in lengths] for key, lengths in given.items() if lengths},
            "typed": {
                key: [as_typed(length.text, self.reader.units) for length in lengths]
                for key, lengths in given.items()
                if lengths
            },
        }


def _read_at(dimension: Dimension, reading: int) -> str:
    return f"read_{dimension.key}_{reading}"


def _keep(entry: Dimension | Measure | Number) -> str:
    return f"keep_{entry.key}"


class MeasuresForm(SentForm):
    """The tester's own body measurements: all of them for a piece made to measure, any for a graded one."""

    def __init__(self, *args: Any, typed: dict[str, str] | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.doubts: dict[str, str] = {}
        own = self.desk.place.measures
        for measure in self._measures:
            needed = not self.desk.pattern.is_graded
            self.fields[_body(measure)] = LengthField(
                label=measure.label,
                units=self.reader.units,
                required=needed,
                error_messages={"required": _("Your numbers are worked out from this one; write it in.")},
            )
            self.fields[_keep(measure)] = forms.BooleanField(label=_("It is right, keep it"), required=False)
            if measure.key in own:
                shown = format_length(own[measure.key], self.reader.units)
                self.initial.setdefault(_body(measure), (typed or {}).get(measure.key, shown))

    @property
    def _measures(self) -> tuple[Measure, ...]:
        return self.desk.pattern.measures

    @property
    def asked(self) -> str:
        """What is asked for, by name: "Full bust, Cross back", after six of them "and 2 more"; empty where nothing is."""
        labels = [measure.label for measure in self._measures]
        return and_more(labels[:MOST_NAMED], len(labels) - MOST_NAMED)

    def lines(self) -> list[MeasureLine]:
        return [
            MeasureLine(
                entry=measure,
                fields=[self[_body(measure)]],
                keep=self[_keep(measure)],
                sent="",
                doubt=self.doubts.get(measure.key, ""),
            )
            for measure in self._measures
        ]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        self.doubts = doubts.of_body(self.desk, measures=self._centimetres(), units=self.reader.units)
        for measure in self._measures:
            if measure.key in self.doubts and not cleaned.get(_keep(measure)):
                self.add_error(_body(measure), self.doubts[measure.key])
        return cleaned

    def doubt_about(self, key: str, readings: list[float]) -> str:
        """The question about one body measurement, cm; empty where there is none."""
        given = dict.fromkeys([key], readings[0]) if readings else {}
        return doubts.of_body(self.desk, measures=given, units=self.reader.units).get(key, "")

    def _centimetres(self) -> dict[str, float]:
        found = {measure.key: self.cleaned_data.get(_body(measure)) for measure in self._measures}
        return {key: length.cm for key, length in found.items() if length is not None}

    def report(self) -> dict[str, Any]:
        measures = self._centimetres()
        typed = {
            measure.key: self.length_text(_body(measure))
            for measure in self._measures
            if measure.key in measures
        }
        return {"measures": measures, "typed": typed}


def _body(measure: Measure) -> str:
    return f"body_{measure.key}"


class SittingForm(SentForm):
    part = forms.ChoiceField(label=gettext_lazy("What did you work on"), required=False)
    hours = HoursField(
        label=gettext_lazy("How long"),
        required=True,
        help_text=gettext_lazy("Hours and minutes as 2:30, or hours as 2.5."),
    )
    done = PercentField(
        label=gettext_lazy("How much of it is finished now"),
        help_text=gettext_lazy("In per cent, of that part. Your best guess will do."),
    )

    def __init__(self, *args: Any, corrects: Sitting | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.corrects = corrects
        parts = [(part.key, part.label) for part in self.desk.pattern.parts]
        self.fields["part"].choices = [*parts, ("", _("The whole piece"))]
        if not parts:
            self.fields["part"].widget = forms.HiddenInput()
        if corrects is not None:
            self.initial.update(part=corrects.part or "", **corrects.typed)
            self.initial.setdefault("hours", decimal(corrects.hours))
            if corrects.done is not None:
                self.initial.setdefault("done", decimal(100 * corrects.done))

    def report(self) -> dict[str, Any]:
        cleaned = self.cleaned_data
        typed = {name: self.text(name) for name in ("hours", "done") if cleaned[name] is not None}
        return {
            "part": cleaned["part"] or None,
            "hours": cleaned["hours"],
            "done": cleaned["done"],
            "typed": typed,
            "corrects": self.corrects,
        }


class RemarkForm(SentForm):
    where = forms.ChoiceField(label=gettext_lazy("Where in the text"), required=False)
    where_other = forms.CharField(
        label=gettext_lazy("Or the place in your own words"),
        required=False,
        max_length=200,
        help_text=gettext_lazy("Page, section, row."),
    )
    kind = forms.ChoiceField(
        label=gettext_lazy("What kind of stumble"), choices=Remark.KINDS, widget=forms.RadioSelect
    )
    remark = forms.CharField(
        label=gettext_lazy("What made you stumble"),
        max_length=MOST_REMARK,
        widget=forms.Textarea(attrs={"rows": 5}),
        error_messages={"required": gettext_lazy("Write what you stumbled over; a few words are enough.")},
    )

    def __init__(self, *args: Any, corrects: Remark | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.corrects = corrects
        places = list(dict.fromkeys(number.place for number in self.desk.pattern.numbers if number.place))
        self.fields["where"].choices = [
            ("", _("No place in particular")),
            *((place, place) for place in places),
        ]
        self.initial.setdefault("kind", Remark.KINDS[1][0])
        if corrects is not None:
            listed = corrects.where in places
            self.initial.update(
                where=corrects.where if listed else "",
                where_other="" if listed else corrects.where or "",
                kind=corrects.kind,
                remark=corrects.text,
            )

    def report(self) -> dict[str, Any]:
        cleaned = self.cleaned_data
        return {
            "where": cleaned["where_other"].strip() or cleaned["where"] or None,
            "kind": cleaned["kind"],
            "text": cleaned["remark"],
            "corrects": self.corrects,
        }


class FitForm(SentForm):
    def __init__(self, *args: Any, said: dict[str, str] | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for dimension in self.desk.pattern.dimensions:
            self.fields[_fits(dimension)] = forms.ChoiceField(
                label=dimension.label,
                choices=[("", pgettext("how it fits", "not said")), *Fit.SAYS],
                required=False,
            )
            self.initial.setdefault(_fits(dimension), (said or {}).get(dimension.key, ""))

    def lines(self) -> Iterator[forms.BoundField]:
        return (self[_fits(dimension)] for dimension in self.desk.pattern.dimensions)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if not self.errors and not any(cleaned[_fits(d)] for d in self.desk.pattern.dimensions):
            raise ValidationError(_("Nothing is chosen yet. Say of at least one measurement how it fits."))
        return cleaned

    def report(self) -> dict[str, Any]:
        says = {
            dimension.key: self.cleaned_data[_fits(dimension)]
            for dimension in self.desk.pattern.dimensions
            if self.cleaned_data[_fits(dimension)]
        }
        return {"says": says}


def _fits(dimension: Dimension) -> str:
    return f"fit_{dimension.key}"


class GuessForm(SentForm):
    hours = AmountField(
        label=gettext_lazy("Hours"),
        most=100_000,
        example="35",
        help_text=gettext_lazy("All sittings together."),
    )
    metres = MetresField(
        label=gettext_lazy("Yarn"), help_text=gettext_lazy("Metres, or yards with yd after the number.")
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        place = self.desk.place
        _set_amount(self.initial, "hours", place.guess_hours)
        _set_amount(self.initial, "metres", place.guess_metres)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if not self.errors and cleaned["hours"] is None and cleaned["metres"] is None:
            raise ValidationError(_("Nothing is written yet. Write hours, yarn or both."))
        return cleaned

    def report(self) -> dict[str, Any]:
        return _amounts(self, "hours", "metres")


class YarnForm(SentForm):
    metres = MetresField(
        label=gettext_lazy("By length"), help_text=gettext_lazy("Metres, or yards with yd after the number.")
    )
    grams = AmountField(
        label=gettext_lazy("By weight"),
        most=1_000_000,
        example="420",
        help_text=gettext_lazy(
            "In grams: what the finished piece weighs dry, or what is gone from the balls."
        ),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _set_amount(self.initial, "metres", self.desk.place.used_metres)
        _set_amount(self.initial, "grams", self.desk.place.used_grams)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if not self.errors and cleaned["metres"] is None and cleaned["grams"] is None:
            raise ValidationError(_("Nothing is written yet. Write metres or grams."))
        return cleaned

    def report(self) -> dict[str, Any]:
        return _amounts(self, "metres", "grams")


def _set_amount(initial: dict[str, Any], name: str, value: float | None) -> None:
    if value is not None:
        initial.setdefault(name, decimal(value))


def _amounts(form: SentForm, *names: str) -> dict[str, Any]:
    given = {name: form.cleaned_data[name] for name in names}
    return {**given, "typed": {name: form.text(name) for name in names if given[name] is not None}}


def read_photo(upload: UploadedFile) -> bytes:
    """What was uploaded, once it is known to be a photo. Raises ValidationError."""
    if upload.size > settings.PHOTO_MAX_BYTES:
        raise ValidationError(too_long(upload.size, settings.PHOTO_MAX_BYTES))
    data = upload.read()
    try:
        photo_check(data)
    except PhotoRefused as refused:
        raise ValidationError(refused.sentence) from refused
    return bytes(data)


class PhotoForm(SentForm):
    photo = forms.FileField(
        label=gettext_lazy("Photo"),
        allow_empty_file=True,
        max_length=500,
        widget=forms.ClearableFileInput(
            attrs={"accept": "image/jpeg,image/png,image/webp,image/heic,image/heif"}
        ),
        error_messages={
            "required": gettext_lazy("Choose a photo first."),
            "missing": gettext_lazy("Choose a photo first."),
        },
    )
    dimension = forms.ChoiceField(
        label=gettext_lazy("Which measurement it shows"),
        required=False,
        help_text=gettext_lazy("So that the designer can hold it beside the same place on other pieces."),
        error_messages={
            "invalid_choice": gettext_lazy(
                "Choose one of the measurements in the list, or leave it at the whole piece."
            )
        },
    )
    caption = forms.CharField(label=gettext_lazy("What it shows"), required=False, max_length=500)
    seen = forms.BooleanField(
        help_text=gettext_lazy(
            "All your photos of this piece. You can take it back at any time; they are deleted then."
        ),
        error_messages={
            "required": gettext_lazy("Tick this to send a photo. Without it nobody could see the photo.")
        },
    )

    def __init__(self, *args: Any, seen: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["dimension"].choices = [
            ("", _("The whole piece, or other")),
            *((dimension.key, dimension.label) for dimension in self.desk.pattern.dimensions),
        ]
        if seen:
            # They said so before, and it stands until they take it back.
            del self.fields["seen"]
        else:
            owner = self.desk.place.round.edition.pattern.owner
            self.fields["seen"].label = _(
                "{owner}, and whoever edits the pattern beside them, may see my photos"
            ).format(owner=owner)

    def clean_photo(self) -> bytes:
        return read_photo(self.cleaned_data["photo"])

    def report(self) -> dict[str, Any]:
        return {
            "data": self.cleaned_data["photo"],
            "caption": self.cleaned_data["caption"].strip() or None,
            "dimension": self.cleaned_data["dimension"],
            "seen": bool(self.cleaned_data.get("seen")),
        }


class ConsentsForm(forms.Form):
    """What a tester allows: every kind by itself, none of them unless it was said before."""

    def __init__(self, *args: Any, standing: Collection[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for kind, label in Consent.Kind.choices:
            if kind in CHOSEN_APART:
                continue
            self.fields[kind] = forms.BooleanField(label=label, required=False, initial=kind in standing)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        shown = [kind for kind in ABOUT_PHOTOS if cleaned.get(kind)]
        if shown and not cleaned.get(Consent.Kind.SEEN):
            self.add_error(
                Consent.Kind.SEEN,
                _("Whoever is to show your photos has to see them: tick this too, or untick the others."),
            )
        return cleaned

    def kinds(self) -> set[str]:
        return {kind for kind in Consent.Kind.values if self.cleaned_data.get(kind)}


class PictureForm(forms.Form):
    """A picture for the page of a call."""

    photo = forms.FileField(
        label=gettext_lazy("Picture"),
        allow_empty_file=True,
        max_length=500,
        widget=forms.ClearableFileInput(
            attrs={"accept": "image/jpeg,image/png,image/webp,image/heic,image/heif"}
        ),
        error_messages={
            "required": gettext_lazy("Choose a picture first."),
            "missing": gettext_lazy("Choose a picture first."),
        },
    )
    shows = forms.CharField(
        label=gettext_lazy("What it shows"),
        max_length=300,
        help_text=gettext_lazy(
            "As in “The cardigan from the front, buttoned”. It stands below the picture, and is read out to those "
            "who cannot see it."
        ),
        error_messages={
            "required": gettext_lazy("Say what is to be seen in it, for those who cannot see it.")
        },
    )
    key = forms.UUIDField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["key"].initial = uuid.uuid4

    def clean_photo(self) -> bytes:
        return read_photo(self.cleaned_data["photo"])
