"""The edition that follows, with what errata print instead."""

from __future__ import annotations

from collections.abc import Iterable

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.errata.models import Erratum
from testround.errata.wording import (
    GAUGE_UNITS,
    in_order,
)
from testround.kernel.amounts import PER_M2
from testround.kernel.problems import Problem
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.roundfile import plain
from testround.patterns.models import Edition
from testround.patterns.services import SheetRefused, edition_create_next
from testround.people.models import User
from testround.rounds.models import Round
from testround.rounds.refusals import Refused
from testround.rounds.services import diary_write


def corrected_sheet(sheet: SheetDocument, errata: Iterable[Erratum]) -> SheetDocument:
    """A sheet with the values that errata print instead; of two that change one value the later holds."""
    document = plain(sheet)
    printed = {
        entry["key"]: entry for entry in (*document.get("numbers", ()), *document.get("dimensions", ()))
    }
    gauges = {gauge["key"]: gauge for gauge in document["gauges"]}
    for change in (change for erratum in errata for change in erratum.changes):
        subject, now = change["subject"], change["now"]
        gauge = gauges.get(subject.removesuffix(".st").removesuffix(".row"))
        if change["unit"] in GAUGE_UNITS and gauge is not None:
            gauge.update(now)
        elif subject in printed:
            entry = printed[subject]
            entry["printed"] = in_order({**entry.get("printed", {}), **now}, sheet.sizes)
        elif subject == "yarn" and PER_M2 in now:
            document["yarn_per_m2"] = now[PER_M2]
        elif subject in ("yarn", "hours"):
            document[subject] = in_order({**document.get(subject, {}), **now}, sheet.sizes)
    return SheetDocument.model_validate(document)


@transaction.atomic
def edition_correct(*, round: Round, label: str, by: User) -> Edition:
    """Make the edition that follows a round's, with the numbers of every published erratum on that edition.

    Formulas and words stay as they are: the desk check of the new edition shows where a formula no longer
    gives what is printed.

    Raises
    ------
    Refused
        Nothing is published on the edition, or the label is taken or missing.
    """
    errata = list(Erratum.objects.published().filter(edition=round.edition).order_by("number"))
    if not errata:
        raise Refused.because(_("Nothing is published on this edition yet; publish an erratum first."))
    try:
        edition = edition_create_next(
            edition=round.edition,
            label=label,
            document=corrected_sheet(round.edition.document, errata),
            by=by,
        )
    except SheetRefused as refusal:
        raise Refused(Problem("label", problem.sentence) for problem in refusal.problems) from None
    said = ngettext(
        "Edition {edition} made with one correction.",
        "Edition {edition} made with {n} corrections.",
        len(errata),
    )
    diary_write(round=round, by=by, text=said.format(edition=edition.label, n=len(errata)))
    return edition
