"""What templates say of parts in a pattern."""

from __future__ import annotations

from django import template

from testround.rounds.letters.words import role_word

register = template.Library()
register.filter(role_word)
