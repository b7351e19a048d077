"""What templates say of dates."""

from __future__ import annotations

from django import template

from testround.rounds.due import Due, dues_of
from testround.rounds.models import Place

register = template.Library()


@register.filter
def next_due(place: Place) -> Due | None:
    """The nearest thing that is awaited from a place and has a date."""
    return next(iter(dues_of(place)), None)
