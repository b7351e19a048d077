"""The forms of the call: the designer's, and the one by which anybody offers to test."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext

from testround.kernel.measuring import how_to_measure
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.units import LengthUnit, UnitsError, format_length, parse_length
from testround.kernel.words import commas
from testround.people.models import User
from testround.people.readers import Reader
from testround.rounds.forms.bodies import BodyForm
from testround.rounds.forms.fields import OWN_YARN, DateField, press_key
from testround.rounds.forms.who import WhoForm
from testround.rounds.models import PHOTO_USES, Candidate, Round, SuppliedYarn
from testround.rounds.services.call import offers_wanted, sizes_sought
from testround.rounds.services.offers import Offer

WISHES = ("wish_1", "wish_2", "wish_3")
WISH_LABELS = (gettext_lazy("First wish"), gettext_lazy("Second wish"), gettext_lazy("Third wish"))
MOST_TESTS = 100_000

DEFAULT_ASKED = gettext_lazy(
    "Make one piece in the size we agree on, from the pattern as it stands.\n\nSend a swatch "
    "before you cast on, the counts where you end up with others than the text says, your hours, "
    "and the finished measurements, each by its date. Say where the text made you stumble."
)
DEFAULT_GIVEN = gettext_lazy(
    "The pattern, now and as it is published, and a thank-you by name in it if you like."
)

# What a tester says yes to, in the tester's words.
USE_LABELS = {
    "pattern": gettext_lazy("My photos may stand in the published pattern"),
    "online": gettext_lazy("My photos may be shown online, where the design is shown"),
    "face": gettext_lazy("Photos that show my face, too"),
    "name": gettext_lazy("My name may stand beside them"),
}
# The same as the designer's wishes.
WISHED_USES = {
    "pattern": gettext_lazy("use them in the published pattern"),
    "online": gettext_lazy("show them online, where I show the design"),
    "face": gettext_lazy("use photos with a face in them, too"),
    "name": gettext_lazy("name the tester beside them"),
}


class CallForm(forms.Form):
    """What stands on the page of the call."""

    call_opens = DateField(
        label=gettext_lazy("First day"),
        help_text=gettext_lazy("The page opens on this day; empty: when you open it yourself."),
    )
    call_closes = DateField(
        label=gettext_lazy("Last day"),
        help_text=gettext_lazy("Whoever offers later goes on the waiting list. Empty: until it is full."),
    )
    asked = forms.CharField(
        label=gettext_lazy("What you ask, and by when"),
        max_length=10_000,
        widget=forms.Textarea(attrs={"rows": 7}),
        error_messages={
            "required": gettext_lazy("Say what is asked of testers, and by when: nobody can offer before.")
        },
    )
    given = forms.CharField(
        label=gettext_lazy("What testers get"),
        required=False,
        max_length=10_000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    terms = forms.CharField(
        label=gettext_lazy("Terms"),
        required=False,
        max_length=10_000,
        widget=forms.Textarea(attrs={"rows": 12}),
        help_text=(
            gettext_lazy(
                "The terms of the round: what may be shown before publication, who sees measurements and "
                "photos, and how long they are kept."
            )
        ),
    )
    photo_uses = forms.MultipleChoiceField(
        label=gettext_lazy("What you would like to do with photos"),
        required=False,
        choices=list(WISHED_USES.items()),
        widget=forms.CheckboxSelectMultiple,
        help_text=gettext_lazy("Each becomes a question of its own, which the tester answers freely."),
        error_messages={
            "invalid_choice": gettext_lazy("That is none of the uses listed: choose among these.")
        },
    )
    for_child = forms.BooleanField(
        label=gettext_lazy("It is a children's garment"),
        required=False,
        help_text=gettext_lazy("The page then says that an adult offers and gives the child's measurements."),
    )
    offers_wanted = forms.IntegerField(
        label=gettext_lazy("Full at how many offers"),
        required=False,
        min_value=1,
        max_value=5000,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "size": 5, "autocomplete": "off"}),
        error_messages={
            "invalid": gettext_lazy("Write a whole number from 1 to 5000, or leave it empty."),
            "min_value": gettext_lazy("Write a whole number from 1 to 5000, or leave it empty."),
            "max_value": gettext_lazy("Write a whole number from 1 to 5000, or leave it empty."),
        },
    )

    def __init__(self, *args: Any, round: Round, **options: Any) -> None:
        initial: dict[str, object] = {name: getattr(round, name) for name in self.base_fields}
        if round.call_code is None:
            initial["asked"] = round.asked or str(DEFAULT_ASKED)
            initial["given"] = round.given or str(DEFAULT_GIVEN)
            initial["photo_uses"] = list(round.photo_uses) or ["pattern", "online"]
        super().__init__(*args, initial=initial, **options)
        usual = offers_wanted(Round(edition=round.edition, places_plan=round.places_plan))
        self.fields["offers_wanted"].help_text = _(
            "Later ones wait. Empty: {n}, three for every place."
        ).format(n=usual)


class OfferForm(WhoForm, BodyForm):
    """One offer to test. Lengths are read in the unit that is chosen on the form itself."""

    EMAIL_HELP = gettext_lazy("You confirm the offer by a link that is mailed there.")
    EMAIL_MISSING = gettext_lazy("Write your email address: the offer is confirmed by a mail to it.")

    units = forms.ChoiceField(
        label=gettext_lazy("I measure in"),
        choices=User.Units.choices,
        widget=forms.RadioSelect,
        error_messages={
            "required": gettext_lazy("Choose centimetres or inches."),
            "invalid_choice": gettext_lazy("Choose centimetres or inches."),
        },
    )
    tests_before = forms.IntegerField(
        label=gettext_lazy("How many patterns have you tested before?"),
        required=False,
        min_value=0,
        max_value=MOST_TESTS,
        help_text=gettext_lazy("None is fine: beginners stumble where others do not."),
        widget=forms.TextInput(attrs={"inputmode": "numeric", "size": 5, "autocomplete": "off"}),
        error_messages={
            "invalid": gettext_lazy("Write a whole number, as in 3, or leave it empty."),
            "min_value": gettext_lazy("Write a whole number, as in 3, or leave it empty."),
            "max_value": gettext_lazy("Write a whole number, as in 3, or leave it empty."),
        },
    )
    terms = forms.ChoiceField(
        label=gettext_lazy("Crochet terms"),
        choices=User.Terms.choices,
        widget=forms.RadioSelect,
        error_messages={
            "required": gettext_lazy("Choose US or UK terms."),
            "invalid_choice": gettext_lazy("Choose US or UK terms."),
        },
    )
    photo_uses = forms.MultipleChoiceField(
        label=gettext_lazy("If you get a place: your photos of the piece"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=(
            gettext_lazy(
                "Say yes to what you like, or to nothing: your chances are the same. You can take a yes back "
                "later."
            )
        ),
        error_messages={
            "invalid_choice": gettext_lazy("The designer does not ask for that: choose among these.")
        },
    )
    adult = forms.BooleanField(
        label=gettext_lazy("I am an adult (18 or over)"),
        error_messages={
            "required": gettext_lazy(
                "Only adults offer: for a minor's garment, a parent or another adult does."
            )
        },
    )
    # Nobody sees this field but programs that fill in every form they meet.
    website = forms.CharField(label=gettext_lazy("Leave this empty"), required=False, max_length=200)
    key = press_key()

    def __init__(
        self,
        *args: Any,
        round: Round,
        document: SheetDocument,
        yarns: Sequence[SuppliedYarn],
        reader: Reader,
        candidate: Candidate | None = None,
        **options: Any,
    ) -> None:
        self.round, self.document, self.yarns, self.candidate = round, document, list(yarns), candidate
        super().__init__(*args, initial=self._initial(reader, candidate), **options)
        if candidate is not None:
            # The address proves whose offer it is, and that they are an adult is said already.
            for name in ("email", "adult", "website", "key"):
                del self.fields[name]
        self.keep_terms_for(document.craft)
        uses = [use for use in PHOTO_USES if use in round.photo_uses]
        if uses:
            self.fields["photo_uses"].choices = [(use, USE_LABELS[use]) for use in uses]
        else:
            del self.fields["photo_uses"]
        wished = candidate.wishes if candidate is not None else ()
        sought = sizes_sought(round)
        open_sizes = [size for size in document.sizes if size in sought or size in wished]
        for name, label in zip(WISHES, WISH_LABELS, strict=True) if document.is_graded else ():
            self.fields[name] = forms.ChoiceField(
                label=label,
                required=False,
                choices=[
                    ("", pgettext("no size wished for", "none")),
                    *((size, size) for size in open_sizes),
                ],
                error_messages={
                    "invalid_choice": _(
                        "No tester is looked for in %(value)s: choose one of {sizes}."
                    ).format(sizes=commas(open_sizes))
                },
            )
        if self.yarns:
            self.fields["yarns"] = forms.MultipleChoiceField(
                label=_("Which yarns would you work in?"),
                choices=[*((yarn.key, yarn.label) for yarn in self.yarns), (OWN_YARN, _("I bring my own"))],
                widget=forms.CheckboxSelectMultiple,
                error_messages={
                    "required": _("Choose the yarns you would work in, or say that you bring your own."),
                    "invalid_choice": _("This round does not supply that yarn: choose among these."),
                },
            )
        for measure in document.measures:
            how = how_to_measure(measure.key, measure.label, measure.how)
            self.ask_measure(measure, help_text=how, autocomplete="off")
        self.ask_to_keep()
        # As they stand on the page, which is how their errors are listed.
        asked = [f"measure_{measure.key}" for measure in document.measures]
        self.order_fields(["name", "email", "units", *asked, "keep", *WISHES, "yarns"])

    def _initial(self, reader: Reader, candidate: Candidate | None) -> dict[str, object]:
        if candidate is None:
            yarns = [] if self.yarns else [OWN_YARN]
            return {"units": reader.units, "terms": reader.terms, "yarns": yarns}
        initial: dict[str, object] = {
            "name": candidate.name,
            "units": candidate.units,
            "terms": candidate.terms,
            "tests_before": candidate.tests_before,
            "photo_uses": [use for use in PHOTO_USES if getattr(candidate, f"photo_{use}")],
            "yarns": [*candidate.yarns, *([OWN_YARN] if candidate.own_yarn else [])],
        }
        initial |= dict(zip(WISHES, candidate.wishes, strict=False))
        for key, cm in candidate.measures.items():
            typed = candidate.typed.get(key) or format_length(cm, "in" if candidate.units == "in" else "cm")
            initial[f"measure_{key}"] = typed
        return initial

    def who_fields(self) -> list[forms.BoundField]:
        return self._those("name", "email")

    def wish_fields(self) -> list[forms.BoundField]:
        return self._those(*WISHES)

    def last_fields(self) -> list[forms.BoundField]:
        return self._those("yarns", "tests_before", "terms", "photo_uses")

    def _those(self, *names: str) -> list[forms.BoundField]:
        return [self[name] for name in names if name in self.fields]

    @property
    def is_trap_sprung(self) -> bool:
        return bool(self.data.get("website")) if self.is_bound else False

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        unit: LengthUnit = "in" if cleaned.get("units") == "in" else "cm"
        measures: dict[str, float] = {}
        typed: dict[str, str] = {}
        for measure in self.document.measures:
            text = (cleaned.get(f"measure_{measure.key}") or "").strip()
            if not text:
                continue
            try:
                length = parse_length(text, unit, name=measure.label)
            except UnitsError as error:
                self.add_error(f"measure_{measure.key}", str(error))
                continue
            measures[measure.key] = length.cm
            # With its unit, should the other one be chosen later.
            named = any(sign.isalpha() or sign in "\"'”″’′" for sign in text)
            typed[measure.key] = text if named else f"{text} {length.unit}"
            self.question(measure, length.cm, unit)
        cleaned["measures"], cleaned["typed"] = measures, typed
        return cleaned

    def offer(self) -> Offer:
        """What the services take."""
        said = self.cleaned_data
        yarns = said.get("yarns", []) if self.yarns else [OWN_YARN]
        return Offer(
            name=said["name"],
            measures=said["measures"],
            typed=said["typed"],
            wishes=tuple(said[name] for name in WISHES if said.get(name)),
            yarns=tuple(yarn for yarn in yarns if yarn != OWN_YARN),
            own_yarn=OWN_YARN in yarns,
            tests_before=said["tests_before"],
            units=said["units"],
            terms=said.get("terms") or self.round.edition.terms,
            photo_uses=tuple(said.get("photo_uses") or ()),
            adult=bool(said.get("adult")) or self.candidate is not None,
        )
