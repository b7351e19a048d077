"""What changes a place, except for inviting someone to it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from testround.kernel.problems import Problem
from testround.kernel.round import LONGEST_CM, Yarn
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.units import decimal
from testround.kernel.words import commas
from testround.outbox.mail import mail_send
from testround.patterns.access import Right, require
from testround.people.language import speaking_to
from testround.people.models import User
from testround.rounds import letters
from testround.rounds.models import Candidate, Place, Round, SuppliedYarn
from testround.rounds.refusals import Refused
from testround.rounds.services.diary import changed, diary_write
from testround.rounds.services.invitations import withdraw_links
from testround.rounds.services.rounds import locked_round
from testround.rounds.services.vacancies import place_fell_free, places_fill
from testround.rounds.states import place_is_behind, place_states_after

MOST_PLACES_AT_ONCE = 100


@transaction.atomic
def place_add(
    *,
    round: Round,
    name: str,
    size: str | None,
    measures: Mapping[str, float] | None = None,
    yarn: Yarn | SuppliedYarn | None = None,
    candidate: Candidate | None = None,
    offered_until: dt.datetime | None = None,
    by: User | None,
) -> Place:
    """Offer one seat in a round. Its yarn is one the designer supplies, or the tester's own.

    Offered to a ``candidate`` it is theirs, and they are no longer among the candidates.
    """
    locked = locked_round(round.pk)
    require(by, Right.EDIT, locked.edition.pattern)
    if locked.state == Round.State.CLOSED:
        raise Refused.because(_("The round is closed: move it back to measuring before adding a place."))
    if not name.strip():
        raise Refused.because(_("Say how this tester is to be called, a first name or “Tester 5”."), "name")
    document = locked.edition.document
    size = _checked_size(locked, document, size)
    _check_measures(measures or {}, document)
    _check_makers(locked, yarn)
    place = Place(
        round=locked,
        key=_next_key(locked),
        name=name.strip(),
        size=size,
        measures=dict(measures or {}),
        candidate=candidate,
        offered_until=offered_until,
    )
    if candidate is not None:
        _take_out(locked, candidate)
    _set_yarn(place, yarn)
    place.save()
    diary_write(round=locked, by=by, place=place, text=_seat(place))
    return place


@transaction.atomic
def places_add(
    *,
    round: Round,
    names: Sequence[str],
    size: str | None,
    measures: Mapping[str, float] | None = None,
    yarn: Yarn | SuppliedYarn | None = None,
    by: User | None,
) -> list[Place]:
    """Offer several seats of one size and yarn: all of them, or none and a sentence why."""
    added = [
        place_add(round=round, name=name, size=size, measures=measures, yarn=yarn, by=by) for name in names
    ]
    places_fill(round, added)
    return added


def _seat(place: Place) -> str:
    """The entry of a place that is offered."""
    if place.size and place.yarn_label:
        said = _("Place offered: {name}, size {size}, {yarn}.")
    elif place.size:
        said = _("Place offered: {name}, size {size}, yarn of their own.")
    elif place.yarn_label:
        said = _("Place offered: {name}, made to measure, {yarn}.")
    else:
        said = _("Place offered: {name}, made to measure, yarn of their own.")
    return said.format(name=place.name, size=place.size, yarn=place.yarn_label)


def _take_out(round: Round, candidate: Candidate) -> None:
    """Make a candidate one who is placed, unless they have withdrawn or somebody was quicker."""
    taken = round.candidates.filter(pk=candidate.pk, state=Candidate.State.CONFIRMED).update(
        state=Candidate.State.PLACED, changed=timezone.now()
    )
    if not taken:
        raise Refused.because(
            _("{name} does not offer any more, or has a place by now.").format(name=candidate.name)
        )


def _next_key(round: Round) -> str:
    # Candidates' keys are not used either: a round file has one name for each person.
    places = list(round.places.values_list("key", flat=True))
    taken = {*places, *round.candidates.values_list("key", flat=True)}
    number = len(places) + 1
    while f"t{number:02d}" in taken:
        number += 1
    return f"t{number:02d}"


def _checked_size(
    round: Round, document: SheetDocument, size: str | None, besides: Place | None = None
) -> str | None:
    if not document.is_graded:
        if size:
            raise Refused.because(_("This pattern is made to measure: leave the size empty."), "size")
        return None
    if size not in document.sizes:
        raise Refused.because(
            _("The pattern has no size {size}: choose one of {sizes}.").format(
                size=size or _("(none chosen)"), sizes=commas(document.sizes)
            ),
            "size",
        )
    most = ((round.places_plan or {}).get("most") or {}).get(size)
    if most is not None:
        held = round.places.filter(size=size, left_at=None).exclude(state=Place.State.GIVEN_BACK)
        if besides is not None:
            held = held.exclude(pk=besides.pk)
        if held.count() >= most:
            raise Refused.because(
                ngettext(
                    "Size {size} takes at most {n} tester in this round and has them: choose another size, "
                    "or raise the most in the round's plan.",
                    "Size {size} takes at most {n} testers in this round and has them: choose another size, "
                    "or raise the most in the round's plan.",
                    most,
                ).format(size=size, n=most),
                "size",
            )
    return size


def _check_measures(measures: Mapping[str, float], document: SheetDocument) -> None:
    labels = {measure.key: measure.label for measure in document.measures}
    problems = []
    for key, value in measures.items():
        if key not in labels:
            problems.append(
                Problem(
                    "measures", _("The pattern asks for no measure “{key}”: leave it out.").format(key=key)
                )
            )
        elif not 0 < value <= LONGEST_CM:
            problems.append(
                Problem(
                    f"measure_{key}",
                    _("{label}: {length} cannot be meant; give a length above 0 and up to {longest}.").format(
                        label=labels[key], length=f"{decimal(value)} cm", longest=f"{decimal(LONGEST_CM)} cm"
                    ),
                )
            )
    if problems:
        raise Refused(problems)


def _check_makers(round: Round, yarn: Yarn | SuppliedYarn | None, besides: Place | None = None) -> None:
    if not isinstance(yarn, SuppliedYarn):
        return
    if yarn.round_id != round.pk:
        raise Refused.because(_("That yarn belongs to another round: choose one of this round's."), "yarn")
    if yarn.makers is None:
        return
    # A place keeps the yarn's label, as the round file does, so the label is what is counted.
    users = round.places.filter(yarn_label=yarn.label).exclude(state=Place.State.GIVEN_BACK)
    if besides is not None:
        users = users.exclude(pk=besides.pk)
    if users.count() >= yarn.makers:
        raise Refused.because(
            ngettext(
                "{label} is enough for {n} tester, who is found: choose another yarn.",
                "{label} is enough for {n} testers and they are found: choose another yarn.",
                yarn.makers,
            ).format(label=yarn.label, n=yarn.makers),
            "yarn",
        )


def _set_yarn(place: Place, yarn: Yarn | SuppliedYarn | None) -> None:
    place.yarn_label = yarn.label if yarn else None
    place.yarn_weight = yarn.weight if yarn else None
    place.yarn_fibre = yarn.fibre if yarn else None
    place.metres_per_ball = yarn.metres_per_ball if yarn else None
    place.grams_per_ball = yarn.grams_per_ball if yarn else None


@transaction.atomic
def place_edit(
    *,
    place: Place,
    name: str,
    size: str | None,
    measures: Mapping[str, float] | None,
    yarn: Yarn | SuppliedYarn | None,
    by: User | None,
) -> Place:
    """Change a place. Its size is fixed once its tester has begun: counts belong to a size."""
    round = locked_round(place.round_id)
    require(by, Right.EDIT, round.edition.pattern)
    locked = Place.objects.select_for_update(of=("self",)).get(pk=place.pk)
    if locked.state == Place.State.GIVEN_BACK:
        raise Refused.because(_("This place was given back: add a new one in its stead."))
    if not name.strip():
        raise Refused.because(_("Say how this tester is to be called, a first name or “Tester 5”."), "name")
    document = round.edition.document
    if (size or None) != locked.size:
        if not place_is_behind(locked.state, Place.State.MAKING):
            raise Refused.because(
                _("{name} has begun size {size}: give this place back and add one in the other size.").format(
                    name=locked.name, size=locked.size
                ),
                "size",
            )
        size = _checked_size(round, document, size, besides=locked)
    measures = locked.measures if measures is None else dict(measures)
    _check_measures(measures, document)
    if isinstance(yarn, SuppliedYarn) and yarn.label != locked.yarn_label:
        _check_makers(round, yarn, besides=locked)

    before = (locked.name, locked.size, locked.yarn_label)
    measures_changed = measures != locked.measures
    locked.name, locked.size, locked.measures = name.strip(), size or None, measures
    _set_yarn(locked, yarn)
    after = (locked.name, locked.size, locked.yarn_label)
    words = (
        pgettext("what changed of a place", "name"),
        pgettext("what changed of a place", "size"),
        pgettext("what changed of a place", "yarn"),
    )
    changes = [
        changed(what, was, now) for what, was, now in zip(words, before, after, strict=True) if was != now
    ]
    # That measures changed is in the diary; what they are is not.
    changes += [_("body measurements")] if measures_changed else []
    locked.save()
    if changes:
        diary_write(
            round=round,
            place=locked,
            by=by,
            text=_("{name}: changed {changes}.").format(name=before[0], changes="; ".join(changes)),
            names=[before[0]],
        )
    return locked


@transaction.atomic
def place_move(*, place: Place, state: str, by: User | None, cause: str = "") -> Place:
    """Move a place to another state. To the one it is in already is no move and leaves no entry."""
    locked = Place.objects.select_for_update(of=("self",)).select_related("round").get(pk=place.pk)
    if state not in Place.State.values:
        raise Refused.because(
            _("“{state}” is no state of a place: choose one of {states}.").format(
                state=state, states=commas(str(label) for label in Place.State.labels)
            ),
            "state",
        )
    if locked.state == state:
        return locked
    allowed = place_states_after(locked.state)
    if state not in allowed:
        no_way = (
            _("A place that is {before} cannot become {after}: it can go to {states}.")
            if allowed
            else _("A place that is {before} cannot become {after}: add a new place instead.")
        )
        raise Refused.because(
            no_way.format(
                before=locked.get_state_display(),
                after=Place.State(state).label,
                states=commas(str(Place.State(other).label) for other in allowed),
            ),
            "state",
        )
    if state == Place.State.TAKEN and locked.tester_id is None:
        raise Refused.because(
            _("Nobody holds this place yet: invite a tester, who takes it by saying yes."), "state"
        )
    was, locked.state = Place.State(locked.state), state
    locked.save(update_fields=["state", "changed"])
    if state == Place.State.GIVEN_BACK:
        withdraw_links(locked)
        place_fell_free(locked)
    diary_write(
        round=locked.round,
        place=locked,
        by=by,
        text=_("{name} moved from {before} to {after}.").format(
            name=locked.name, before=was.label, after=locked.get_state_display()
        ),
        reason=cause,
    )
    place.state = locked.state
    return locked


def place_reach(*, place: Place, state: str, by: User | None, cause: str = "") -> Place:
    """Move a place on to a state unless it is there or further already, as after a second swatch."""
    with transaction.atomic():
        locked = Place.objects.select_for_update(of=("self",)).get(pk=place.pk)
        if not place_is_behind(locked.state, state):
            return locked
        return place_move(place=place, state=state, by=by, cause=cause)


def place_give_back(*, place: Place, by: User | None, cause: str = "") -> Place:
    """Give a place back. What its holder sent stays; its links end; a new place takes its size.

    A designer who did not do it herself is told by mail: a size may be without a tester now. So is the tester of a
    place that others took back, with their reason.
    """
    with transaction.atomic():
        locked = (
            Place.objects.select_for_update(of=("self",))
            .select_related("round__edition__pattern__owner", "tester")
            .get(pk=place.pk)
        )
        if by is not None and by.pk != locked.tester_id:
            require(by, Right.EDIT, locked.round.edition.pattern)
        was = locked.state
        given = place_move(place=place, state=Place.State.GIVEN_BACK, by=by, cause=cause)
        owner = given.round.edition.pattern.owner
        if was != Place.State.GIVEN_BACK and by is not None and by.pk != owner.pk:
            with speaking_to(owner):
                letter = letters.given_back(place=given, cause=cause)
            mail_send(to=owner.email, letter=letter, name=str(owner), about=given.round.code)
        tester = locked.tester
        if was != Place.State.GIVEN_BACK and by is not None and tester is not None and by.pk != tester.pk:
            with speaking_to(tester):
                letter = letters.taken_back(place=given, cause=cause)
            mail_send(to=tester.email, letter=letter, name=given.name, about=given.round.code)
    return given


@transaction.atomic
def place_count(*, place: Place, counts: bool, by: User) -> Place:
    """Count what came from a place that was given back in the results, or leave it out. Twice is once.

    Raises
    ------
    Refused
        Somebody works on the place: what comes from it is part of the round.
    """
    locked = (
        Place.objects.select_for_update(of=("self",))
        .select_related("round__edition__pattern")
        .get(pk=place.pk)
    )
    require(by, Right.EDIT, locked.round.edition.pattern)
    if locked.state != Place.State.GIVEN_BACK:
        raise Refused.because(
            _("%(name)s's place is %(state)s: only what came from a place given back can be left out.")
            % {"name": locked.name, "state": locked.get_state_display()}
        )
    if counts is (locked.left_out_at is None):
        return locked
    locked.left_out_at = None if counts else timezone.now()
    locked.save(update_fields=["left_out_at"])
    text = (
        _("What came from {name}'s place counts in the results again.")
        if counts
        else _("What came from {name}'s place is left out of the results.")
    )
    diary_write(round=locked.round, place=locked, by=by, text=text.format(name=locked.name))
    return locked
