"""The edition that follows, with what errata print instead."""

from __future__ import annotations

from collections.abc import Iterable

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.errata.models import Erratum
from testround.errata.selectors import ComparedEditions, amendments_of, compared_editions
from testround.errata.services.drafting import LONGEST_TEXT, hold_round, one_line
from testround.errata.wording import draft_text, sizes_listed
from testround.kernel.amended import amended_by_each
from testround.kernel.problems import Problem
from testround.kernel.round import Pattern as SheetDocument
from testround.patterns.access import Right, require
from testround.patterns.fields import Scale
from testround.patterns.models import Edition
from testround.patterns.services import SheetRefused, corrects, edition_create_next
from testround.people.models import User
from testround.rounds.models import Round
from testround.rounds.refusals import Refused
from testround.rounds.services import diary_write


def corrected_sheet(sheet: SheetDocument, errata: Iterable[Erratum]) -> SheetDocument:
    """A sheet with the values that errata print instead, and formulas that give them.

    One erratum after the other: of two that change one value the later holds.
    """
    return amended_by_each(sheet, [amendments_of(erratum.changes) for erratum in errata])


@corrects
def _published(edition: Edition, sheet: SheetDocument) -> SheetDocument:
    """However the next edition is made, it begins with what readers of this one were told to change."""
    return corrected_sheet(sheet, Erratum.objects.published().filter(edition=edition).order_by("number"))


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
        edition = edition_create_next(edition=round.edition, label=label, by=by)
    except SheetRefused as refusal:
        raise Refused(Problem("label", problem.sentence) for problem in refusal.problems) from None
    said = ngettext(
        "Edition {edition} made with one correction.",
        "Edition {edition} made with {n} corrections.",
        len(errata),
    )
    diary_write(round=round, by=by, text=said.format(edition=edition.label, n=len(errata)))
    return edition


@transaction.atomic
def drafts_from_editions(*, compared: ComparedEditions, by: User) -> list[Erratum]:
    """Draft errata to an older edition from what a newer one prints: one for each group of numbers that hang together.

    They stand on the desk of the older edition's newest round. What an erratum or a draft has already is left out.

    Raises
    ------
    Refused
        There is nothing left to draft, or no round was made on the older edition.
    """
    old, new = compared.old, compared.new
    require(by, Right.EDIT, old.pattern)
    if compared.round is None:
        said = _("No round was made on edition {edition}, so there is no desk that drafts could stand on.")
        raise Refused.because(said.format(edition=old.label))
    # Two who press at once: the second finds the drafts of the first.
    hold_round(compared.round)
    compared = compared_editions(old, new, Scale())
    if not compared.groups or compared.round is None:
        raise Refused.because(_("Every number that changed is in an erratum or a draft already."))
    sizes = old.document.sizes
    drafts = []
    for changes in compared.groups:
        touched = {size for change in changes for size in change["now"]}
        drafts.append(
            Erratum.objects.create(
                pattern=old.pattern,
                edition=old,
                round=compared.round,
                place=one_line(dict.fromkeys(change["place"] for change in changes)),
                # A gauge is every size's.
                sizes=sizes_listed(touched, sizes) if touched <= set(sizes) else [],
                changes=list(changes),
                text=draft_text(changes, sizes)[:LONGEST_TEXT],
                why=_("Edition {edition} has it so.").format(edition=new.label),
            )
        )
    said = ngettext(
        "{n} draft of an erratum made from what edition {edition} prints.",
        "{n} drafts of errata made from what edition {edition} prints.",
        len(drafts),
    )
    diary_write(round=compared.round, by=by, text=said.format(n=len(drafts), edition=new.label))
    return drafts
