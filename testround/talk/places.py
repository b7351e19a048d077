"""The places in the text that a sheet names, and which of them somebody means."""

from __future__ import annotations

from testround.kernel.round import Pattern as SheetDocument


def places_named(sheet: SheetDocument) -> list[str]:
    """As in "Back, step 3", in the order of the sheet's numbers and then its shapings, each once."""
    places = [number.place for number in sheet.numbers] + [shaping.place for shaping in sheet.shapings]
    return list(dict.fromkeys(place for place in places if place))


def canonical_place(where: str, sheet: SheetDocument) -> str:
    """The sheet's own spelling of a place, whatever the case and spaces; else what was written, on one line."""
    written = " ".join(where.split())
    spelled = {_plain(place): place for place in places_named(sheet)}
    return spelled.get(_plain(written), written)


def _plain(place: str) -> str:
    return "".join(sign for sign in place.casefold() if sign.isalnum())
