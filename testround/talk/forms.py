"""The forms of what is said. What is written is kept when a form is refused."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.utils.text import format_lazy
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from testround.rounds.forms.fields import add_refusal
from testround.rounds.models import Round
from testround.rounds.refusals import Refused
from testround.talk.models import LONGEST_QUESTION, LONGEST_SAID, Question
from testround.talk.places import canonical_place, places_named

LONGEST_PLACE: int = Question._meta.get_field("where").max_length
PLAIN = _("Plain text; an address that begins with https:// becomes a link.")


class SaidForm(forms.Form):
    """A form that says something once: its key was made with the page."""

    key = forms.UUIDField(
        widget=forms.HiddenInput,
        error_messages={
            "required": _("The form lost its number on the way. Look it over and send it again."),
            "invalid": _("The form's number was changed on the way. Look it over and send it again."),
        },
    )

    data: Any

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.setdefault("key", uuid.uuid4())

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if "key" in self.errors:
            self._set("key", str(uuid.uuid4()))
        return cleaned

    def refuse(self, refused: Refused) -> None:
        """Say why it was not taken, and let it be sent once more as something of its own."""
        add_refusal(self, refused)
        self._set("key", str(uuid.uuid4()))

    def _set(self, name: str, value: str) -> None:
        data = self.data.copy()
        data[self.add_prefix(name)] = value
        self.data = data


def _said(label: str, help_text: str, empty: str, most: int = LONGEST_SAID, rows: int = 6) -> forms.CharField:
    return forms.CharField(
        label=label,
        help_text=format_lazy("{} {}", help_text, PLAIN) if help_text else PLAIN,
        max_length=most,
        widget=forms.Textarea(attrs={"rows": rows}),
        error_messages={
            "required": empty,
            "max_length": _(
                "That is longer than %(limit_value)s signs (%(show_value)s): shorten it, or say it in two parts."
            ),
        },
    )


class NoteForm(SaidForm):
    text = _said(
        _("Your note"),
        _("It is theirs as soon as you send it, and cannot be taken back."),
        _("Write what the testers are to know; a sentence is enough."),
    )


class QuestionForm(SaidForm):
    where = forms.CharField(
        label=_("Where in the text"),
        max_length=LONGEST_PLACE,
        help_text=_("Section and step, as in “Back, step 3”. The answer will stand there."),
        widget=forms.TextInput(attrs={"list": "places", "autocomplete": "off"}),
        error_messages={"required": _("Say at which place in the text: the section and the step.")},
    )
    text = _said(
        _("Your question"),
        _("The designer and all testers of the round read it."),
        _("Write what you would like to know; a sentence is enough."),
        most=LONGEST_QUESTION,
        rows=4,
    )
    by_name = forms.TypedChoiceField(
        label=_("What the other testers see"),
        coerce=lambda chosen: chosen == "name",
        widget=forms.RadioSelect,
        initial="hidden",
        error_messages={"required": _("Choose whether the other testers see your name.")},
        help_text=_("The designer sees who asked, and the size, to answer it well."),
    )
    # The last question at that place that stood above the form.
    shown = forms.IntegerField(widget=forms.HiddenInput, required=False, min_value=0)

    def __init__(self, *args: Any, round: Round, name: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.document = round.edition.document
        self.places = places_named(self.document)
        self.fields["by_name"].choices = [
            ("hidden", gettext("“a tester” asked")),
            ("name", gettext("“{name}” asked").format(name=name)),
        ]

    def clean_where(self) -> str:
        return canonical_place(self.cleaned_data["where"], self.document)

    def asked_at(self) -> str:
        """The place that stands in the form, however the rest of it is."""
        written = self.data.get("where", "") if self.is_bound else self.initial.get("where", "")
        return canonical_place(str(written)[:LONGEST_PLACE], self.document)

    def show(self, last: int) -> None:
        """Remember the last question at that place that stands above the form."""
        if self.is_bound:
            self._set("shown", str(last))
        else:
            self.initial["shown"] = last

    def asked(self) -> dict[str, Any]:
        cleaned = self.cleaned_data
        return {
            "where": cleaned["where"],
            "text": cleaned["text"],
            "by_name": cleaned["by_name"],
            "shown": cleaned["shown"] or 0,
        }


class AnswerForm(SaidForm):
    text = _said(
        _("Your answer"),
        _(
            "All testers of the round read it. It cannot be changed later; you can add to it, and the addition "
            "has its date."
        ),
        _("Write the answer; a sentence is enough."),
    )
    # How many answers and additions stood above the form.
    after = forms.IntegerField(widget=forms.HiddenInput, required=False, min_value=0)

    def __init__(self, *args: Any, standing: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.setdefault("after", standing)
        if standing:
            self.fields["text"].label = _("What is to be added")
        self.standing = standing

    def refuse(self, refused: Refused) -> None:
        super().refuse(refused)
        self._set("after", str(self.standing))


class WordForm(SaidForm):
    text = _said(_("Your words"), "", _("Write what you want to say."), rows=4)
