"""Is every size of a round on course? What its page reads."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from django.db.models import Count, Exists, OuterRef, Q, Subquery
from django.urls import reverse
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.kernel.words import commas
from testround.rounds.course import standstill
from testround.rounds.due import dues_of
from testround.rounds.models import (
    Candidate,
    DiaryEntry,
    Invitation,
    Nudge,
    Place,
    Reminder,
    Round,
    SuppliedYarn,
    Vacancy,
)
from testround.rounds.selectors.digests import ENTRIES_SHOWN
from testround.rounds.selectors.forecasts import Outlook, outlook_of
from testround.rounds.selectors.nudges import QUIET_DAYS
from testround.rounds.states import PLACE_ORDER, round_state_next


@dataclass(frozen=True, slots=True)
class Cell:
    """The places of one size in one state: the first few by name, and how many in all."""

    state: str
    places: tuple[Place, ...]
    count: int

    @property
    def state_said(self) -> str:
        return str(Place.State(self.state).label)

    @property
    def more(self) -> int:
        return self.count - len(self.places)


@dataclass(frozen=True, slots=True)
class SizeRow:
    """One size of the round, or the one row of a made-to-measure pattern (``size`` None)."""

    size: str | None
    least: int | None
    most: int | None
    held: int
    offered: int
    cells: tuple[Cell, ...]
    on_course: bool
    likely_late: bool
    """Whether nothing is amiss yet, and a piece will hardly be done in time."""
    sentence: str

    @property
    def wanted(self) -> int:
        """With how many testers the size is on course: one where the plan says nothing of it."""
        return self.least if self.least is not None else 1


@dataclass(frozen=True, slots=True)
class Late:
    place: Place
    what: str
    due: dt.date
    days: int

    @property
    def what_said(self) -> str:
        return str(Reminder.What(self.what).label)


@dataclass(frozen=True, slots=True)
class NextStep:
    """Something the designer can do now, with its reason."""

    sentence: str
    action: str
    url: str


@dataclass(frozen=True, slots=True)
class RoundPage:
    """Is every size on course?"""

    round: Round
    states: tuple[tuple[str, str], ...]
    rows: tuple[SizeRow, ...]
    graded: bool
    answer: str
    late: tuple[Late, ...]
    late_count: int
    next_steps: tuple[NextStep, ...]
    next_state: str | None
    entries: tuple[DiaryEntry, ...]
    yarns: tuple[SuppliedYarn, ...]
    place_count: int
    held_count: int
    measured_count: int
    given_back: int
    left: int
    outlook: Outlook

    @property
    def next_state_said(self) -> str:
        return str(Round.State(self.next_state).label) if self.next_state else ""


NAMES_IN_A_CELL = 8
LATE_SHOWN = 12
VACANCIES_SHOWN = 5
COLUMNS = tuple(PLACE_ORDER)
FINISHED = {Place.State.MEASURED, Place.State.DONE}


def round_page(round: Round, *, today: dt.date, may_invite: bool = True, may_nudge: bool = True) -> RoundPage:
    """The round page in a fixed number of queries: places, links, diary, yarns, and what the forecast reads."""
    now = timezone.now()
    open_links = Invitation.objects.filter(
        place=OuterRef("pk"), used_at__isnull=True, withdrawn_at__isnull=True, expires__gt=now
    )
    nudges = Nudge.objects.filter(place=OuterRef("pk")).order_by("-day")
    places = list(
        round.places.annotate(has_link=Exists(open_links), nudged=Subquery(nudges.values("day")[:1])).only(
            "pk",
            "name",
            "size",
            "state",
            "key",
            "round_id",
            "tester_id",
            "swatch_until",
            "measures_until",
            "left_at",
        )
    )
    left = sum(place.left_at is not None for place in places)
    kept = [place for place in places if place.state != Place.State.GIVEN_BACK and place.left_at is None]
    late = sorted(_late(kept, round, today), key=lambda late: (-late.days, late.place.name))
    late_by_size: dict[str | None, list[str]] = {}
    for one in late:
        late_by_size.setdefault(one.place.size, []).append(one.place.name)
    sheet = round.edition.sheet
    plan = round.places_plan or {}
    sizes: list[str | None] = list(sheet.get("sizes") or [])
    graded = bool(sizes)
    # A made-to-measure pattern has one row; so have testers of a graded one who have no size yet.
    if not graded or any(place.size is None for place in kept):
        sizes.append(None)
    outlook = outlook_of(
        round, [p for p in kept if p.state not in FINISHED and p.state != Place.State.OFFERED], today=today
    )
    rows = tuple(_size_row(size, kept, plan, late_by_size, outlook.late) for size in sizes)
    steps = _next_steps(round, kept, rows, may_invite, _in_reserve(round))
    urgent = _late_steps(round, late, today, may_nudge)
    return RoundPage(
        round=round,
        states=tuple((state, str(Place.State(state).label)) for state in COLUMNS),
        rows=rows,
        graded=graded,
        answer=_answer(rows, kept, graded),
        late=tuple(late[:LATE_SHOWN]),
        late_count=len(late),
        next_steps=(*urgent, *steps),
        next_state=round_state_next(round.state),
        entries=tuple(round.diary.select_related("by", "place")[:ENTRIES_SHOWN]),
        yarns=tuple(round.yarns.all()),
        place_count=len(kept),
        held_count=sum(place.state != Place.State.OFFERED for place in kept),
        measured_count=sum(place.state in FINISHED for place in kept),
        given_back=len(places) - len(kept) - left,
        left=left,
        outlook=outlook,
    )


def _late(places: list[Place], round: Round, today: dt.date) -> Iterator[Late]:
    for place in places:
        place.round = round
        due = next((due for due in reversed(dues_of(place)) if due.date < today), None)
        if due is not None:
            yield Late(place, due.what, due.date, (today - due.date).days)


def _size_row(
    size: str | None,
    places: list[Place],
    plan: dict[str, dict[str, int]],
    late_by_size: Mapping[str | None, Sequence[str]],
    foretold: Mapping[str | None, Sequence[str]],
) -> SizeRow:
    of_size = [place for place in places if place.size == size]
    cells = []
    for state in COLUMNS:
        here = [place for place in of_size if place.state == state]
        cells.append(Cell(state=state, places=tuple(here[:NAMES_IN_A_CELL]), count=len(here)))
    offered = sum(place.state == Place.State.OFFERED for place in of_size)
    held = len(of_size) - offered
    least = (plan.get("least") or {}).get(size) if size else None
    most = (plan.get("most") or {}).get(size) if size else None
    wanted = least if least is not None else 1
    missing = max(wanted - held, 0)
    late, likely = late_by_size.get(size, ()), foretold.get(size, ())
    if missing:
        free = min(offered, missing)
        sentence = (
            _("{held} of {wanted} held; {free} offered, not yet taken")
            if free
            else _("{held} of {wanted} held; add a place and invite")
        ).format(held=held, wanted=wanted, free=free)
    elif late:
        sentence = (
            _("{name} is late").format(name=late[0])
            if len(late) == 1
            else ngettext("{n} is late", "{n} are late", len(late)).format(n=len(late))
        )
    elif likely:
        sentence = (
            _("{name} likely late").format(name=likely[0])
            if len(likely) == 1
            else ngettext("{n} likely late", "{n} likely late", len(likely)).format(n=len(likely))
        )
    elif not of_size:
        sentence = _("not to be tested") if most == 0 else _("needs nobody")
    elif all(place.state in FINISHED for place in of_size):
        sentence = _("all measured")
    else:
        sentence = _("on course")
    return SizeRow(
        size=size,
        least=least,
        most=most,
        held=held,
        offered=offered,
        cells=tuple(cells),
        on_course=not missing and not late and not likely,
        likely_late=not missing and not late and bool(likely),
        sentence=sentence,
    )


def _answer(rows: tuple[SizeRow, ...], places: list[Place], graded: bool) -> str:
    if not places:
        return _("Not yet: no place has been made.")
    off = [row for row in rows if not row.on_course]
    if not off:
        return (
            _("Yes: every size has its testers and nobody is late.") if graded else _("Yes: nobody is late.")
        )
    if not graded:
        return _("Not quite: {sentence}.").format(sentence=rows[0].sentence)
    now = [row for row in off if not row.likely_late]
    if len(now) == len(rows):
        return _("Not yet: every size still wants something.")
    sizes, likely = _sizes(now), _sizes(row for row in off if row.likely_late)
    if not likely:
        said = _("Not quite: look at {sizes}.")
    elif now:
        said = _("Not quite: look at {sizes}; likely late in {likely}.")
    else:
        said = _("Not quite: likely late in {likely}.")
    return said.format(sizes=sizes, likely=likely)


def _sizes(rows: Iterable[SizeRow]) -> str:
    return commas(row.size or _("those without a size") for row in rows)


@dataclass(frozen=True, slots=True)
class _Reserve:
    counting: int
    """Offers that count and have no place."""
    staying: int
    """Those, and whoever waits or has a place."""
    free: tuple[Vacancy, ...]
    """Places that fell free and that somebody in reserve is next for."""


def _in_reserve(round: Round) -> _Reserve:
    counts = round.candidates.aggregate(
        counting=Count("pk", filter=Q(state=Candidate.State.CONFIRMED)),
        staying=Count("pk", filter=Q(state__in=Candidate.HOLDING)),
    )
    free = Vacancy.objects.filter(
        place__round=round, state=Vacancy.State.OPEN, candidate__state=Candidate.State.CONFIRMED
    )
    return _Reserve(**counts, free=tuple(free.select_related("place", "candidate")[:VACANCIES_SHOWN]))


def _next_steps(
    round: Round,
    places: list[Place],
    rows: tuple[SizeRow, ...],
    may_invite: bool,
    reserve: _Reserve,
) -> Iterator[NextStep]:
    closed = round.state == Round.State.CLOSED
    if closed:
        return
    offers = reserve.counting
    if not reserve.staying and all(place.state == Place.State.OFFERED for place in places):
        said = standstill(round, timezone.now())
        if said:
            yield NextStep(
                sentence=capfirst(said),
                action=_("Change the dates"),
                url=reverse("rounds:edit", args=[round.code]),
            )
    proposal = reverse("rounds:proposal", args=[round.code])
    for vacancy in reserve.free:
        yield NextStep(
            sentence=(
                _("{name}'s place in {size} fell free; {next} is next in reserve.")
                if vacancy.place.size
                else _("{name}'s place fell free; {next} is next in reserve.")
            ).format(name=vacancy.place.name, size=vacancy.place.size, next=vacancy.candidate),
            action=_("See who is next"),
            url=f"{proposal}#free",
        )
    if offers and not places:
        yield NextStep(
            sentence=ngettext("{n} person offers to test.", "{n} people offer to test.", offers).format(
                n=offers
            ),
            action=_("Who should make what?"),
            url=proposal,
        )
        return
    if not places and may_invite and round.state in (Round.State.PLANNED, Round.State.GATHERING):
        yield _to_the_call(round)
    short = [str(row.size) for row in rows if row.size and row.held + row.offered < row.wanted]
    if not places or short:
        yield NextStep(
            sentence=_("No place yet for {sizes}.").format(sizes=commas(short))
            if short
            else _("Nobody can join before there are places."),
            action=_("Add places"),
            url=reverse("rounds:place_new", args=[round.code]),
        )
    unlinked = [place for place in places if place.state == Place.State.OFFERED and not place.has_link]
    if unlinked and may_invite:
        first = unlinked[0]
        more = len(unlinked) - 1
        said = (
            ngettext(
                "{name} and {n} more cannot join yet: there is no open link.",
                "{name} and {n} more cannot join yet: there is no open link.",
                more,
            )
            if more
            else _("{name} cannot join yet: there is no open link.")
        )
        yield NextStep(
            sentence=said.format(name=first.name, n=more),
            action=_("Invite {name}").format(name=first.name),
            url=reverse("rounds:invite", args=[round.code, first.pk]),
        )


def _late_steps(round: Round, late: list[Late], today: dt.date, may_nudge: bool) -> Iterator[NextStep]:
    """A word to whoever is late for the longest and has had none of late; then the dates."""
    if round.state == Round.State.CLOSED or not late:
        return
    named = next((one for one in late if may_nudge and _wants_a_word(one.place, today)), None)
    if named is not None:
        if named.what == Reminder.What.SWATCH:
            said = ngettext("{name}'s swatch is {n} day late", "{name}'s swatch is {n} days late", named.days)
        else:
            said = ngettext(
                "{name}'s finished measurements are {n} day late",
                "{name}'s finished measurements are {n} days late",
                named.days,
            )
        yield NextStep(
            # Translators: a sentence without its full stop, as in "Ann's swatch is 3 days late".
            sentence=_("{sentence}.").format(sentence=said.format(name=named.place.name, n=named.days)),
            action=_("Nudge {name}").format(name=named.place.name),
            url=reverse("rounds:nudge", args=[round.code, named.place.pk]),
        )
    n = len(late)
    yield NextStep(
        sentence=ngettext(
            "{n} person is late. A later date for everybody?",
            "{n} people are late. A later date for everybody?",
            n,
        ).format(n=n),
        action=_("Change the dates"),
        url=reverse("rounds:edit", args=[round.code]),
    )


def _wants_a_word(place: Place, today: dt.date) -> bool:
    """Whether somebody with an account has had no word within the last days."""
    nudged: dt.date | None = place.nudged
    return place.tester_id is not None and (nudged is None or (today - nudged).days >= QUIET_DAYS)


def _to_the_call(round: Round) -> NextStep:
    """From nobody to somebody, where no offer counts yet."""
    call = reverse("rounds:call_plan", args=[round.code])
    if round.call_code is None:
        return NextStep(
            sentence=_("Nobody is in it yet: write a call that anybody can answer, or add those you know."),
            action=_("Find testers"),
            url=call,
        )
    return NextStep(sentence=_("No offer counts so far."), action=_("See the call"), url=call)
