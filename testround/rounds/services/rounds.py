"""What changes a round itself: its plan, its state, the yarns supplied for it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _
from pydantic import ValidationError

from testround.kernel.problems import Problem
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.round import Places
from testround.kernel.round import SuppliedYarn as YarnDocument
from testround.kernel.roundfile import problems_of
from testround.kernel.sheet import check_pattern
from testround.kernel.words import commas, spoken
from testround.outbox.services import regularly
from testround.patterns.access import Right, may, require
from testround.patterns.models import Edition
from testround.patterns.services import edition_freeze
from testround.people.language import speaking_to
from testround.people.models import User
from testround.rounds import letters
from testround.rounds.clock import purge_date
from testround.rounds.course import somebody_in, steps_begun
from testround.rounds.models import Round, SuppliedYarn
from testround.rounds.refusals import Refused
from testround.rounds.services.diary import changed, diary_write
from testround.rounds.services.thanks import candidates_thank
from testround.rounds.states import ROUND_ORDER, round_states_after


def locked_round(pk: int) -> Round:
    """The round with its row locked, and the edition and designer that its rules ask about."""
    rounds = Round.objects.select_for_update(of=("self",)).select_related("edition__pattern__owner")
    return rounds.get(pk=pk)


@transaction.atomic
def round_open(
    *,
    edition: Edition,
    by: User,
    title: str,
    opens: dt.date | None = None,
    swatches_due: dt.date | None = None,
    closes: dt.date | None = None,
    purge_on: dt.date | None = None,
    terms: str = "",
    places_plan: Places | Mapping[str, object] | None = None,
    yarns: Sequence[YarnDocument] = (),
    allow_several: bool = False,
    shows_standing: bool = False,
) -> Round:
    """Open a round on an edition, and freeze the edition's sheet.

    What is private of it goes on ``purge_on``: half a year after the closing date where none is given.

    Raises
    ------
    Refused
        The edition is another designer's, its sheet has a problem, the dates are out of order, or the plan
        names a size that the pattern does not have.
    """
    given = edition
    edition = (
        Edition.objects.select_for_update(of=("self",)).select_related("pattern__owner").get(pk=edition.pk)
    )
    if not may(by, Right.EDIT, edition.pattern):
        raise Refused.because(
            _("Only the pattern's owner and its editors can open a round on it."), "edition"
        )
    problems = edition_problems(edition)
    if problems:
        raise Refused(
            Problem(
                "edition", _("{problem} Mend it on the sheet first.").format(problem=spoken(str(problem)))
            )
            for problem in problems
        )
    document = edition.document
    plan = checked_plan(places_plan, document)
    _check_dates(opens, swatches_due, closes)
    _check_yarn_keys(yarns)
    today = timezone.localdate()
    purge_on = purge_on or purge_date(closes, today=today)
    if purge_on <= today:
        raise Refused.because(_("This day has passed: pick a later one."), "purge_on")
    _check_purge(purge_on, closes)

    edition_freeze(edition=edition)
    given.frozen_at, given.revision = edition.frozen_at, edition.revision
    round = Round.objects.create(
        edition=edition,
        title=title.strip(),
        opens=opens,
        swatches_due=swatches_due,
        closes=closes,
        purge_on=purge_on,
        terms=terms.strip(),
        places_plan=plan,
        allow_several=allow_several,
        shows_standing=shows_standing,
    )
    SuppliedYarn.objects.bulk_create(SuppliedYarn(round=round, **yarn.model_dump()) for yarn in yarns)
    diary_write(
        round=round,
        by=by,
        text=_("Round opened on edition {label}; its sheet is now frozen.").format(label=edition.label),
    )
    return round


def edition_problems(edition: Edition) -> list[Problem]:
    """Why no round can open on an edition: everything that is wrong with its sheet."""
    try:
        document = edition.document
    except ValidationError as error:
        return problems_of(error)
    return check_pattern(document)


def _check_dates(opens: dt.date | None, swatches_due: dt.date | None, closes: dt.date | None) -> None:
    problems = []
    if opens and swatches_due and swatches_due < opens:
        problems.append(
            Problem("swatches_due", _("Swatches cannot be due before the round opens: pick a later date."))
        )
    first = max((date for date in (opens, swatches_due) if date), default=None)
    if closes and first and closes < first:
        problems.append(
            Problem(
                "closes",
                _("The round cannot close before it opens and its swatches are due: pick a later date."),
            )
        )
    if problems:
        raise Refused(problems)


def _check_purge(purge_on: dt.date | None, closes: dt.date | None) -> None:
    if purge_on and closes and purge_on < closes:
        raise Refused.because(
            _(
                "What is private cannot be deleted before the round closes: pick a later day, or close "
                "earlier."
            ),
            "purge_on",
        )


def _check_yarn_keys(yarns: Sequence[YarnDocument]) -> None:
    keys = [yarn.key for yarn in yarns]
    twice = sorted({key for key in keys if keys.count(key) > 1})
    if twice:
        raise Refused.because(
            _("Two yarns have the key {twice}: give each its own.").format(twice=twice[0]), "yarns"
        )


def checked_plan(
    places_plan: Places | Mapping[str, object] | None, document: SheetDocument
) -> dict[str, dict[str, int]] | None:
    """A plan as it is stored, or what is wrong with it as a refusal."""
    if places_plan is None:
        return None
    plan = places_plan if isinstance(places_plan, Places) else Places.model_validate(dict(places_plan))
    least, most = plan.least or {}, plan.most or {}
    problems = [
        Problem(
            field,
            (
                _("The pattern has no size {size}: it has {sizes}.")
                if document.sizes
                else _("The pattern has no size {size}: it has no sizes.")
            ).format(size=size, sizes=commas(document.sizes)),
        )
        for field, sizes in (("least", least), ("most", most))
        for size in sizes
        if size not in document.sizes
    ]
    problems += [
        Problem(
            "most",
            _("Size {size} takes at most {most} but needs at least {least}: raise one.").format(
                size=size, most=most[size], least=least[size]
            ),
        )
        for size in least
        if size in most and most[size] < least[size]
    ]
    if problems:
        raise Refused(problems)
    return plan.model_dump(exclude_none=True) or None


@transaction.atomic
def round_edit(
    *,
    round: Round,
    by: User,
    title: str,
    opens: dt.date | None,
    swatches_due: dt.date | None,
    closes: dt.date | None,
    purge_on: dt.date | None = None,
    terms: str,
    places_plan: Places | Mapping[str, object] | None,
    allow_several: bool = False,
    shows_standing: bool | None = None,
) -> Round:
    """Change a round's plan, and say in the diary what changed.

    The day on which what is private goes can come earlier; once somebody has said yes to it, or offered, it
    cannot come later.
    """
    locked = locked_round(round.pk)
    require(by, Right.EDIT, locked.edition.pattern)
    plan = checked_plan(places_plan, locked.edition.document)
    _check_dates(opens, swatches_due, closes)
    purge_on = purge_on or locked.purge_on
    _check_purge(purge_on, closes)
    if locked.purged_at is not None:
        purge_on = locked.purge_on
    elif locked.purge_on and purge_on and purge_on > locked.purge_on and _promised(locked):
        raise Refused.because(
            _(
                "Testers were promised that what is private goes on {day}: it can go earlier, not later."
            ).format(day=letters.day(locked.purge_on)),
            "purge_on",
        )
    changes = []
    for label, field, value in (
        (_("title"), "title", title.strip()),
        (_("opening date"), "opens", opens),
        (_("date swatches are due"), "swatches_due", swatches_due),
        (_("closing date"), "closes", closes),
        (_("day on which what is private is deleted"), "purge_on", purge_on),
    ):
        old = getattr(locked, field)
        if old != value:
            changes.append(changed(label, old, value))
            setattr(locked, field, value)
    if locked.terms != terms.strip():
        changes.append(_("terms reworded"))
        locked.terms = terms.strip()
    if (locked.places_plan or None) != plan:
        changes.append(_("how many testers each size needs"))
        locked.places_plan = plan
    if locked.allow_several != allow_several:
        changes.append(
            _("one person may hold several places") if allow_several else _("one place for each person")
        )
        locked.allow_several = allow_several
    if shows_standing is not None and locked.shows_standing != shows_standing:
        changes.append(
            _("testers may see how the round stands")
            if shows_standing
            else _("testers may not see how the round stands")
        )
        locked.shows_standing = shows_standing
    if changes:
        locked.save()
        diary_write(
            round=locked, by=by, text=_("Plan changed: {changes}.").format(changes="; ".join(changes))
        )
    return locked


def _promised(round: Round) -> bool:
    """Whether somebody gave something private on the strength of the round's date."""
    return (
        round.places.filter(agreed_at__isnull=False).exists() or round.candidates.exclude(email="").exists()
    )


@transaction.atomic
def round_move(
    *, round: Round, state: str, by: User | None, cause: str = "", names: Sequence[str] = ()
) -> Round:
    """Move a round to another state. To the one it is in already is no move and leaves no entry.

    Past the gathering, those who offered and have no place are told so.
    """
    locked = locked_round(round.pk)
    require(by, Right.EDIT, locked.edition.pattern)
    if state not in Round.State.values:
        raise Refused.because(
            _("“{state}” is no state of a round: choose one of {states}.").format(
                state=state, states=commas(str(label) for label in Round.State.labels)
            ),
            "state",
        )
    if locked.state == state:
        return locked
    allowed = round_states_after(locked.state)
    if state not in allowed:
        raise Refused.because(
            _("A round that is {before} cannot become {after}: it can go to {states}.").format(
                before=locked.get_state_display(),
                after=Round.State(state).label,
                states=commas(str(Round.State(other).label) for other in allowed),
            ),
            "state",
        )
    was, locked.state, locked.moved_at = locked.state, state, timezone.now()
    locked.save(update_fields=["state", "moved_at"])
    diary_write(
        round=locked,
        by=by,
        text=_("Round moved from {before} to {after}.").format(
            before=Round.State(was).label, after=locked.get_state_display()
        ),
        reason=cause,
        names=names,
    )
    if ROUND_ORDER.index(state) > ROUND_ORDER.index(was):
        candidates_thank(locked)
    round.state, round.moved_at = locked.state, locked.moved_at
    return locked


@regularly
def rounds_follow_dates(*, now: dt.datetime | None = None) -> int:
    """Move on every round whose date has passed since it was last moved. Returns how many moved.

    The call's first day starts the gathering, the opening date the swatches, the day after they are due starts
    the making, and the day after the closing date closes the round. A round that its designer moved back after
    a date had passed stays where she put it; one that nobody is in gathers and goes no further, and its designer
    is asked. Running it twice moves nothing twice.
    """
    now = now or timezone.now()
    # A day wider than any zone needs: whose midnight has struck is settled per round below.
    tomorrow = now.date() + dt.timedelta(days=1)
    rounds = (
        Round.objects.exclude(state=Round.State.CLOSED)
        .filter(
            Q(call_opens__lte=tomorrow)
            | Q(opens__lte=tomorrow)
            | Q(swatches_due__lte=tomorrow)
            | Q(closes__lte=tomorrow)
        )
        .select_related("edition__pattern__owner")
    )
    return sum(_follow_dates(round, now) for round in rounds.iterator(chunk_size=200))


def _follow_dates(round: Round, now: dt.datetime) -> bool:
    begun = steps_begun(round, now)
    if any(step.needs_somebody for step in begun):
        peopled = Round.objects.filter(somebody_in(), pk=round.pk).exists()
        begun = [step for step in begun if peopled or not step.needs_somebody]
    if not begun:
        return False
    step = begun[-1]
    with speaking_to(round.edition.pattern.owner):
        round_move(round=round, state=step.state, by=None, cause=step.why)
    return True


@transaction.atomic
def yarn_supply(*, round: Round, yarn: YarnDocument, by: User) -> SuppliedYarn:
    """Add a yarn that the designer supplies, or change the one of that key."""
    locked = locked_round(round.pk)
    require(by, Right.EDIT, locked.edition.pattern)
    values = yarn.model_dump(exclude={"key"})
    row, created = SuppliedYarn.objects.update_or_create(round=round, key=yarn.key, defaults=values)
    text = _("Supplied yarn added: {yarn}.") if created else _("Supplied yarn changed: {yarn}.")
    diary_write(round=round, by=by, text=text.format(yarn=row.label))
    return row


@transaction.atomic
def yarn_withdraw(*, yarn: SuppliedYarn, by: User) -> None:
    """Take a supplied yarn off the list. Places that have it keep it."""
    require(by, Right.EDIT, yarn.round.edition.pattern)
    diary_write(
        round=yarn.round, by=by, text=_("Supplied yarn no longer offered: {yarn}.").format(yarn=yarn.label)
    )
    yarn.delete()
