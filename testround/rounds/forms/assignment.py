"""Forms of who makes what: moves by hand, what a proposal keeps to, and the step to invitations."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.text import format_lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext_lazy

from testround.kernel import round as kernel
from testround.kernel.units import LengthUnit, UnitsError, format_length, parse_length
from testround.rounds.forms.fields import DateField
from testround.rounds.forms.sizes import SizesForm
from testround.rounds.models import Proposal, Round
from testround.rounds.selectors.assignment import NO_PLACE, SeatRow
from testround.rounds.services.assignment import MOST_OFFER_DAYS
from testround.rounds.services.drafts import Called, Drafted

Seat = dict[str, str | None]


class RevisionForm(forms.Form):
    """Carries which draft was seen, so that a second tab does not undo the first."""

    revision = forms.IntegerField(
        min_value=0,
        widget=forms.HiddenInput,
        error_messages={
            "required": gettext_lazy("Open the page afresh: it did not say which draft you saw.")
        },
    )


class SeatsForm(RevisionForm):
    """Size and yarn of the candidates on one page of the proposal, and whose is kept whatever else changes."""

    def __init__(
        self, *args: Any, rows: Sequence[SeatRow], read: kernel.Round, revision: int, **options: Any
    ) -> None:
        options.setdefault("initial", {"revision": revision})
        super().__init__(*args, **options)
        self.rows, self.graded = list(rows), read.pattern.is_graded
        sizes = [(size, size) for size in read.pattern.sizes] if self.graded else [("", _("a place"))]
        sizes.append((NO_PLACE, _("no place")))
        yarns = [("", _("own yarn")), *((yarn.key, yarn.label) for yarn in read.round.yarns)]
        for row in self.rows:
            self.fields[f"size_{row.key}"] = forms.ChoiceField(
                label=_("Size of {name}").format(name=row.name),
                choices=sizes,
                initial=row.size,
                required=self.graded,
                error_messages={
                    "required": _("Choose a size for {name}, or “no place”.").format(name=row.name),
                    "invalid_choice": _(
                        "{name}: the pattern has no such size; choose one, or “no place”."
                    ).format(name=row.name),
                },
            )
            self.fields[f"yarn_{row.key}"] = forms.ChoiceField(
                label=_("Yarn of {name}").format(name=row.name),
                choices=yarns,
                initial=row.yarn,
                required=False,
                error_messages={
                    "invalid_choice": _("{name}: that yarn is not supplied; choose one of these.").format(
                        name=row.name
                    )
                },
            )
            self.fields[f"keep_{row.key}"] = forms.BooleanField(
                label=_("Keep {name} so").format(name=row.name), initial=row.kept, required=False
            )

    def groups(self) -> list[tuple[str, list[tuple[SeatRow, Any, Any, Any]]]]:
        """The rows under their sizes, each with its three fields."""
        found: list[tuple[str, list[tuple[SeatRow, Any, Any, Any]]]] = []
        for row in self.rows:
            if not found or found[-1][0] != row.group:
                found.append((row.group, []))
            fields = (self[f"size_{row.key}"], self[f"yarn_{row.key}"], self[f"keep_{row.key}"])
            found[-1][1].append((row, *fields))
        return found

    def seat(self, key: str) -> Seat | None:
        """What was chosen for a candidate; None for no place."""
        size = self.cleaned_data[f"size_{key}"]
        if size == NO_PLACE:
            return None
        return {"size": size or None, "yarn": self.cleaned_data[f"yarn_{key}"] or None}

    def changes(self, shown: Drafted) -> dict[str, Any]:
        """The draft's pins, exclusions and moves with this page's choices in them."""
        draft = shown.draft
        best = {place.candidate: place for place in shown.best.document.places}
        moves = dict(draft.moves)
        here = {row.key for row in self.rows}
        kept = {row.key for row in self.rows if row.kept}
        # A row that was kept and still is keeps its own pin unless it was moved: it may name less than this row.
        pins = {one["candidate"]: one for one in draft.pins}
        out = [one for one in draft.exclusions if one["candidate"] not in here or one["size"] is not None]
        was_out = {one["candidate"] for one in draft.exclusions if one["size"] is None}
        for row in self.rows:
            key, seat, keep = row.key, self.seat(row.key), self.cleaned_data[f"keep_{row.key}"]
            seen = shown.seats.get(key)
            before = {"size": seen.size, "yarn": seen.yarn} if seen else None
            if keep and seat is not None:
                if seat != before or key not in pins:
                    pins[key] = {"candidate": key, **seat}
                moves.pop(key, None)
                continue
            pins.pop(key, None)
            if keep:
                out.append({"candidate": key, "size": None})
                moves.pop(key, None)
                continue
            if key in kept and seat == before:
                # No longer kept, and not moved: back to what the proposal would have.
                moves.pop(key, None)
                continue
            place = best.get(key)
            proposed = {"size": place.size, "yarn": place.yarn} if place and key not in was_out else None
            if seat == proposed:
                moves.pop(key, None)
            else:
                moves[key] = seat
        return {"moves": moves, "pins": list(pins.values()), "exclusions": out}


DAYS_MEANT = format_lazy(gettext_lazy("Write a whole number of days from 1 to {most}."), most=MOST_OFFER_DAYS)


class LimitsForm(SizesForm, RevisionForm):
    """What a proposal keeps to, and what happens when a place falls free."""

    reach = forms.CharField(
        label=gettext_lazy("Reach"),
        max_length=40,
        help_text=gettext_lazy(
            "How far off a size may be, over all measures together. A size wished for may be further off."
        ),
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        error_messages={"required": gettext_lazy("Say how far off a size may be, as in 5.")},
    )
    invite_next = forms.BooleanField(
        label=gettext_lazy("When a place falls free, invite the next in reserve at once"),
        required=False,
        help_text=gettext_lazy(
            "Otherwise it waits for you on “Today”. Whoever left no address waits for you anyway."
        ),
    )
    offer_days = forms.IntegerField(
        label=gettext_lazy("Days that an offer to the next in reserve stands"),
        min_value=1,
        max_value=MOST_OFFER_DAYS,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "size": 4, "autocomplete": "off"}),
        error_messages={
            "invalid": DAYS_MEANT,
            "min_value": DAYS_MEANT,
            "max_value": DAYS_MEANT,
            "required": DAYS_MEANT,
        },
    )

    def __init__(
        self,
        *args: Any,
        round: Round,
        draft: Proposal,
        sizes: Sequence[str],
        units: LengthUnit,
        **options: Any,
    ) -> None:
        self.units, self.draft = units, draft
        initial = {
            "revision": draft.revision,
            "reach": format_length(draft.reach, units),
            "invite_next": round.invite_next,
            "offer_days": round.offer_days,
        }
        super().__init__(*args, sizes=sizes, round=round, initial=initial, **options)

    def clean_reach(self) -> float:
        typed: str = self.cleaned_data["reach"]
        if typed == self.initial["reach"]:
            # As it was shown, which in inches is rounded.
            return self.draft.reach
        try:
            return parse_length(typed, self.units, name=_("Reach")).cm
        except UnitsError as error:
            raise forms.ValidationError(str(error)) from None


class WordForm(RevisionForm):
    """One more pin or exclusion, and those to be dropped."""

    drop = forms.MultipleChoiceField(
        label=gettext_lazy("Drop"), required=False, widget=forms.CheckboxSelectMultiple
    )
    person = forms.ChoiceField(label=gettext_lazy("Candidate"), required=False)
    word = forms.ChoiceField(label=gettext_lazy("Your word"), required=False)
    yarn = forms.ChoiceField(
        label=pgettext_lazy("a place in a yarn", "In"),
        required=False,
        help_text=gettext_lazy("For a place; an exclusion is from every yarn."),
    )

    def __init__(self, *args: Any, read: kernel.Round, draft: Proposal, **options: Any) -> None:
        super().__init__(*args, initial={"revision": draft.revision}, **options)
        self.draft, called = draft, Called(read)
        self.fields["person"].choices = [("", _("Choose")), *called.people.items()]
        sizes = list(read.pattern.sizes)
        self.fields["word"].choices = [
            ("pin:", _("has a place")),
            *((f"pin:{size}", _("has a place in {size}").format(size=size)) for size in sizes),
            ("out:", _("has no place")),
            *((f"out:{size}", _("has no place in {size}").format(size=size)) for size in sizes),
        ]
        self.fields["yarn"].choices = [("", _("any yarn of theirs")), *called.yarns.items()]
        said = []
        for at, one in enumerate(draft.pins):
            if one["candidate"] in called.people:
                if one.get("size") and one.get("yarn"):
                    pin = _("{name} has a place in {size}, {yarn}")
                elif one.get("size"):
                    pin = _("{name} has a place in {size}")
                elif one.get("yarn"):
                    pin = _("{name} has a place, {yarn}")
                else:
                    pin = _("{name} has a place")
                name, yarn = called.people[one["candidate"]], called.yarn(one.get("yarn"))
                said.append((f"pin{at}", pin.format(name=name, size=one.get("size"), yarn=yarn)))
        for at, one in enumerate(draft.exclusions):
            if one["candidate"] in called.people:
                out = _("{name} has no place in {size}") if one.get("size") else _("{name} has no place")
                name = called.people[one["candidate"]]
                said.append((f"out{at}", out.format(name=name, size=one.get("size"))))
        self.fields["drop"].choices = said
        if not said:
            del self.fields["drop"]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if not cleaned.get("person") and not cleaned.get("drop") and not self.errors:
            self.add_error("person", _("Choose a candidate, or mark what is to be dropped."))
        return cleaned

    def changes(self) -> dict[str, Any]:
        """The draft's pins and exclusions with the new one, without the dropped ones."""
        drop = set(self.cleaned_data.get("drop") or ())
        pins = [one for at, one in enumerate(self.draft.pins) if f"pin{at}" not in drop]
        out = [one for at, one in enumerate(self.draft.exclusions) if f"out{at}" not in drop]
        person = self.cleaned_data.get("person")
        if person:
            what, _, size = self.cleaned_data["word"].partition(":")
            if what == "out":
                out.append({"candidate": person, "size": size or None})
            else:
                yarn = self.cleaned_data.get("yarn") or None
                pins.append({"candidate": person, "size": size or None, "yarn": yarn})
        return {"pins": pins, "exclusions": out}


class AcceptForm(RevisionForm):
    """Until when the offers stand; and what was looked at, so that nothing else is accepted."""

    seen = forms.CharField(max_length=64, widget=forms.HiddenInput)
    until = DateField(
        label=gettext_lazy("The offers stand until"),
        required=True,
        help_text=gettext_lazy(
            "To the end of that day. A place that nobody has taken by then goes to the next in reserve."
        ),
        error_messages={
            "required": gettext_lazy("Pick the last day of the offers."),
        },
    )


class DeclineForm(forms.Form):
    cause = forms.CharField(
        label=gettext_lazy("Why"),
        required=False,
        max_length=300,
        help_text=gettext_lazy("The designer sees it."),
    )
