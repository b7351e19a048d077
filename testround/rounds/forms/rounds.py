"""A round itself: its plan, its dates, and where it goes."""

from __future__ import annotations

from typing import Any

from django import forms

from testround.kernel.round import Pattern as SheetDocument
from testround.rounds.forms.fields import DateField, whole
from testround.rounds.models import Round
from testround.rounds.states import round_states_after

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
