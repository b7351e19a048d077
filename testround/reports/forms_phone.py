"""Forms beside the reports: another counter, and the end of a sitting with a timer."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from testround.reports.counting import MOST_ROWS_A_PRESS
from testround.reports.fields import PercentField
from testround.reports.models_phone import LONGEST_LABEL
from testround.reports.sections import section_to_do, sections_of
from testround.reports.selectors import Desk


class Goals(forms.Select):
    """A choice of what to count; each bears its words and rows for the script that adds it without a network."""

    def __init__(self) -> None:
        super().__init__()
        self.meant: dict[str, tuple[str, int | None]] = {}

    def create_option(self, name: str, value: Any, *args: Any, **kwargs: Any) -> dict[str, Any]:
        option: dict[str, Any] = super().create_option(name, value, *args, **kwargs)
        if str(value) in self.meant:
            label, goal = self.meant[str(value)]
            option["attrs"]["data-label"] = label
            if goal is not None:
                option["attrs"]["data-goal"] = str(goal)
        return option


class CounterForm(forms.Form):
    """What to count: a section, the rows of one of its steps, or something in the tester's own words."""

    what = forms.ChoiceField(label=gettext_lazy("What will you count?"), required=False, widget=Goals())
    words = forms.CharField(
        label=gettext_lazy("Or in your own words"),
        required=False,
        max_length=LONGEST_LABEL,
        help_text=gettext_lazy("As in “Left front” or “Second sleeve”."),
    )

    def __init__(self, *args: Any, desk: Desk, ticked: Collection[str] = (), **kwargs: Any) -> None:
        """``ticked`` are the steps ticked off: the first section with something left is chosen beforehand."""
        super().__init__(*args, **kwargs)
        values = {line.key: line.value for place in desk.worksheet.places for line in place.numbers}
        self.meant: dict[str, tuple[str, int | None]] = {}
        groups: list[tuple[str, list[tuple[str, str]]]] = []
        sections = sections_of(desk.pattern)
        to_do = section_to_do(sections, {*ticked, *(row.number for row in desk.counts)})
        first = to_do.slug if to_do else ""
        for section in sections:
            choices = [(section.slug, _("{section}, row by row").format(section=section.title))]
            self.meant[section.slug] = (section.title[:LONGEST_LABEL], None)
            for number in section.numbers:
                if number.unit != "row":
                    continue
                goal = _goal(values[number.key])
                self.meant[f"rows {number.key}"] = (
                    f"{section.title}: {number.label}"[:LONGEST_LABEL],
                    goal,
                )
                words = number.label
                if goal:
                    words = ngettext("{label}, {rows} row", "{label}, {rows} rows", goal).format(
                        label=number.label, rows=goal
                    )
                choices.append((f"rows {number.key}", words))
            groups.append((section.title, choices))
        self.fields["what"].choices = groups
        self.initial.setdefault("what", first)
        widget = self.fields["what"].widget
        widget.meant = self.meant

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        words = (cleaned.get("words") or "").strip()
        label, goal = (words, None) if words else self.meant.get(cleaned.get("what") or "", ("", None))
        if not label and not self.errors:
            self.add_error("what", _("Choose what to count, or say it in your own words."))
        return {"label": label, "goal": goal}


def _goal(value: float | None) -> int | None:
    if value is None or not 1 <= round(value) <= MOST_ROWS_A_PRESS:
        return None
    return round(value)


class StopForm(forms.Form):
    """The end of a sitting: what it was, how far it came, and when the button was pressed if that was before."""

    key = forms.UUIDField(
        widget=forms.HiddenInput,
        error_messages={
            "required": gettext_lazy(
                "The timer lost its number on the way. Open the page again and stop it there."
            ),
            "invalid": gettext_lazy(
                "The timer’s number was changed on the way. Open the page again and stop it there."
            ),
        },
    )
    part = forms.ChoiceField(label=gettext_lazy("What did you work on"), required=False)
    done = PercentField(
        label=gettext_lazy("How much of it is finished now"),
        help_text=gettext_lazy("In per cent; your best guess will do."),
    )
    stopped_at = forms.CharField(required=False, widget=forms.HiddenInput, max_length=40)

    data: Any

    def __init__(self, *args: Any, desk: Desk, **kwargs: Any) -> None:
        super().__init__(*args, auto_id="stop_%s", **kwargs)
        parts = [(part.key, part.label) for part in desk.pattern.parts]
        self.fields["part"].choices = [*parts, ("", _("The whole piece"))]
        if not parts:
            self.fields["part"].widget = forms.HiddenInput()

    def clean_stopped_at(self) -> dt.datetime | None:
        try:
            at = parse_datetime(self.cleaned_data["stopped_at"])
        except ValueError:
            return None
        return at if at is not None and timezone.is_aware(at) else None

    def report(self) -> dict[str, Any]:
        cleaned = self.cleaned_data
        return {
            "key": cleaned["key"],
            "part": cleaned["part"],
            "done": cleaned["done"],
            "typed_done": str(self.data.get("done", "")).strip(),
            "stopped_at": cleaned["stopped_at"],
        }
