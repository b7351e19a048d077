"""The words of what is said to people, in their language.

The kernel knows no catalogue. It asks for one whenever it says something, and speaks English where nobody has given
it any: :func:`speak` is called once, by the program around it. A sentence is one message, with named places in
braces that are filled in afterwards, so that a translation may put them in another order::

    _("{dimension} comes out {off} larger than the pattern means.").format(dimension=label, off=shown)

What goes into a file or is compared by a program is never translated: keys, verdicts as stored, formulas. A sentence
that is both kept in a file and shown on a page is :func:`told`: it is English, and knows how to say itself again.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from gettext import NullTranslations
from typing import Any

# Letters whose mark is part of them, so that no table of Unicode takes it off.
_AS_WRITTEN_PLAIN = str.maketrans({"æ": "ae", "œ": "oe", "ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th"})

ENGLISH = NullTranslations()
_catalogue: Callable[[], NullTranslations] = lambda: ENGLISH  # noqa: E731 -- one of two values of a name
_in_english: ContextVar[bool] = ContextVar("in_english", default=False)


def speak(catalogue: Callable[[], NullTranslations]) -> None:
    """Look up what is said from here on in the catalogue that this returns at that moment."""
    global _catalogue  # noqa: PLW0603 -- set once, as the program starts
    _catalogue = catalogue


@contextmanager
def in_english() -> Iterator[None]:
    """What is said inside is said in English, whoever reads it: for files and for what programs compare."""
    before = _in_english.set(True)
    try:
        yield
    finally:
        _in_english.reset(before)


def _present() -> NullTranslations:
    return ENGLISH if _in_english.get() else _catalogue()


# Messages -------------------------------------------------------------------------------------------------


def gettext(message: str) -> str:
    """The message in the reader's language."""
    return _present().gettext(message)


def ngettext(one: str, many: str, n: float) -> str:
    """The form of the message that goes with so many; ``n`` is not filled in."""
    # Catalogues reckon with whole numbers; half a ball is spoken of as more than one.
    return _present().ngettext(one, many, int(n) if float(n).is_integer() else 2)


def pgettext(context: str, message: str) -> str:
    """The message in the reader's language, where the same English means another thing elsewhere."""
    return _present().pgettext(context, message)


def npgettext(context: str, one: str, many: str, n: float) -> str:
    """The form that goes with so many, where the same English means another thing elsewhere."""
    return _present().npgettext(context, one, many, int(n) if float(n).is_integer() else 2)


def gettext_noop(message: str) -> str:
    """The message as it is: marked for translators here, looked up where it is said."""
    return message


def decimal_separator() -> str:
    """What stands between a number and its decimals."""
    return pgettext("between a number and its decimals", ".")


def listed(names: Iterable[str]) -> str:
    """Names as a sentence has them: "a, b and c"."""
    # Translators: {most} is one name or several with commas between them, {last} is the last one.
    return _series(names, pgettext("end of a list", "{most} and {last}"))


def in_alphabet(names: Iterable[str]) -> tuple[str, ...]:
    """Names in the order of a dictionary: letters with marks stand with those without, capitals with small ones.

    That is the order of English and of German lists of words (DIN 5007-1); names that differ in nothing else are in
    the order of their signs.
    """
    return tuple(sorted(names, key=lambda name: (_letters(name), name)))


def _letters(name: str) -> str:
    apart = unicodedata.normalize("NFKD", name.casefold())
    plain = "".join(sign for sign in apart if not unicodedata.combining(sign))
    return plain.translate(_AS_WRITTEN_PLAIN)


def either(names: Iterable[str]) -> str:
    """Names of which one is meant, as a sentence has them: "a, b or c"."""
    return _series(names, pgettext("end of a list", "{most} or {last}"))


def commas(names: Iterable[str]) -> str:
    """Names one after the other: "a, b, c"."""
    return pgettext("between the names of a list", ", ").join(names)


def and_more(names: Sequence[str], more: int) -> str:
    """Names one after the other, and how many there are besides."""
    if more <= 0:
        return commas(names)
    return ngettext("{names} and {n} more", "{names} and {n} more", more).format(names=commas(names), n=more)


def in_sizes(sizes: Sequence[str]) -> str:
    """Where something is so: "in size M", "in sizes S, M"."""
    return ngettext("in size {sizes}", "in sizes {sizes}", len(sizes)).format(sizes=commas(sizes))


def number_word(n: int) -> str:
    """A small number in letters, a larger one in figures; a translation may have figures throughout."""
    words = (
        pgettext("a number in letters", "no"),
        pgettext("a number in letters", "one"),
        pgettext("a number in letters", "two"),
        pgettext("a number in letters", "three"),
        pgettext("a number in letters", "four"),
        pgettext("a number in letters", "five"),
        pgettext("a number in letters", "six"),
        pgettext("a number in letters", "seven"),
        pgettext("a number in letters", "eight"),
        pgettext("a number in letters", "nine"),
        pgettext("a number in letters", "ten"),
    )
    return words[n] if n < len(words) else str(n)


def ordinal(n: int) -> str:
    """A place in an order, in figures: "1st", "12th"."""
    if n % 100 in (11, 12, 13):
        said = pgettext("ordinal", "{n}th")
    elif n % 10 == 1:
        said = pgettext("ordinal", "{n}st")
    elif n % 10 == 2:
        said = pgettext("ordinal", "{n}nd")
    elif n % 10 == 3:
        said = pgettext("ordinal", "{n}rd")
    else:
        said = pgettext("ordinal", "{n}th")
    return said.format(n=n)


def ordinal_word(n: int) -> str:
    """The same in letters up to the tenth; a translation may have figures throughout."""
    words = (
        pgettext("an ordinal in letters", "first"),
        pgettext("an ordinal in letters", "second"),
        pgettext("an ordinal in letters", "third"),
        pgettext("an ordinal in letters", "fourth"),
        pgettext("an ordinal in letters", "fifth"),
        pgettext("an ordinal in letters", "sixth"),
        pgettext("an ordinal in letters", "seventh"),
        pgettext("an ordinal in letters", "eighth"),
        pgettext("an ordinal in letters", "ninth"),
        pgettext("an ordinal in letters", "tenth"),
    )
    return words[n - 1] if 0 < n <= len(words) else ordinal(n)


def _series(names: Iterable[str], end: str) -> str:
    *most, last = names
    return end.format(most=commas(most), last=last) if most else last


# Sentences that are kept and shown -------------------------------------------------------------------------


class Told(str):
    """A sentence in English that can be said again in the language of whoever reads it.

    Whatever takes it for text (a file, a comparison, a hash, a database) gets the English.
    """

    say: Callable[..., str]
    about: tuple[Any, ...]

    def __reduce__(self) -> tuple[Any, ...]:
        return told, (self.say, *self.about)


def told(say: Callable[..., str], *about: Any) -> Told:
    """The sentence that a function of this module or another says of some plain values."""
    with in_english():
        sentence = Told(say(*about))
    sentence.say, sentence.about = say, about
    return sentence


def tell(message: str, **places: Any) -> Told:
    """A message that was marked by :func:`gettext_noop`, told with its places; told ones among them are said anew."""
    return told(_fill, message, tuple(places.items()))


def _fill(message: str, places: tuple[tuple[str, Any], ...]) -> str:
    return gettext(message).format(
        **{name: spoken(value) if isinstance(value, str) else value for name, value in places}
    )


def spoken(sentence: str) -> str:
    """A sentence as it is shown: one that was :func:`told` is said in the reader's language, another is as it is."""
    return sentence.say(*sentence.about) if isinstance(sentence, Told) else sentence
