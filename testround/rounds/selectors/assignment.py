"""What the pages of candidates and of who makes what read."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db.models import Count, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from testround.kernel import round as kernel
from testround.kernel.assignment import Place as Seat
from testround.kernel.offers import OWN, PER_CM, Offers
from testround.kernel.reasons import Reasons, sentence
from testround.kernel.units import LengthUnit, lengths_in
from testround.kernel.words import commas, ordinal_word, spoken
from testround.patterns.access import Right
from testround.people.models import User
from testround.rounds.bridge import kernel_candidate, kernel_plan, unknown_of
from testround.rounds.models import Candidate, Round, Vacancy
from testround.rounds.selectors.rounds import rounds_of
from testround.rounds.services.drafts import Called, Drafted

# How the page of candidates can be sorted: the key in the address, and what it says.
SORTS = {
    "answered": gettext_lazy("Offered on"),
    "name": gettext_lazy("Candidate"),
    "fit": gettext_lazy("Nearest size"),
    "wish": gettext_lazy("Wishes"),
    "experience": gettext_lazy("Tests before"),
}
NO_PLACE = "out"
MOST_NAMED = 8

Say = Callable[[str], str]
"""A sentence of the kernel as the reader sees it."""


# Candidates -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CandidateRow:
    """One candidate against the sizes. ``off`` is the root-mean-square difference from the nearest, in cm."""

    candidate: Candidate
    measures: tuple[tuple[str, float], ...]
    nearest: str | None
    off: float | None
    wishes: str
    yarns: str
    unknown: tuple[str, ...]


def candidates_by_state(round: Round) -> dict[str, int]:
    """How many candidates there are in each state: one query."""
    counted = round.candidates.order_by().values("state").annotate(n=Count("pk"))
    return {row["state"]: row["n"] for row in counted}


def candidate_rows(round: Round, *, state: str, sort: str) -> list[CandidateRow]:
    """The candidates of one state, in an order of `SORTS`: two queries, whatever their number."""
    document = round.edition.document
    plan = kernel_plan(round)
    labels = {yarn.key: yarn.label for yarn in plan.yarns}
    people = list(round.candidates.filter(state=state))
    offers = Offers(
        kernel.Round(
            format="testround/round",
            version=1,
            pattern=document,
            round=plan,
            candidates=tuple(kernel_candidate(person, document, labels) for person in people),
        )
    )
    rows = []
    for person in people:
        i = offers.at[person.key]
        nearest, off = None, None
        if document.is_graded and offers.compared[i]:
            j = int(np.argmin(offers.misfit[i]))
            nearest, off = offers.slots[j], float(offers.misfit[i, j]) / PER_CM
        yarns = [_("own yarn")] if person.own_yarn else []
        yarns += [labels.get(key, key) for key in person.yarns]
        rows.append(
            CandidateRow(
                candidate=person,
                measures=tuple(
                    (measure.label, person.measures[measure.key])
                    for measure in document.measures
                    if measure.key in person.measures
                ),
                nearest=nearest,
                off=off,
                wishes=commas(person.wishes),
                yarns="; ".join(yarns),
                unknown=tuple(unknown_of(person, document, labels)),
            )
        )
    return sorted(rows, key=_order(sort, document.sizes, offers))


def without_address(rows: Sequence[CandidateRow]) -> str:
    """Who of these left no email address, in a sentence; empty where all did."""
    names = [row.candidate.name for row in rows if not row.candidate.email]
    if not names:
        return ""
    if len(names) == len(rows):
        return _("Nobody here left an email address: you hand each their link yourself.")
    return _("Without an email address, so that you hand over the link yourself: {names}.").format(
        names=commas(names)
    )


def _order(sort: str, sizes: Sequence[str], offers: Offers) -> Callable[[CandidateRow], tuple[Any, ...]]:
    at = {size: j for j, size in enumerate(sizes)}

    def key(row: CandidateRow) -> tuple[Any, ...]:
        person = row.candidate
        answer = offers.at[person.key]
        match sort:
            case "name":
                return (person.name.casefold(), answer)
            case "fit":
                return (row.nearest is None, at.get(row.nearest or "", 0), row.off or 0.0, answer)
            case "wish":
                first = at.get(person.wishes[0], len(at)) if person.wishes else len(at) + 1
                return (first, answer)
            case "experience":
                return (-(person.tests_before if person.tests_before is not None else -1), answer)
            case _:
                return (answer,)

    return key


# The proposal ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SeatRow:
    """One candidate in the proposal. ``size`` is `NO_PLACE` for who has none, and "" in a made-to-measure round."""

    key: str
    name: str
    size: str
    yarn: str
    """Key of a supplied yarn, or "" for their own."""
    group: str
    why: str
    by_hand: bool
    kept: bool
    reserve: str


@dataclass(frozen=True, slots=True)
class SizeLine:
    size: str | None
    there: int
    proposed: int
    least: int | None
    most: int | None
    short: str


@dataclass(frozen=True, slots=True)
class ProposalPage:
    """Who should make what?"""

    answer: str
    proof: str
    rows: tuple[SeatRow, ...]
    sizes: tuple[SizeLine, ...]
    broken: tuple[str, ...]
    costs: tuple[str, ...]
    has_word: bool
    word_costs: tuple[str, ...]
    moved: int
    lost: tuple[str, ...]
    placed: int

    @property
    def with_place(self) -> str:
        """Who has a place in which size, in words; nothing where they are too many to be read in a line."""
        return _named([f"{row.name} {row.size}".strip() for row in self.rows if row.size != NO_PLACE])

    @property
    def without_place(self) -> str:
        """Who has none, in the same way."""
        return _named([row.name for row in self.rows if row.size == NO_PLACE])


def _named(names: Sequence[str]) -> str:
    return commas(names) if len(names) <= MOST_NAMED else ""


def proposal_page(shown: Drafted, units: LengthUnit) -> ProposalPage:
    """The rows and sentences of a draft, with lengths in the reader's unit. Asks the database nothing."""
    read, document = shown.read, shown.best.document
    called = Called(read)

    def said(sentence: str) -> str:
        return lengths_in(called(sentence), units)

    rows = tuple(_rows(shown, said))
    placed, candidates = len(shown.seats), len(read.candidates)
    sizes = tuple(_sizes(shown, said))
    short = [one.size for one in sizes if one.short]
    if not candidates:
        answer = _("Nobody yet: there are no candidates whose offer counts.")
    elif short:
        answer = ngettext(
            "{placed} of {n} candidate would have a place; too few for {sizes}.",
            "{placed} of {n} candidates would have a place; too few for {sizes}.",
            candidates,
        ).format(placed=placed, n=candidates, sizes=commas(str(size) for size in short))
    else:
        answer = ngettext(
            "{placed} of {n} candidate would have a place.",
            "{placed} of {n} candidates would have a place.",
            candidates,
        ).format(placed=placed, n=candidates)
    word = shown.word_cost
    proof = _proof(candidates - placed, optimal=document.optimal, kept_to=word is not None)
    cost = shown.cost
    return ProposalPage(
        answer=answer,
        proof=proof,
        rows=rows,
        sizes=sizes,
        broken=tuple(said(one) for one in cost.broken) if cost else (),
        costs=tuple(said(one) for one in cost.differences) if cost else (),
        has_word=word is not None,
        word_costs=tuple(said(one) for one in word.differences) if word else (),
        moved=sum(row.by_hand for row in rows),
        lost=tuple(called(one) for one in shown.asked.lost),
        placed=placed,
    )


def _proof(left_out: int, *, optimal: bool, kept_to: bool) -> str:
    """Who is left out, and how sure it is that nobody could do better."""
    if not left_out:
        who = _("Nobody is left out.")
    else:
        who = ngettext(
            "{n} is left out; the reason is in the table.",
            "{n} are left out; the reasons are in the table.",
            left_out,
        ).format(n=left_out)
    if not optimal:
        best = _("The search was stopped before it was done: something a little better may be possible.")
    elif kept_to:
        best = _("With what you keep to, this is the best that can be done, and proven to be.")
    else:
        best = _("This is the best that can be done, and proven to be.")
    return f"{who} {best}"


def _rows(shown: Drafted, said: Say) -> Iterable[SeatRow]:
    read, best = shown.read, shown.best
    offers = Offers(read, reach=shown.asked.reach, exclusions=shown.asked.exclusions)
    for pin in shown.asked.pins:
        offers.pin(pin)
    seats = list(shown.seats.values())
    reasons = Reasons(
        offers,
        [
            (offers.at[seat.candidate], offers.slot_at[seat.size], _yarn_at(offers, seat.yarn))
            for seat in seats
            if seat.size in offers.slot_at
        ],
    )
    proposed = {place.candidate: place for place in best.document.places}
    refused = {one.candidate: one.why for one in best.refused}
    lines: dict[str, list[str]] = defaultdict(list)
    for one in best.document.reserve:
        lines[one.candidate].append(
            _(
                # Translators: the turn of somebody in reserve: "second for M".
                "{turn} for {size}"
            ).format(turn=ordinal_word(one.rank), size=one.size)
            if one.size
            else _("{turn} for a place").format(turn=ordinal_word(one.rank))
        )
    pinned = {pin.candidate for pin in shown.asked.pins}
    out = {one.candidate for one in shown.asked.exclusions if one.size is None}
    names = {person.id: person.name for person in read.candidates}
    graded = read.pattern.is_graded

    def row(i: int) -> SeatRow:
        key = offers.people[i].id
        seat, was = shown.seats.get(key), proposed.get(key)
        before = (was.size, was.yarn) if was else None
        now = (seat.size, seat.yarn) if seat else None
        by_hand = now != before
        if seat is not None:
            why = spoken(reasons.place(i, offers.slot_at[seat.size]))
            if by_hand:
                why = _("By hand; {before}. {why}").format(before=_seat_words(before), why=why)
        elif was is not None:
            why = _("No place, by hand; {before}.").format(before=_seat_words(before))
        else:
            why = refused.get(key, "")
        group = (seat.size or _("To measure")) if seat else _("Without a place")
        return SeatRow(
            key=key,
            name=names[key],
            size=NO_PLACE if seat is None else (seat.size or ""),
            yarn=(seat.yarn or "") if seat else _first_yarn(offers, i),
            group=group if graded or not seat else _("A place"),
            why=said(why),
            by_hand=by_hand,
            kept=key in pinned or key in out,
            reserve="" if seat else commas(lines.get(key, ())),
        )

    with_place = sorted(
        (offers.slot_at[seat.size], offers.at[seat.candidate])
        for seat in seats
        if seat.size in offers.slot_at
    )
    for _slot, i in with_place:
        yield row(i)
    for i, person in enumerate(offers.people):
        if person.id not in shown.seats:
            yield row(i)


def _seat_words(seat: tuple[str | None, str | None] | None) -> str:
    if seat is None:
        return _("the proposal had no place for them")
    size, yarn = seat
    if size:
        return _("the proposal had {size} in {yarn}").format(size=size, yarn=yarn or _("own yarn"))
    return _("the proposal had {yarn}").format(yarn=yarn or _("own yarn"))


def _yarn_at(offers: Offers, yarn: str | None) -> int:
    return OWN if yarn is None else offers.yarn_at[yarn]


def _first_yarn(offers: Offers, i: int) -> str:
    """The yarn that somebody without a place would most likely be given: their own, or the first they named."""
    yarns = offers.yarns[i]
    return (offers.yarn_key(yarns[0]) or "") if yarns else ""


def _sizes(shown: Drafted, said: Say) -> Iterable[SizeLine]:
    read = shown.read
    places = read.round.places
    least: Mapping[str, int] = (places.least if places else None) or {}
    most: Mapping[str, int] = (places.most if places else None) or {}
    there = Counter(tester.size for tester in read.testers)
    proposed = Counter(seat.size for seat in shown.seats.values())
    why = {one.size: one.why for one in shown.best.document.short}
    slots: Sequence[str | None] = read.pattern.sizes if read.pattern.is_graded else (None,)
    for size in slots:
        got = there[size] + proposed[size]
        wanted = least.get(size) if size is not None else None
        short = ""
        if wanted is not None and got < wanted:
            reason = why.get(str(size)) or _("Moves by hand have left it short.")
            short = said(
                _("{got} of {wanted}. {reason}").format(got=got, wanted=wanted, reason=spoken(reason))
            )
        yield SizeLine(
            size=size,
            there=there[size],
            proposed=proposed[size],
            least=wanted,
            most=most.get(size) if size is not None else None,
            short=short,
        )


@dataclass(frozen=True, slots=True)
class SeatToOffer:
    """Somebody who is about to be invited."""

    name: str
    size: str | None
    yarn: str
    email: str


def seats_to_offer(round: Round, shown: Drafted) -> list[SeatToOffer]:
    """Whom accepting the draft would invite, by size: one query."""
    emails = dict(round.candidates.filter(key__in=shown.seats).values_list("key", "email"))
    called = Called(shown.read)
    at = {size: j for j, size in enumerate(shown.read.pattern.sizes)}
    seats: list[Seat] = sorted(shown.seats.values(), key=lambda seat: at.get(seat.size or "", 0))
    return [
        SeatToOffer(
            name=called.people[seat.candidate],
            size=seat.size,
            yarn=called.yarn(seat.yarn),
            email=emails.get(seat.candidate, ""),
        )
        for seat in seats
    ]


# Places that fell free ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class VacancyLine:
    """A place that fell free, who is next for it if anybody is, and why."""

    vacancy: Vacancy
    candidate: Candidate | None
    why: str


def vacancies_of(round: Round, read: kernel.Round, units: LengthUnit) -> list[VacancyLine]:
    """The places of a round that fell free and that nobody has filled or left: one query. A closed one has none."""
    if round.state == Round.State.CLOSED:
        return []
    found = list(
        Vacancy.objects.filter(place__round=round, state=Vacancy.State.OPEN).select_related(
            "place", "candidate"
        )
    )
    if not found:
        return []
    offers = Offers(read)
    reasons = Reasons(offers, [])
    lines = []
    for vacancy in found:
        candidate, why = vacancy.candidate, vacancy.why
        i = offers.at.get(candidate.key) if candidate is not None else None
        j = offers.slot_at.get(vacancy.size)
        if i is None or j is None:
            # Whoever was next offers no more: who comes after is being looked for.
            candidate = None
        else:
            why = sentence(reasons.fit(i, j), reasons.wish(i, j)) if vacancy.size is not None else ""
        lines.append(VacancyLine(vacancy, candidate, lengths_in(why, units)))
    return lines


def vacancies_for(user: User) -> QuerySet[Vacancy]:
    """The places that fell free and that somebody in reserve can have, in all rounds a person may invite to."""
    return (
        Vacancy.objects.filter(
            state=Vacancy.State.OPEN,
            candidate__state=Candidate.State.CONFIRMED,
            place__round__in=rounds_of(user, Right.INVITE),
        )
        .exclude(place__round__state=Round.State.CLOSED)
        .select_related("place__round__edition__pattern", "candidate")
        .defer("place__round__edition__sheet", "place__round__terms")
    )


def vacancy_of(round: Round, pk: int) -> Vacancy | None:
    return (
        Vacancy.objects.filter(place__round=round, pk=pk)
        .select_related("place__round__edition__pattern__owner", "candidate")
        .first()
    )
