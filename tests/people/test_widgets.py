"""Form fields written out at once say what Django's own templates say, to the letter."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django import forms
from django.forms.renderers import DjangoTemplates
from django.utils.safestring import mark_safe
from django.utils.translation import gettext_lazy

from testround.people.widgets import AtOnce

CHOICES = [
    ("", "–"),
    ("a&b", "A & B"),
    (1, 1200),
    ("Sizes", [("S", mark_safe("<b>S</b>")), ("M", gettext_lazy("M"))]),
]
VALUES: list[Any] = [None, "", "a", '"quoted" <b> & \'s', mark_safe("&amp;"), 0, 1200, 1.5, True, False]
WIDGETS: list[forms.Widget] = [
    forms.TextInput(
        attrs={"inputmode": "decimal", "aria-label": 'Size "S" & M', "required": True, "readonly": False}
    ),
    forms.NumberInput(attrs={"min": 0, "step": 0.5}),
    forms.EmailInput(),
    forms.URLInput(),
    forms.PasswordInput(render_value=True),
    forms.HiddenInput(),
    forms.DateInput(),
    forms.CheckboxInput(attrs={"class": "choice"}),
    forms.Textarea(attrs={"rows": 3}),
    forms.Select(choices=CHOICES, attrs={"id": "seat"}),
    forms.SelectMultiple(choices=CHOICES),
    forms.RadioSelect(choices=CHOICES),
    forms.CheckboxSelectMultiple(choices=CHOICES, attrs={"class": "a b"}),
]


@pytest.mark.parametrize("value", [*VALUES, dt.date(2026, 5, 4)], ids=repr)
@pytest.mark.parametrize("widget", WIDGETS, ids=lambda widget: type(widget).__name__)
def test_a_field_is_what_a_template_would_have_made_of_it(widget: forms.Widget, value: Any) -> None:
    at_once, by_template = (
        widget.render("field", value, {"id": "id_field"}, renderer=renderer)
        for renderer in (AtOnce(), DjangoTemplates())
    )

    assert at_once == by_template


def test_forms_are_written_at_once() -> None:
    class Names(forms.Form):
        name = forms.CharField()

    assert isinstance(Names().renderer, AtOnce)
