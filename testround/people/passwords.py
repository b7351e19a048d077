"""What a password may be, and how it is kept.

No rule says of which characters it is made (OWASP ASVS 5.0, 6.2.5). It is long, it is none of those that are tried
first, and it is not made of words that this place suggests.
"""

from __future__ import annotations

import re
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib.auth.hashers import Argon2PasswordHasher
from django.contrib.auth.password_validation import CommonPasswordValidator
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

# Of a password without those words this much has to be left.
OWN_CHARACTERS = 8
# What is put in the place of letters, so that a common word looks like another one.
DISGUISES = str.maketrans("013457@$!", "oieastasi")
# What is put around a common word until a form takes it.
HEAD, TAIL = re.compile(r"^[\W\d_]*"), re.compile(r"[\W\d_]*$")
# So long, nobody guesses what is around a common word.
LOOKED_INTO = 64


class Argon2(Argon2PasswordHasher):
    """Argon2id as OWASP's Password Storage Cheat Sheet has it, with a pass to spare: 46 MiB, 2 passes, one lane.

    Django's own takes 100 MiB and eight lanes for each sign-in, which a small server has not for many at once.
    """

    time_cost = 2
    memory_cost = 47_104
    parallelism = 1


class NotOneOfMany(CommonPasswordValidator):
    """Refuses the 20,000 most used passwords, taken from breaches, also dressed up to be long enough.

    Of that list few are as long as a password has to be here; what people do with the others is to write them
    twice, to put a year behind them, or digits in the place of letters. So each is looked for underneath.
    """

    def validate(self, password: str, user: Any = None) -> None:
        if any(plain in self.passwords for plain in _underneath(password)):
            raise ValidationError(self.get_error_message(), code="password_too_common")

    def get_error_message(self) -> str:
        return _(
            "This is a password that many people use, or one with something around it. Four or five words that have nothing to do with each other are hard to guess and easy to type."
        )

    def get_help_text(self) -> str:
        return _("It cannot be one that many people use.")


def _underneath(password: str) -> set[str]:
    """A password as it is, and what may be left of it without what was put around it and in it."""
    small = password.lower().strip()
    if len(small) > LOOKED_INTO:
        return {small}
    bare = _without_ends(small)
    plain = {text.translate(DISGUISES) for text in bare}
    return {unit for text in bare | plain for unit in _repeated(text)}


def _without_ends(text: str) -> set[str]:
    """A text with less and less of the digits and signs at its ends; digits alone stay for the most part."""
    head, tail = HEAD.match(text), TAIL.search(text)
    most_head, most_tail = (len(found[0]) if found else 0 for found in (head, tail))
    if most_head == len(text):
        return {text[: len(text) - cut] for cut in range(len(text) // 3 + 1)}
    return {text[start : len(text) - cut] for start in range(most_head + 1) for cut in range(most_tail + 1)}


def _repeated(text: str) -> set[str]:
    """What a text is made of, where it is the same over and over; itself besides."""
    lengths = (length for length in range(1, len(text) + 1) if len(text) % length == 0)
    return {text[:length] for length in lengths if text[:length] * (len(text) // length) == text}


class NotAboutThisPlace:
    """Refuses passwords that are made of this program's name and trade: ``words``, and those of the site's address."""

    def __init__(self, words: str) -> None:
        self.words = frozenset(words.split())

    def validate(self, password: str, user: Any = None) -> None:
        left = password.lower()
        for word in sorted(self.words | _of_the_address(), key=len, reverse=True):
            left = left.replace(word, "")
        # What only keeps words apart is nothing of one's own, nor is a year behind them.
        own = re.sub(r"[\W\d_]+", "", left)
        if len(own) < OWN_CHARACTERS and len(own) < len(re.sub(r"[\W\d_]+", "", password)):
            raise ValidationError(
                _(
                    "This password is made of words that somebody would try here first, as they are about knitting, crochet or this site. Add some that are not."
                ),
                code="password_about_this_place",
            )

    def get_help_text(self) -> str:
        return _("It cannot be made of words about this site alone.")


def _of_the_address() -> set[str]:
    """The parts of the site's own name that are words."""
    host = urlsplit(settings.SITE_URL).hostname or ""
    return {part for part in re.split(r"[\W\d_]+", host.lower()) if len(part) > 3}
