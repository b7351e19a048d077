"""The edition that follows, with what errata print instead."""

from __future__ import annotations

from collections.abc import Iterable

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.errata.models import Erratum
from testround.errata.selectors import amendments_of
from testround.kernel.amended import amended_by_each
from testround.kernel.problems import Problem
from testround.kernel.round import Pattern as SheetDocument
from testround.patterns.models import Edition
from testround.patterns.services import SheetRefused, edition_create_next
from testround.people.models import User
from testround.rounds.models import Round
from testround.rounds.refusals import Refused
from testround.rounds.services import diary_write


def corrected_sheet(sheet: SheetDocument, errata: Iterable[Erratum]) -> SheetDocument:
    """A sheet with the values that errata print instead, and formulas that give them.

    One erratum after the other: of two that change one value the later holds.
    """
    return amended_by_each(sheet, [amendments_of(erratum.changes) for erratum in errata])


@transaction.atomic
def edition_correct(*, round: Round, label: str, by: User) -> Edition:
    """Make the edition that follows a round's, with the numbers of every published erratum on that edition.

    Words stay as they are. A formula that would not give a corrected number is mended, so that the desk check of the
    new edition finds no fault with what was corrected, and own numbers and all that follows go by it.

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
