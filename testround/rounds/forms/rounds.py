"""A round itself: its plan, its dates, and where it goes."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext_lazy

from testround.kernel.round import Pattern as SheetDocument
from testround.rounds.forms.fields import DateField
from testround.rounds.forms.sizes import SizesForm
from testround.rounds.models import Round
from testround.rounds.states import round_states_after

DEFAULT_TERMS = gettext_lazy(
    "Before the pattern is published, please show nothing of it in public: no pages, no numbers, "
    "no photos of the finished piece. Afterwards show as much as you like.\n\nYou, I and my "
    "technical editor, if I have one, see your body measurements and your photos; the other "
    "testers do not. I use the measurements only to work out your numbers and to find out "
    "whether the pattern is right. A photo is shown to anybody else only if you say yes to that. "
    "Both are deleted on the day named below, and sooner whenever you like.\n\nSend your swatch by "
    "its date and the finished measurements by the closing date. If you cannot finish, give your "
    "place back as soon as you know; nobody will mind.\n\nPlease write down your hours as they "
    "are. They tell buyers how long the piece takes; they are no race. Rest your hands, stretch "
    "and look up often, and stop when something hurts: pain is a matter for a health "
    "professional."
)


def title_of_test(number: int) -> str:
    """How the first, second … round of a pattern is called unless its designer says otherwise."""
    said = {1: _("First test"), 2: _("Second test"), 3: _("Third test")}
    return said.get(number) or _("Test {number}").format(number=number)


class RoundForm(SizesForm):
    """A round's plan; how many testers each size needs stands in two fields for each size.

    ``earlier`` rounds of the pattern there were before a new one.
    """

    title = forms.CharField(
        label=gettext_lazy("Title"),
        max_length=200,
        help_text=gettext_lazy("How you and your testers will call it, as in “First test”."),
        error_messages={"required": gettext_lazy("Give the round a title, as in “First test”.")},
    )
    opens = DateField(label=gettext_lazy("Opens"), help_text=gettext_lazy("From this day swatches can come."))
    swatches_due = DateField(
        label=gettext_lazy("Swatches due"), help_text=gettext_lazy("The day after, making begins.")
    )
    closes = DateField(
        label=gettext_lazy("Closes"),
        help_text=gettext_lazy("Finished measurements are due. What comes later is taken too, and marked."),
    )
    purge_on = DateField(
        label=gettext_lazy("Private data deleted"),
        help_text=(
            gettext_lazy(
                "On this day names, body measurements, photos, words and offers are deleted; what the errata "
                "rest on stays. Testers read it before they say yes. Left empty: half a year after the "
                "closing date."
            )
        ),
    )
    terms = forms.CharField(
        label=gettext_lazy("Terms"),
        required=False,
        max_length=10_000,
        widget=forms.Textarea(attrs={"rows": 14}),
        help_text=(
            gettext_lazy(
                "Testers read this before they give anything and say yes to it. Say what may be shown before "
                "publication, who sees measurements and photos, and how long they are kept."
            )
        ),
    )
    allow_several = forms.BooleanField(
        label=gettext_lazy("One person may hold several places"), required=False
    )
    shows_standing = forms.BooleanField(
        label=gettext_lazy("Testers may see how the round stands"),
        required=False,
        help_text=gettext_lazy(
            "Sizes, counts and dates; nobody's measurements, and names only of those who allow it."
        ),
    )

    MAIN = (
        "title",
        "opens",
        "swatches_due",
        "closes",
        "purge_on",
        "terms",
        "allow_several",
        "shows_standing",
    )

    def __init__(
        self,
        *args: Any,
        document: SheetDocument,
        round: Round | None = None,
        earlier: int = 0,
        **options: Any,
    ) -> None:
        stored = (
            {"title": title_of_test(earlier + 1), "terms": str(DEFAULT_TERMS)}
            if round is None
            else {name: getattr(round, name) for name in self.MAIN}
        )
        super().__init__(
            *args, sizes=document.sizes, round=round, initial=options.pop("initial", stored), **options
        )

    def main_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.MAIN]

    def values(self) -> dict[str, Any]:
        """What the services take."""
        return {name: self.cleaned_data[name] for name in self.MAIN} | {"places_plan": self.plan()}


# What it means for a round to be in a state, for whoever decides on it.
MEANING = {
    Round.State.PLANNED: gettext_lazy("nobody can offer to test, and nobody is reminded of a date"),
    Round.State.GATHERING: gettext_lazy("people can offer to test, once the call is open"),
    Round.State.SWATCHING: gettext_lazy("swatches are awaited; whoever offers now waits for a free place"),
    Round.State.MAKING: gettext_lazy("the pieces are made; nobody can offer to test any more"),
    Round.State.MEASURING: gettext_lazy(
        "finished measurements are awaited; nobody can offer to test any more"
    ),
    Round.State.CLOSED: gettext_lazy("reminders stop, and nobody can be added or invited any more"),
}


class MoveForm(forms.Form):
    state = forms.ChoiceField(
        label=pgettext_lazy("where a round goes", "Move it to"),
        widget=forms.RadioSelect,
        error_messages={
            "required": gettext_lazy("Choose where the round goes."),
            "invalid_choice": gettext_lazy(
                "A round cannot go there from where it is: choose one of the states offered."
            ),
        },
    )
    cause = forms.CharField(
        label=gettext_lazy("Why"),
        required=False,
        max_length=300,
        help_text=gettext_lazy("Goes into the diary beside your name."),
    )

    def __init__(self, *args: Any, round: Round, **options: Any) -> None:
        after = round_states_after(round.state)
        super().__init__(*args, initial=options.pop("initial", {"state": after[0]}), **options)
        said = [
            (
                state,
                format_html(
                    "<span><strong>{}</strong>: {}.</span>",
                    Round.State(state).label,
                    MEANING[Round.State(state)],
                ),
            )
            for state in after
        ]
        field = self.fields["state"]
        # The present state is taken too, so that a second press of the same button is no error.
        field.choices = [*said, (round.state, "")]
        field.widget.choices = said
