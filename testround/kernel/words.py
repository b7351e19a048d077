"""The words of what is said to people, in their language.

The kernel knows no catalogue. It asks for one whenever it says something, and speaks English where nobody has given
it any: :func:`speak` is called once, by the program around it. A sentence is one message, with named places in
braces that are filled in afterwards, so that a translation may put them in another order::

    _("{dimension} comes out {off} larger than the pattern means.").format(dimension=label, off=shown)

What goes into a file or is compared by a program is never translated: keys, verdicts as stored, formulas.
"""

from __future__ import annotations

from collections.abc import Callable
from gettext import NullTranslations

ENGLISH = NullTranslations()
_catalogue: Callable[[], NullTranslations] = lambda: ENGLISH  # noqa: E731 -- one of two values of a name


def speak(catalogue: Callable[[], NullTranslations]) -> None:
    """Look up what is said from here on in the catalogue that this returns at that moment."""
    global _catalogue  # noqa: PLW0603 -- set once, as the program starts
    _catalogue = catalogue


def gettext(message: str) -> str:
    """The message in the reader's language."""
    return _catalogue().gettext(message)


def ngettext(one: str, many: str, n: float) -> str:
    """The form of the message that goes with so many; ``n`` is not filled in."""
    # Catalogues reckon with whole numbers; half a ball is spoken of as more than one.
    return _catalogue().ngettext(one, many, int(n) if float(n).is_integer() else 2)


def pgettext(context: str, message: str) -> str:
    """The message in the reader's language, where the same English means another thing elsewhere."""
    return _catalogue().pgettext(context, message)


def decimal_separator() -> str:
    """What stands between a number and its decimals."""
    return pgettext("between a number and its decimals", ".")
