from __future__ import annotations

import json
from typing import Any

from django import forms
from django.conf import settings
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from testround.kernel.problems import Problem
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.roundfile import RoundFileError, read_pattern
from testround.kernel.units import UnitsError, decimal
from testround.patterns.fields import CRAFTS, Scale
from testround.patterns.models import Edition

KINDS = [
    ("graded", _("Graded: written in sizes")),
    ("made-to-measure", _("Made to measure: worked out from each maker’s own measurements")),
]


class UploadForm(forms.Form):
    """A pattern from a file. What is wrong with the file is in ``problems``, all of it."""

    file = forms.FileField(
        label=_("File"),
        help_text=_(
            "A pattern’s file, or a round’s, of which only the pattern is taken. JSON, at most 40 MB."
        ),
        allow_empty_file=True,
        error_messages={"required": _("Choose a file first."), "missing": _("Choose a file first.")},
        widget=forms.FileInput(attrs={"accept": ".json,application/json"}),
    )
    terms = forms.ChoiceField(
        label=_("Stitch terms in its text"),
        choices=[("", _("Find out from the text")), *Edition.Terms.choices],
        required=False,
        help_text=_("For crochet. “Double crochet” is one stitch in US terms and another in UK terms."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.problems: tuple[Problem, ...] = ()
        self.problems_title = ""

    def clean_file(self) -> SheetDocument:
        upload = self.cleaned_data["file"]
        most = settings.ROUND_FILE_MAX_BYTES
        if upload.size > most:
            raise forms.ValidationError(
                gettext(
                    "{name} has {size} MB; at most {most} MB are taken. A pattern alone is far smaller: leave testers "
                    "and photos out of the file."
                ).format(
                    name=upload.name, size=decimal(upload.size / 1e6, ".0f"), most=decimal(most / 1e6, ".0f")
                )
            )
        data = upload.read()
        if data.startswith(b"PK\x03\x04"):
            raise forms.ValidationError(
                gettext("{name} is a ZIP archive; take the JSON file out of it and choose that.").format(
                    name=upload.name
                )
            )
        try:
            return read_pattern(data, most_bytes=most)
        except RoundFileError as refusal:
            self.problems = refusal.problems
            self.problems_title = gettext("What to mend in {name}").format(name=upload.name)
            n = len(self.problems)
            raise forms.ValidationError(
                ngettext(
                    "{name} was not taken: there is one thing to mend. Nothing was stored.",
                    "{name} was not taken: there are {n} things to mend. Nothing was stored.",
                    n,
                ).format(name=upload.name, n=n)
            ) from None


class BlankSheetForm(forms.Form):
    """The least that a sheet can start with: title, sizes and one gauge."""

    title = forms.CharField(label=_("Title"), max_length=200)
    edition = forms.CharField(
        label=_("Edition"), max_length=200, initial="0.1", help_text=_("As you number it.")
    )
    craft = forms.ChoiceField(label=_("Craft"), choices=CRAFTS, initial="knit", widget=forms.RadioSelect)
    kind = forms.ChoiceField(label=_("Kind"), choices=KINDS, initial="graded", widget=forms.RadioSelect)
    sizes = forms.CharField(
        label=_("Sizes"),
        required=False,
        max_length=1500,
        help_text=_("Smallest first, with commas between: XS, S, M. Leave it empty for made to measure."),
    )
    gauge_label = forms.CharField(label=_("Gauge"), max_length=200, initial=_("Stockinette, blocked"))
    stitches = forms.CharField(label=_("Stitches"), max_length=60)
    rows = forms.CharField(label=_("Rows"), max_length=60)
    tool = forms.CharField(
        label=_("Needle or hook"), max_length=60, required=False, help_text=_("As in 4 mm.")
    )

    def __init__(self, *args: Any, scale: Scale, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.scale = scale
        over = scale.over_words
        self.fields["stitches"].label = gettext("Stitches in {over}").format(over=over)
        self.fields["rows"].label = gettext("Rows in {over}").format(over=over)
        for name in ("stitches", "rows"):
            self.fields[name].widget.attrs["inputmode"] = "decimal"

    def clean_sizes(self) -> list[str]:
        return [size for size in (part.strip() for part in self.cleaned_data["sizes"].split(",")) if size]

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        graded = cleaned.get("kind") == "graded"
        if graded and not cleaned.get("sizes") and "sizes" not in self.errors:
            self.add_error("sizes", gettext("A graded pattern needs its sizes; write them, as in XS, S, M."))
        if not graded and cleaned.get("sizes"):
            self.add_error(
                "sizes",
                gettext("A made-to-measure pattern has no sizes; leave this empty, or choose graded."),
            )
        gauge = {
            "key": "body",
            "label": cleaned.get("gauge_label"),
            "stitches": self._read("stitches", "gauge"),
            "rows": self._read("rows", "gauge"),
        }
        if cleaned.get("tool"):
            gauge["tool_mm"] = self._read("tool", "tool")
        if not self.errors:
            self._build(gauge)
        return cleaned

    def _read(self, name: str, kind: Any) -> float | None:
        text = self.cleaned_data.get(name)
        if not text:
            return None
        label = str(self.fields[name].label)
        try:
            value: float = self.scale.read(
                kind, text, name=label, craft=self.cleaned_data.get("craft", "knit")
            )
        except UnitsError as error:
            self.add_error(name, str(error))
            return None
        return value

    def _build(self, gauge: dict[str, Any]) -> None:
        document = {name: self.cleaned_data[name] for name in ("title", "edition", "craft", "kind", "sizes")}
        try:
            self.cleaned_data["document"] = read_pattern(json.dumps({**document, "gauges": [gauge]}).encode())
        except RoundFileError as refusal:
            for problem in refusal.problems:
                field = problem.path.split("[")[0]
                self.add_error(field if field in self.fields else None, str(problem))


class NextEditionForm(forms.Form):
    label = forms.CharField(label=_("Number of the next edition"), max_length=200)
