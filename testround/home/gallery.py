"""What the page of parts shows: one of everything, in the invented cardigan's terms."""

from __future__ import annotations

from typing import Any

from django import forms

from testround.kernel.pieces import Mark, Piece
from testround.kernel.problems import Problem
from testround.paper.drawing import svg
from testround.paper.schematic import lettered, scale_of, schematic
from testround.rounds.models import Place, Round

# The back in size M: straight to the underarm, then narrower.
BACK = Piece(
    label="Back",
    outline=((0.0, 52.0), (36.0, 52.0), (38.0, 42.0), (58.0, 42.0)),
    marks=(Mark("chest", across=True, length=52.0, at=30.0), Mark("hem", across=False, length=36.0, at=0.0)),
)
TAKEN = {"chest": "Chest, half of it", "hem": "Hem to underarm"}

SIZES = ["XS", "S", "M", "L", "XL", "2XL", "3XL", "4XL", "5XL"]


class QuestionsForm(forms.Form):
    """One question of each kind."""

    chest = forms.DecimalField(
        label="Chest circumference",
        help_text="Lay flat after blocking; measure straight across under the arms, then double.",
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
    )
    how = forms.ChoiceField(
        label="Was the piece blocked?",
        choices=[("wet", "Wet blocked and dry"), ("steam", "Steamed"), ("none", "Not blocked")],
        widget=forms.RadioSelect,
        help_text="Use steam only where the yarn's label allows it.",
    )
    weight = forms.ChoiceField(label="Yarn weight", choices=[("3", "3, light"), ("4", "4, medium")])
    due = forms.DateField(label="Finished by", required=False, widget=forms.DateInput(attrs={"type": "date"}))
    remark = forms.CharField(
        label="What made you stumble?", required=False, widget=forms.Textarea(attrs={"rows": 4})
    )
    photo = forms.FileField(
        label="Photo", required=False, help_text="Only the designer sees it unless you say otherwise."
    )
    agreed = forms.BooleanField(label="I have read what testers agree to")


def one_of_everything() -> dict[str, Any]:
    letters = lettered([BACK])
    named = {key: (letters[key], label) for key, label in TAKEN.items()}
    return {
        "measures": svg(schematic(BACK, named, scale_of([BACK])), ident="measures"),
        "letters": named.values(),
        "form": QuestionsForm(initial={"chest": "107.5", "how": "wet"}),
        "wrong": QuestionsForm(data={"wrong-chest": "a lot", "wrong-weight": "4"}, prefix="wrong"),
        "steps": Round.State.choices,
        "place_steps": Place.State.choices,
        "sizes": SIZES,
        "sheet": [
            {"label": "Back, cast on", "place": "Back, step 1", "cells": [92 + 10 * j for j in range(9)]},
            {"label": "Rows to underarm", "place": "Back, step 3", "cells": [96 + 2 * j for j in range(9)]},
            {"label": "Sleeve, cast on", "place": "Sleeve, step 1", "cells": [48 + 4 * j for j in range(9)]},
        ],
        "was_now": [
            {"size": "M", "was": "112", "now": "112"},
            {"size": "L", "was": "126", "now": "122"},
            {"size": "XL", "was": "138", "now": "132"},
        ],
        "problems": [
            Problem("numbers[2].formula", "“back_st” is not a name of this sheet. Did you mean “back_sts”?"),
            Problem("dimensions[0].tolerance", "A tolerance is above 0; write 2.5 for 2.5 cm."),
        ],
        "lengths": [92.5, 107.3125, 0.635],
    }
