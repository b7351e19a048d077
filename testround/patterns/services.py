"""What changes patterns, their editions and sheets."""

from __future__ import annotations

import re
from collections.abc import Callable

from django.db import transaction
from django.db.models import F, ProtectedError
from django.utils import timezone
from django.utils.translation import gettext as _
from pydantic import ValidationError

from testround.kernel.problems import InputProblems, Problem
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.roundfile import plain, problems_of
from testround.kernel.sheet import check_pattern
from testround.kernel.terms import ambiguous, terms_of
from testround.patterns.access import Right, require
from testround.patterns.models import Edition, Pattern, SheetState
from testround.patterns.states import BACK, MOST_STATES, TYPED, state_keep, step_back
from testround.people.models import User


class SheetRefused(InputProblems):
    """A sheet that is not stored; ``problems`` says all that is wrong with it."""


class SheetFrozen(Exception):
    """The edition has been opened to testers, and its sheet stays as they know it."""

    def __init__(self, edition: Edition) -> None:
        self.edition = edition
        super().__init__(
            _(
                "The sheet of edition {label} is frozen, because a round has opened on it and testers work from its "
                "numbers. Make the next edition and change that one."
            ).format(label=edition.label)
        )


class SheetChanged(Exception):
    """Someone saved the sheet after it was opened here."""

    def __init__(self, edition: Edition) -> None:
        self.edition = edition
        super().__init__(
            _(
                "This sheet was saved from another window after you opened it here. Nothing you typed is lost: it is "
                "still on this page. Compare it with the saved sheet, then save again to put yours in its place."
            )
        )


class NothingBefore(Exception):
    """There is no earlier state of the sheet to go back to, or no longer."""

    def __init__(self) -> None:
        super().__init__(
            _(
                "There is no such earlier state of this sheet: the last {most} saves are kept, and older ones "
                "make room. Nothing was changed; the list below shows the states that are there."
            ).format(most=MOST_STATES)
        )


class PatternInUse(Exception):
    """A pattern that rounds have tested, or that errata were written for, cannot be deleted."""

    def __init__(self, *, has_rounds: bool = True) -> None:
        super().__init__(
            _(
                "This pattern has rounds, and what testers sent belongs to them. A pattern can be deleted only while "
                "no round was made on it."
            )
            if has_rounds
            else _("This pattern has errata. A pattern can be deleted only while none were written for it.")
        )


def _checked(document: SheetDocument) -> dict[str, object]:
    """The sheet as it is stored, or every reason why it cannot be."""
    problems = check_pattern(document)
    if problems:
        raise SheetRefused(problems)
    return plain(document)


def _check_label(pattern: Pattern, label: str, *, besides: int | None = None) -> None:
    if pattern.editions.filter(label=label).exclude(pk=besides).exists():
        raise SheetRefused(
            [
                Problem(
                    "edition",
                    _("this pattern has an edition {label} already; give this one another number").format(
                        label=label
                    ),
                )
            ]
        )


@transaction.atomic
def pattern_create(*, owner: User, document: SheetDocument, terms: str | None = None) -> Edition:
    """Make a pattern with its first edition. Raises SheetRefused.

    ``terms`` is the dialect of its stitch terms; left out, it is what the text gives away, else the owner's.
    """
    sheet = _checked(document)
    terms = terms or terms_guessed(document) or owner.terms
    pattern = Pattern.objects.create(owner=owner, title=document.title)
    edition = Edition.objects.create(pattern=pattern, label=document.edition, sheet=sheet, terms=terms)
    state_keep(edition=edition, by=owner)
    return edition


@transaction.atomic
def edition_save(
    *,
    edition: Edition,
    document: SheetDocument,
    revision: int,
    by: User,
    terms: str | None = None,
    way: str = TYPED,
) -> Edition:
    """Put a sheet in place of the edition's own, and say in which terms its text is written.

    ``revision`` is the one that was read: when someone has saved since, this is refused rather than
    overwritten. ``way`` is how the values came. Raises SheetFrozen, SheetChanged, SheetRefused.
    """
    return _save(
        edition=edition, document=document, revision=revision, by=by, terms=terms, way=way, before=revision
    )


@transaction.atomic
def edition_go_back(*, edition: Edition, to: int, revision: int, by: User) -> Edition:
    """Save the sheet once more as it was in its state ``to``; the states in between stay, to be gone back to.

    Raises NothingBefore, SheetFrozen, SheetChanged, SheetRefused.
    """
    require(by, Right.EDIT, edition.pattern)
    if edition.is_frozen:
        raise SheetFrozen(edition)
    state = SheetState.objects.filter(edition=edition, revision=to).first()
    if state is None:
        raise NothingBefore
    return _save(
        edition=edition,
        document=SheetDocument.model_validate(state.sheet),
        revision=revision,
        by=by,
        terms=state.terms,
        way=BACK,
        before=state.before,
    )


def edition_undo(*, edition: Edition, revision: int, by: User) -> Edition:
    """Take the last save back; pressed again, the one before it.

    Raises NothingBefore, SheetFrozen, SheetChanged, SheetRefused.
    """
    if edition.is_frozen:
        raise SheetFrozen(edition)
    to = step_back(edition)
    if to is None:
        raise NothingBefore
    return edition_go_back(edition=edition, to=to, revision=revision, by=by)


def _save(
    *,
    edition: Edition,
    document: SheetDocument,
    revision: int,
    by: User,
    terms: str | None,
    way: str,
    before: int | None,
) -> Edition:
    stored = (
        Edition.objects.select_for_update(of=("self", "pattern")).select_related("pattern").get(pk=edition.pk)
    )
    require(by, Right.EDIT, stored.pattern)
    if stored.is_frozen:
        raise SheetFrozen(stored)
    if stored.revision != revision:
        raise SheetChanged(stored)
    sheet = _checked(document)
    _check_label(stored.pattern, document.edition, besides=stored.pk)
    # A sheet from before states were kept, or from a round file, has none of its own yet.
    state_keep(edition=stored, at=stored.created)
    stored.sheet, stored.label, stored.revision = sheet, document.edition, revision + 1
    stored.terms = terms or stored.terms
    stored.save(update_fields=["sheet", "label", "revision", "terms"])
    if stored.pattern.title != document.title:
        stored.pattern.title = document.title
        stored.pattern.save(update_fields=["title"])
    state_keep(edition=stored, by=by, way=way, before=before)
    return stored


Corrects = Callable[[Edition, SheetDocument], SheetDocument]
_correcting: list[Corrects] = []


def corrects(function: Corrects) -> Corrects:
    """Register a function of a room above, which knows what has been put right in an edition since it was made."""
    _correcting.append(function)
    return function


def corrected(edition: Edition) -> SheetDocument:
    """An edition's sheet with everything that is known to be wrong in it put right."""
    document = edition.document
    for function in _correcting:
        document = function(edition, document)
    return document


@transaction.atomic
def edition_create_next(
    *, edition: Edition, label: str, document: SheetDocument | None = None, by: User
) -> Edition:
    """Make the edition that follows: under a new label the sheet as it is corrected by now, or the ``document``.

    Raises SheetRefused when the label is taken or the sheet cannot be computed.
    """
    pattern = Pattern.objects.select_for_update().get(pk=edition.pattern_id)
    require(by, Right.EDIT, pattern)
    content = plain(corrected(edition) if document is None else document)
    try:
        document = SheetDocument.model_validate({**content, "edition": label})
    except ValidationError as error:
        raise SheetRefused(problems_of(error)) from None
    _check_label(pattern, document.edition)
    following = Edition.objects.create(
        pattern=pattern, label=document.edition, sheet=_checked(document), terms=edition.terms
    )
    state_keep(edition=following, by=by)
    return following


@transaction.atomic
def edition_freeze(*, edition: Edition) -> None:
    """Keep the sheet as it is from now on. Freezing a frozen sheet changes nothing."""
    now = timezone.now()
    # Counted as a save, so that a page opened before the freeze cannot slip in after it.
    if Edition.objects.filter(pk=edition.pk, frozen_at=None).update(
        frozen_at=now, revision=F("revision") + 1
    ):
        edition.frozen_at = now
        edition.revision += 1


@transaction.atomic
def pattern_delete(*, pattern: Pattern, by: User) -> None:
    """Delete a pattern that no round was made on. Raises PatternInUse."""
    require(by, Right.OWN, pattern)
    try:
        pattern.delete()
    except ProtectedError:
        raise pattern_in_use(pattern) or PatternInUse() from None


def pattern_in_use(pattern: Pattern) -> PatternInUse | None:
    """What keeps a pattern from being deleted, to be shown or raised; None where nothing does."""
    if pattern.editions.filter(rounds__isnull=False).exists():
        return PatternInUse()
    if Pattern.objects.filter(pk=pattern.pk, errata__isnull=False).exists():
        return PatternInUse(has_rounds=False)
    return None


def _words(document: SheetDocument) -> str:
    """Everything on a sheet that is written for people."""
    words = [document.title]
    for entry in (
        *document.gauges,
        *document.measures,
        *document.numbers,
        *document.shapings,
        *document.dimensions,
        *document.parts,
    ):
        words += [
            getattr(entry, name) or "" for name in ("label", "place", "at", "how") if hasattr(entry, name)
        ]
    return "\n".join(words)


def terms_guessed(document: SheetDocument) -> str | None:
    """The dialect of stitch terms that the sheet's own words give away; None when they do not."""
    return terms_of(_words(document))


def terms_doubted(document: SheetDocument, terms: str) -> str:
    """What makes the dialect that a crochet sheet is said to be in doubtful, in a sentence; else nothing."""
    if document.craft != "crochet":
        return ""
    words = _words(document)
    found = terms_of(words)
    if found is not None and found != terms:
        return _(
            "The text is marked as {terms} terms and uses words of {found} terms; set “Its text is in” to what it is."
        ).format(terms=terms.upper(), found=found.upper())
    if ambiguous(words):
        return _(
            "The text names stitches that mean one thing in US terms and another in UK terms, and does not say which "
            "it means. It is taken as {terms} terms; see that “Its text is in” is right."
        ).format(terms=terms.upper())
    return ""


def next_label(label: str) -> str:
    """The label to offer for the edition after this one: its last number counted up by one."""
    found = re.search(r"(\d+)(\D*)$", label)
    if found is None:
        return f"{label} 2"
    digits = found.group(1)
    return f"{label[: found.start()]}{int(digits) + 1:0{len(digits)}d}{found.group(2)}"
