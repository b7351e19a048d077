"""Which of the questions asked before are most like a new one."""

from __future__ import annotations

import re

_WORD = re.compile(r"\w+")
# Words that questions share whatever they ask.
_COMMON_WORDS = (
    "a an and are as at be but by can did do does for from has have how i if in is it its me my no not of on or "
    "should so that the then there these this to was what when where which who why will with you your"
)
_COMMON = frozenset(_COMMON_WORDS.split())


def words_of(text: str) -> frozenset[str]:
    """The words that carry a question, without endings that only make a plural or a form of a verb."""
    words = {word.casefold() for word in _WORD.findall(text)}
    return frozenset(_stem(word) for word in words - _COMMON)


def likeness(one: str, other: str) -> float:
    """How much of their words two questions share: 0 for none, 1 for all.

    References
    ----------
    Jaccard, P. (1912), The distribution of the flora in the alpine zone. New Phytologist 11, 37-50: the number
    of kinds in both places over the number in either.
    """
    first, second = words_of(one), words_of(other)
    either = first | second
    return len(first & second) / len(either) if either else 0.0


def _stem(word: str) -> str:
    for ending in ("ings", "ing", "ed", "es", "s"):
        if word.endswith(ending) and len(word) - len(ending) >= 3:
            return word[: -len(ending)]
    return word
