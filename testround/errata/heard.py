"""Who hears of a published erratum: the rooms above, which this one does not know."""

from __future__ import annotations

from collections.abc import Callable

from testround.errata.models import Erratum

Hears = Callable[[Erratum], object]
_hearing: list[Hears] = []


def when_published(hears: Hears) -> Hears:
    """Register a function that is told of every erratum in the transaction that publishes it.

    It writes down what has to follow and leaves doing it to work after commit: nothing that it needs the world for
    may keep an erratum from being published.
    """
    _hearing.append(hears)
    return hears


def tell_published(erratum: Erratum) -> None:
    for hears in _hearing:
        hears(erratum)
