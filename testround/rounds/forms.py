from __future__ import annotations

import re
import uuid
from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator

from testround.kernel.plausible import body_doubt
from testround.kernel.round import MOST_TESTERS, Measure, Yarn
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.round import SuppliedYarn as YarnDocument
from testround.kernel.units import YARN_WEIGHTS, LengthUnit, UnitsError, format_length, parse_length
from testround.people.models import User
from testround.rounds.models import Place, Round, SuppliedYarn
from testround.rounds.refusals import Refused
from testround.rounds.services import MOST_PLACES_AT_ONCE
from testround.rounds.states import round_states_after

OWN_YARN = "own"
LONGEST_NAME: int = Place._meta.get_field("name").max_length
# RFC 5321, section 4.5.3.1.3: a path has at most 256 octets, two of them its angle brackets.
LONGEST_ADDRESS = 254

DEFAULT_TERMS = """\
Before the pattern is published, please show nothing of it in public: no pages, no numbers, no photos of the \
finished piece. Afterwards show as much as you like.

You, I and my technical editor, if I have one, see your body measurements and your photos; the other testers do not. I use the measurements only to work \
out your numbers and to find out whether the pattern is right. A photo is shown to anybody else only if you say yes \
to that. Both are deleted on the day named below, and sooner whenever you like.

Send your swatch by its date and the finished measurements by the closing date. If you cannot finish, give your \
place back as soon as you know; nobody will mind.

Please write down your hours as they are. They tell buyers how long the piece takes; they are no race. Rest your hands, stretch and \
look up often, and stop when something hurts: pain is a matter for a health professional."""

YARN_WEIGHT_CHOICES = (("", "not said"), *((weight.category, weight.label) for weight in YARN_WEIGHTS))


def add_refusal(form: forms.Form, refused: Refused) -> None:
    """Put each sentence of a service beside its field, or over the form where it belongs to none."""
    for problem in refused.problems:
        form.add_error(problem.path if problem.path in form.fields else None, problem.sentence)


class DateField(forms.DateField):
    """A date from the browser's own picker."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("required", False)
        options.setdefault("widget", forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
        options.setdefault(
            "error_messages", {"invalid": "This is no date: write year, month and day, as in 2027-01-25."}
        )
        super().__init__(**options)


def whole(most: int = MOST_TESTERS) -> forms.IntegerField:
    """A whole number that may be left out."""
    sentence = f"Write a whole number from 0 to {most}."
    return forms.IntegerField(
        required=False,
        validators=[MinValueValidator(0, sentence), MaxValueValidator(most, sentence)],
        error_messages={"invalid": sentence},
        widget=forms.TextInput(attrs={"inputmode": "numeric", "size": 4, "autocomplete": "off"}),
    )


class RoundForm(forms.Form):
    """A round's plan; how many testers each size needs stands in two fields for each size."""

    title = forms.CharField(
        max_length=200,
        help_text="How you and your testers will call it, as in “First test”.",
        error_messages={"required": "Give the round a title, as in “First test”."},
    )
    opens = DateField(label="Opens", help_text="From this day swatches can come.")
    swatches_due = DateField(label="Swatches due", help_text="The day after, making begins.")
    closes = DateField(
        label="Closes", help_text="Finished measurements are due. What comes later is taken too, and marked."
    )
    purge_on = DateField(
        label="Private data deleted",
        help_text=(
            "On this day names, body measurements, photos, words and offers are deleted; what the errata rest on "
            "stays. Testers read it before they say yes. Left empty: half a year after the closing date."
        ),
    )
    terms = forms.CharField(
        label="Terms",
        required=False,
        max_length=10_000,
        widget=forms.Textarea(attrs={"rows": 14}),
        help_text=(
            "Testers read this before they give anything and say yes to it. Say what may be shown before "
            "publication, who sees measurements and photos, and how long they are kept."
        ),
    )
    allow_several = forms.BooleanField(label="One person may hold several places", required=False)
    shows_standing = forms.BooleanField(
        label="Testers may see how the round stands",
        required=False,
        help_text="Sizes, counts and dates; nobody's measurements, and names only of those who allow it.",
    )

    def __init__(
        self, *args: Any, document: SheetDocument, round: Round | None = None, **options: Any
    ) -> None:
        self.document = document
        if round is None:
            options.setdefault("initial", {"title": "First test", "terms": DEFAULT_TERMS})
        else:
            options.setdefault("initial", self._initial(round))
        super().__init__(*args, **options)
        for index, size in enumerate(document.sizes):
            self.fields[f"least_{index}"] = whole()
            self.fields[f"least_{index}"].label = f"At least, size {size}"
            self.fields[f"most_{index}"] = whole()
            self.fields[f"most_{index}"].label = f"At most, size {size}"

    def _initial(self, round: Round) -> dict[str, object]:
        initial: dict[str, object] = {
            field: getattr(round, field)
            for field in (
                "title",
                "opens",
                "swatches_due",
                "closes",
                "purge_on",
                "terms",
                "allow_several",
                "shows_standing",
            )
        }
        for which in ("least", "most"):
            by_size = (round.places_plan or {}).get(which) or {}
            for index, size in enumerate(self.document.sizes):
                initial[f"{which}_{index}"] = by_size.get(size)
        return initial

    def main_fields(self) -> list[forms.BoundField]:
        return [
            self[name]
            for name in (
                "title",
                "opens",
                "swatches_due",
                "closes",
                "purge_on",
                "terms",
                "allow_several",
                "shows_standing",
            )
        ]

    def size_rows(self) -> list[tuple[str, forms.BoundField, forms.BoundField]]:
        return [
            (size, self[f"least_{index}"], self[f"most_{index}"])
            for index, size in enumerate(self.document.sizes)
        ]

    def plan(self) -> dict[str, dict[str, int]] | None:
        plan = {}
        for which in ("least", "most"):
            by_size = {
                size: self.cleaned_data[f"{which}_{index}"]
                for index, size in enumerate(self.document.sizes)
                if self.cleaned_data[f"{which}_{index}"] is not None
            }
            if by_size:
                plan[which] = by_size
        return plan or None

    def values(self) -> dict[str, Any]:
        """What the services take."""
        names = (
            "title",
            "opens",
            "swatches_due",
            "closes",
            "purge_on",
            "terms",
            "allow_several",
            "shows_standing",
        )
        return {name: self.cleaned_data[name] for name in names} | {"places_plan": self.plan()}


class MoveForm(forms.Form):
    state = forms.ChoiceField(
        label="To",
        error_messages={
            "required": "Choose where the round goes.",
            "invalid_choice": "A round cannot go there from where it is: choose one of the states offered.",
        },
    )
    cause = forms.CharField(
        label="Why", required=False, max_length=300, help_text="Goes into the diary beside your name."
    )

    def __init__(self, *args: Any, round: Round, **options: Any) -> None:
        super().__init__(*args, **options)
        # The present state is among them so that a second press of the same button is no error.
        states = [*round_states_after(round.state), round.state]
        self.fields["state"].choices = [(state, state) for state in states]


class GiveBackForm(forms.Form):
    cause = forms.CharField(
        label="Why", required=False, max_length=300, help_text="Goes into the diary beside your name."
    )


class YarnDetailFields(forms.Form):
    """What a yarn's ball band says."""

    label = forms.CharField(label="Yarn", required=False, max_length=200, help_text="As in “Wool, supplied”.")
    weight = forms.TypedChoiceField(
        label="Yarn weight", required=False, choices=YARN_WEIGHT_CHOICES, coerce=int, empty_value=None
    )
    fibre = forms.CharField(required=False, max_length=200)
    metres_per_ball = forms.FloatField(
        required=False,
        min_value=0.1,
        max_value=1_000_000,
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
        error_messages={"invalid": "Write the metres on the ball band as a number, as in 200."},
    )
    grams_per_ball = forms.FloatField(
        required=False,
        min_value=0.1,
        max_value=1_000_000,
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
        error_messages={"invalid": "Write the grams on the ball band as a number, as in 100."},
    )

    YARN_FIELDS = ("label", "weight", "fibre", "metres_per_ball", "grams_per_ball")

    def yarn_values(self) -> dict[str, Any]:
        return {
            name: self.cleaned_data.get(name) or None for name in self.YARN_FIELDS if name != "weight"
        } | {"weight": self.cleaned_data.get("weight")}


class SuppliedYarnForm(YarnDetailFields):
    makers = whole()

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["label"].required = True
        self.fields["label"].error_messages["required"] = "Name the yarn, as in “Wool, supplied”."
        self.fields["makers"].label = "Enough for how many testers"

    def yarn(self, taken: Sequence[str]) -> YarnDocument:
        return YarnDocument(
            key=yarn_key(self.cleaned_data["label"], taken),
            makers=self.cleaned_data["makers"],
            **self.yarn_values(),
        )


def yarn_key(label: str, taken: Sequence[str]) -> str:
    """A key for the round file, made of the label's words: lower case, joined by ``_``, unique in the round."""
    words = re.findall(r"[a-z0-9]+", label.lower())
    stem = "_".join(words)[:50].strip("_")
    if not stem or not stem[0].isalpha():
        stem = f"yarn_{stem}".strip("_")
    key, number = stem, 2
    while key in taken:
        key, number = f"{stem}_{number}", number + 1
    return key


class PlaceForm(YarnDetailFields):
    """One place, or several of one size and yarn: a name on each line."""

    names = forms.CharField(
        label="Who",
        widget=forms.Textarea(attrs={"rows": 3, "autocomplete": "off"}),
        # Each with the two characters that end its line.
        max_length=MOST_PLACES_AT_ONCE * (LONGEST_NAME + 2),
        error_messages={"required": "Say how this tester is to be called, a first name or “Tester 5”."},
    )
    size = forms.ChoiceField(
        error_messages={
            "required": "Choose a size.",
            "invalid_choice": "The pattern has no such size: choose one.",
        }
    )
    yarn = forms.ChoiceField(
        label="Whose yarn",
        error_messages={
            "required": "Choose a yarn, or “the tester's own”.",
            "invalid_choice": "This round does not supply that yarn: choose one of these.",
        },
    )

    def __init__(
        self,
        *args: Any,
        document: SheetDocument,
        yarns: Sequence[SuppliedYarn],
        units: str,
        place: Place | None = None,
        **options: Any,
    ) -> None:
        self.document, self.supplied, self.units, self.place = document, list(yarns), units, place
        self._stored: dict[str, float] = dict(place.measures) if place else {}
        initial = self._initial(place) | dict(options.pop("initial", None) or {})
        super().__init__(*args, initial=initial, **options)
        if place is not None:
            self.fields["names"].widget = forms.TextInput(attrs={"autocomplete": "off"})
            self.fields["names"].max_length = LONGEST_NAME
        else:
            self.fields[
                "names"
            ].help_text = "One name on each line makes one place each, all in this size and yarn."
        if document.is_graded:
            self.fields["size"].choices = [("", "Choose a size"), *((size, size) for size in document.sizes)]
        else:
            del self.fields["size"]
        self.fields["yarn"].choices = [
            (OWN_YARN, "the tester's own"),
            *((str(yarn.pk), f"supplied: {yarn.label}") for yarn in self.supplied),
        ]
        self.fields["label"].help_text = "If you know it already; the tester can say so later."
        for measure in document.measures:
            self.fields[f"measure_{measure.key}"] = forms.CharField(
                label=measure.label, required=False, max_length=40, help_text=measure.how or ""
            )
            self.fields[f"measure_{measure.key}"].widget.attrs["inputmode"] = "text"
        self.fields["keep"] = forms.BooleanField(label="They are right, keep them", required=False)
        self.has_doubts = False

    def _initial(self, place: Place | None) -> dict[str, object]:
        if place is None:
            return {"yarn": OWN_YARN}
        supplied = next((yarn for yarn in self.supplied if yarn.label == place.yarn_label), None)
        initial: dict[str, object] = {"names": place.name, "size": place.size}
        if supplied is not None:
            initial["yarn"] = str(supplied.pk)
        else:
            initial |= {
                "yarn": OWN_YARN,
                "label": place.yarn_label,
                "weight": place.yarn_weight,
                "fibre": place.yarn_fibre,
                "metres_per_ball": place.metres_per_ball,
                "grams_per_ball": place.grams_per_ball,
            }
        for key, cm in place.measures.items():
            initial[f"measure_{key}"] = format_length(cm, "in" if self.units == "in" else "cm")
        return initial

    def main_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in ("names", "size", "yarn") if name in self.fields]

    def yarn_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.YARN_FIELDS]

    def measure_fields(self) -> list[forms.BoundField]:
        return [self[f"measure_{measure.key}"] for measure in self.document.measures]

    def yarn_said(self) -> bool:
        """Whether there is something to see among the yarn's details, so that they are shown unfolded."""
        return any(field.value() not in (None, "") or field.errors for field in self.yarn_fields())

    def measures_said(self) -> bool:
        return any(field.value() or field.errors for field in self.measure_fields())

    def clean_names(self) -> list[str]:
        names = [line.strip() for line in self.cleaned_data["names"].splitlines() if line.strip()]
        if not names:
            raise forms.ValidationError("Say how this tester is to be called, a first name or “Tester 5”.")
        if len(names) > MOST_PLACES_AT_ONCE:
            raise forms.ValidationError(
                f"These are {len(names)} names: add at most {MOST_PLACES_AT_ONCE} places at once."
            )
        long = next((name for name in names if len(name) > LONGEST_NAME), None)
        if long:
            raise forms.ValidationError(
                f"“{long[:30]}…” is too long: a name has at most {LONGEST_NAME} characters."
            )
        return names

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        measures: dict[str, float] = {}
        for measure in self.document.measures:
            field = f"measure_{measure.key}"
            typed = (cleaned.get(field) or "").strip()
            if not typed:
                continue
            # A stored length comes back rounded for the eye; untouched, it is kept as it was.
            if typed == self.initial.get(field) and measure.key in self._stored:
                measures[measure.key] = self._stored[measure.key]
                continue
            try:
                measures[measure.key] = parse_length(
                    typed, "in" if self.units == "in" else "cm", name=measure.label
                ).cm
            except UnitsError as error:
                self.add_error(field, str(error))
            else:
                self._ask(measure, measures[measure.key])
        if measures and len(cleaned.get("names") or []) > 1:
            self.add_error(
                "names", "Body measurements belong to one person: add this place alone, or leave them empty."
            )
        cleaned["measures"] = measures
        if cleaned.get("yarn") == OWN_YARN and not cleaned.get("label"):
            said = [
                name for name in self.YARN_FIELDS if name != "label" and cleaned.get(name) not in (None, "")
            ]
            if said:
                self.add_error("label", "Name the yarn too, or leave all of its details empty.")
        return cleaned

    def _ask(self, measure: Measure, cm: float) -> None:
        """Put a question beside a measurement that hardly any body has, once."""
        sizes = tuple((measure.values or {}).values())
        unit: LengthUnit = "in" if self.units == "in" else "cm"
        doubt = body_doubt(measure.key, measure.label, cm, sizes=sizes, unit=unit)
        if doubt is None:
            return
        self.has_doubts = True
        if not self.cleaned_data.get("keep"):
            self.add_error(f"measure_{measure.key}", doubt.sentence)

    def chosen_yarn(self) -> Yarn | SuppliedYarn | None:
        choice = self.cleaned_data["yarn"]
        if choice != OWN_YARN:
            return next(yarn for yarn in self.supplied if str(yarn.pk) == choice)
        return Yarn(**self.yarn_values()) if self.cleaned_data.get("label") else None

    def chosen_size(self) -> str | None:
        return self.cleaned_data.get("size") or None


class InviteForm(forms.Form):
    """Where the link goes; and where the offer has a last day, until when it stands from now on."""

    email = forms.EmailField(
        label="Email address",
        max_length=LONGEST_ADDRESS,
        required=False,
        help_text="The link is mailed there. Left empty, you get the link to pass on yourself.",
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
        error_messages={
            "invalid": "This is no email address: write it as in name@example.org, or leave it empty."
        },
    )
    until = DateField(
        label="The offer stands until",
        required=True,
        help_text="To the end of that day; the place then goes to the next in reserve.",
        error_messages={
            "required": "Pick the last day of the offer.",
            "invalid": "This is no date: write year, month and day, as in 2027-01-25.",
        },
    )

    def __init__(self, *args: Any, ends: bool = False, **options: Any) -> None:
        super().__init__(*args, **options)
        if not ends:
            del self.fields["until"]


class JoinForm(forms.Form):
    """What a tester says who takes a place; somebody signed in has said most of it before."""

    name = forms.CharField(
        label="What should you be called?",
        max_length=120,
        help_text="A first name will do. The designer sees it.",
        widget=forms.TextInput(attrs={"autocomplete": "given-name"}),
        error_messages={"required": "Write a name to call you by; a first name will do."},
    )
    email = forms.EmailField(
        label="Your email address",
        max_length=LONGEST_ADDRESS,
        help_text="For your own way back in, and mails about this round. The other testers do not see it.",
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
        error_messages={
            "required": "Write your email address; it is how you come back to your place.",
            "invalid": "This is no email address: write it as in name@example.org.",
        },
    )
    units = forms.ChoiceField(
        label="Measurements in", choices=User.Units.choices, widget=forms.RadioSelect, initial="cm"
    )
    tools = forms.ChoiceField(label="Hook and needle sizes", choices=User.Tools.choices, initial="metric")
    terms = forms.ChoiceField(label="Crochet terms", choices=User.Terms.choices, initial="us")
    agree = forms.BooleanField(
        label="Yes, I have read this page and take the place",
        error_messages={
            "required": "Say yes to the terms to take the place. If you would rather not, leave the page."
        },
    )
    key = forms.UUIDField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, signed_in: bool, craft: str, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["key"].initial = uuid.uuid4
        if signed_in:
            for name in ("email", "units", "tools", "terms"):
                del self.fields[name]
        elif craft != "crochet":
            # Only crochet has two dialects that share their words.
            del self.fields["terms"]

    def clean_email(self) -> str:
        return str(self.cleaned_data["email"]).lower()
