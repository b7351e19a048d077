"""What a draft would bring with it: the sheet as it stands with all that is published, and with the draft as well."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from testround.errata.models import Erratum
from testround.errata.wording import Change, ChangeTable, change_tables, name_of, names_of
from testround.kernel.amended import Amendment, amended_by_each
from testround.kernel.consequences import Consequences, Follows, consequences
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.units import LengthUnit


def amendments_of(changes: Iterable[Change]) -> list[Amendment]:
    """An erratum's changes as the kernel reads them."""
    return [
        Amendment(change["subject"], change["unit"], change["now"], tuple(change.get("keeps", ())))
        for change in changes
    ]


@dataclass(frozen=True, slots=True)
class Following:
    """What follows from a draft, and whether the sheet stands with every other draft of its round as well."""

    sheet: SheetDocument
    found: Consequences
    together: Consequences | None
    """None where no other draft changes a number."""

    def tables(self, units: LengthUnit) -> tuple[ChangeTable, ...]:
        """Everything that changes beside the corrected numbers themselves, was and now by size."""
        return change_tables(_as_changes(self.found.follows, self.sheet), units)

    @property
    def is_quiet(self) -> bool:
        return not self.found.follows and self.found.holds


def following_of(erratum: Erratum) -> Following:
    """Work the sheet with all that is published of the edition, then with this draft: two queries."""
    edition = erratum.edition
    others = (
        Erratum.objects.filter(edition=edition)
        .exclude(pk=erratum.pk)
        .exclude(changes=[])
        .order_by("number", "pk")
    )
    rows = list(others)
    published = [amendments_of(other.changes) for other in rows if other.is_published]
    drafts = [amendments_of(other.changes) for other in rows if not other.is_published]
    stands = amended_by_each(edition.document, published)
    own = amendments_of(erratum.changes)
    together = None
    if drafts:
        every = _in_one([own, *drafts])
        together = consequences(stands, every)
    return Following(edition.document, consequences(stands, own), together)


def published_sheet(erratum: Erratum) -> SheetDocument:
    """The edition's sheet with every erratum published of it but this one."""
    published = (
        Erratum.objects.published().filter(edition=erratum.edition).exclude(pk=erratum.pk).order_by("number")
    )
    return amended_by_each(erratum.edition.document, [amendments_of(other.changes) for other in published])


def _in_one(lists: Sequence[Sequence[Amendment]]) -> list[Amendment]:
    """Amendments of several drafts as of one erratum; of two that change one value the first holds."""
    joined: dict[tuple[str, str], Amendment] = {}
    for one in (one for several in lists for one in several):
        old = joined.get((one.subject, one.unit))
        joined[one.subject, one.unit] = (
            one
            if old is None
            else Amendment(
                one.subject, one.unit, {**one.now, **old.now}, tuple(dict.fromkeys((*old.keeps, *one.keeps)))
            )
        )
    return list(joined.values())


def _as_changes(follows: Iterable[Follows], sheet: SheetDocument) -> list[Mapping[str, Any]]:
    names = names_of(sheet)
    changes: list[Mapping[str, Any]] = []
    for one in follows:
        named = name_of(one.key, names)
        if one.kind == "stitches":
            label, place, unit = _("Stitches of the whole piece"), "", ""
        elif one.kind == "yarn":
            label, place, unit = _("Yarn, if it changes as the stitches do"), "", "m"
        else:
            label, place, unit = named.label, named.place, named.unit
        now, was = one.now, one.was
        if unit != "cm":
            now, was = ({size: float(round(value, 1)) for size, value in side.items()} for side in (now, was))
        if one.kind in ("yarn", "stitches"):
            now, was = ({size: float(round(value)) for size, value in side.items()} for side in (now, was))
        changes.append({"label": label, "place": place, "unit": unit, "was": was, "now": now})
    return changes
