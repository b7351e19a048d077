"""Rounds that live at random, held step for step against a model of a few dictionaries.

Whatever is pressed, in whatever order: seats are never over-filled, rounds and places move only where they may, each
act stands in the diary once and one that is refused not at all, what is published stays, and everybody sees their own.

    uv run pytest tests/rounds/test_life_of_a_round.py --hypothesis-profile=long
"""

from __future__ import annotations

import datetime as dt
import json
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import transaction
from django.http import Http404
from django.utils import timezone
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    Bundle,
    RuleBasedStateMachine,
    initialize,
    invariant,
    multiple,
    precondition,
    rule,
    run_state_machine_as_test,
)

from testround.errata import services as errata
from testround.errata.models import Erratum
from testround.errata.selectors import public_errata
from testround.kernel.round import Pattern as SheetDocument
from testround.patterns.services import pattern_create
from testround.people.models import User
from testround.reports import services as reports
from testround.reports.models import Remark, Submission
from testround.reports.selectors import place_held
from testround.rounds import services
from testround.rounds.models import Candidate, Place, Round
from testround.rounds.refusals import Refused
from testround.rounds.selectors import places_of, rounds_of
from testround.rounds.services.call import call_close, call_open
from testround.rounds.services.offers import Offer, offer_confirm, offer_withdraw
from tests.conftest import LITTLE_TOP
from tests.rounds import calls
from tests.rounds.conftest import secret_of

SHORT = settings(max_examples=12, stateful_step_count=30, deadline=None, derandomize=True)
LONG = settings(max_examples=100, stateful_step_count=50, deadline=None)

# Said here once more, and not read from the program: what the states are and which follows which.
ROUND = ["planned", "gathering", "swatching", "making", "measuring", "closed"]
PLACE = ["offered", "taken", "swatch sent", "gauge agreed", "making", "measured", "done"]
GIVEN_BACK = "given back"
SIZES = ["XS", "S", "M"]
TESTERS = 3
OFFER = Offer(
    name="Wren", measures={"bust": 87}, typed={}, wishes=("S",), yarns=(), own_yarn=True, adult=True
)
CHEST = {"XS": 83.6, "S": 94.5, "M": 103.6}


def round_may_become(state: str, other: str) -> bool:
    at, to = ROUND.index(state), ROUND.index(other)
    return to > at or to == at - 1


def place_may_become(state: str, other: str) -> bool:
    if state == GIVEN_BACK:
        return False
    if state == "offered":
        return other in ("taken", GIVEN_BACK)
    if other == GIVEN_BACK:
        return state != "done"
    at, to = PLACE.index(state), PLACE.index(other)
    return to > at or (to == at - 1 and other != "offered")


class LifeOfARound(RuleBasedStateMachine):
    seats = Bundle("seats")
    links = Bundle("links")
    offers = Bundle("offers")
    drafts = Bundle("drafts")

    @initialize(most=st.fixed_dictionaries({size: st.integers(1, 2) for size in SIZES}))
    def begins(self, most: dict[str, int]) -> None:
        self._around = transaction.atomic()
        self._around.__enter__()
        self.designer = User.objects.create_user("designer@example.org", name="Designer")
        self.stranger = User.objects.create_user("stranger@example.org", name="Stranger")
        self.people = [
            User.objects.create_user(f"tester{n}@example.org", name=f"Tester {n}") for n in range(TESTERS)
        ]
        sheet = json.loads(json.dumps(LITTLE_TOP))
        # One misprint, so that there is something to find.
        sheet["numbers"][0]["printed"]["M"] = 118
        edition = pattern_create(owner=self.designer, document=SheetDocument.model_validate(sheet))
        self.pk = services.round_open(
            edition=edition,
            by=self.designer,
            title="Test",
            places_plan={"least": {}, "most": most},
            terms="Be kind.",
        ).pk
        self.state, self.most = "planned", most
        self.place_states: dict[int, str] = {}
        self.sizes: dict[int, str] = {}
        self.holders: dict[int, User] = {}
        self.taken_by: dict[str, User] = {}
        self.call_written = False
        self.published: dict[int, dict[str, Any]] = {}
        self.entries = 1

    def teardown(self) -> None:
        if hasattr(self, "_around"):
            transaction.set_rollback(True)
            self._around.__exit__(None, None, None)

    # -- how an act is held against the model --------------------------------------------------------------

    @property
    def round(self) -> Round:
        return Round.objects.select_related("edition__pattern__owner").get(pk=self.pk)

    def place(self, pk: int) -> Place:
        return Place.objects.select_related("round__edition__pattern__owner", "tester").get(pk=pk)

    @contextmanager
    def act(self, *, allowed: bool, entries: int = 1) -> Iterator[None]:
        """What is done inside is refused where the model forbids it, and else writes so many entries."""
        if allowed:
            yield
            self.entries += entries
            return
        with pytest.raises(Refused), transaction.atomic():
            yield

    def move(self, pk: int, state: str) -> int:
        """The place reaches a state unless it is there already; how many entries that makes."""
        if PLACE.index(self.place_states[pk]) >= PLACE.index(state):
            return 0
        self.place_states[pk] = state
        return 1

    def held(self, size: str) -> int:
        return sum(self.sizes[pk] == size and state != GIVEN_BACK for pk, state in self.place_states.items())

    # -- the designer --------------------------------------------------------------------------------------

    @rule(state=st.sampled_from(ROUND))
    def the_round_is_moved(self, state: str) -> None:
        if state == self.state:
            services.round_move(round=self.round, state=state, by=self.designer)
            return
        allowed = round_may_become(self.state, state)
        with self.act(allowed=allowed, entries=1 + self.offers_are_thanked(state)):
            services.round_move(round=self.round, state=state, by=self.designer)
        if allowed:
            self.state = state

    def offers_are_thanked(self, state: str) -> bool:
        """Whether the move tells those who offered that there is no place for them, which is an entry of its own."""
        if ROUND.index(state) <= ROUND.index("gathering") or ROUND.index(state) < ROUND.index(self.state):
            return False
        untold = self.round.candidates.filter(state__in=["confirmed", "waiting"], thanked_at=None)
        return untold.exists() and (state == "closed" or bool(self.place_states))

    @rule(target=seats, size=st.sampled_from(SIZES), days=st.none() | st.integers(1, 30))
    def a_place_is_added(self, size: str, days: int | None) -> Any:
        allowed = self.state != "closed" and self.held(size) < self.most[size]
        until = None if days is None else timezone.now() + dt.timedelta(days=days)
        pk = None
        with self.act(allowed=allowed):
            pk = services.place_add(
                round=self.round, name="Somebody", size=size, by=self.designer, offered_until=until
            ).pk
        if not allowed:
            return multiple()
        self.place_states[pk], self.sizes[pk] = "offered", size
        return pk

    @rule(pk=seats, size=st.sampled_from(SIZES))
    def its_size_is_changed(self, pk: int, size: str) -> None:
        place, state = self.place(pk), self.place_states[pk]
        same = self.sizes[pk] == size
        early = state in PLACE and PLACE.index(state) < PLACE.index("making")
        allowed = state != GIVEN_BACK and (same or (early and self.held(size) < self.most[size]))
        with self.act(allowed=allowed, entries=0 if same else 1):
            services.place_edit(
                place=place, name=place.name, size=size, measures=None, yarn=None, by=self.designer
            )
        if allowed:
            self.sizes[pk] = size

    @rule(pk=seats, state=st.sampled_from([*PLACE, GIVEN_BACK]))
    def a_place_is_moved_by_hand(self, pk: int, state: str) -> None:
        was = self.place_states[pk]
        if state == was:
            return
        allowed = place_may_become(was, state) and (state != "taken" or pk in self.holders)
        with self.act(allowed=allowed):
            services.place_move(place=self.place(pk), state=state, by=self.designer)
        if allowed:
            self.place_states[pk] = state

    @rule(days=st.integers(0, 40))
    def days_pass_over_the_offers(self, days: int) -> None:
        now = timezone.now() + dt.timedelta(days=days)
        due = {
            pk
            for pk, until in self.round.places.values_list("pk", "offered_until")
            if self.place_states[pk] == "offered" and until is not None and until <= now
        }
        assert services.offers_expire(now=now) == len(due)
        assert services.offers_expire(now=now) == 0
        self.entries += len(due)
        self.place_states.update(dict.fromkeys(due, GIVEN_BACK))

    # -- invitations ---------------------------------------------------------------------------------------

    @rule(target=links, pk=seats)
    def somebody_is_invited(self, pk: int) -> Any:
        allowed = self.place_states[pk] == "offered"
        url = ""
        with self.act(allowed=allowed):
            _, url = services.invitation_create(place=self.place(pk), by=self.designer)
        return (secret_of(url), pk) if allowed else multiple()

    def link_works(self, secret: str, pk: int) -> bool:
        newest = self.place(pk).invitations.order_by("-pk").first()
        return (
            newest is not None
            and newest.secret_hash == services.secret_hash(secret)
            and newest.withdrawn_at is None
            and self.place_states[pk] == "offered"
            and self.state != "closed"
            and newest.expires > timezone.now()
        )

    @rule(link=links, who=st.integers(0, TESTERS - 1), twice=st.booleans())
    def an_invitation_is_accepted(self, link: tuple[str, int], who: int, twice: bool) -> None:
        (secret, pk), person = link, self.people[who]
        if self.taken_by.get(secret) == person and self.holders.get(pk) == person:
            services.invitation_accept(secret=secret, user=person)
            return
        has_one = any(
            holder == person and self.place_states[other] != GIVEN_BACK
            for other, holder in self.holders.items()
        )
        allowed = self.link_works(secret, pk) and not has_one
        with self.act(allowed=allowed):
            services.invitation_accept(secret=secret, user=person)
        if allowed:
            self.place_states[pk], self.holders[pk], self.taken_by[secret] = "taken", person, person
            if twice:
                services.invitation_accept(secret=secret, user=person)

    @rule(link=links)
    def an_invitation_is_declined(self, link: tuple[str, int]) -> None:
        secret, pk = link
        declined = self.place(pk).invitations.filter(
            secret_hash=services.secret_hash(secret), declined_at__isnull=False
        )
        if declined.exists():
            services.invitation_decline(secret=secret)
            return
        allowed = self.link_works(secret, pk)
        with self.act(allowed=allowed):
            services.invitation_decline(secret=secret)
        if allowed:
            self.place_states[pk] = GIVEN_BACK

    # -- the call ------------------------------------------------------------------------------------------

    @precondition(lambda self: not self.call_written)
    @rule(wanted=st.integers(1, 3))
    def the_call_is_written_and_opened(self, wanted: int) -> None:
        calls.written(self.round, self.designer, offers_wanted=wanted)
        allowed = self.state in ("planned", "gathering")
        # How many entries the words of a call make is its own tests' matter.
        with self.act(allowed=allowed, entries=0):
            call_open(round=self.round, by=self.designer)
        if allowed:
            self.state = "gathering"
        self.call_written, self.entries = True, self.round.diary.count()

    @precondition(lambda self: self.call_written and self.state == "gathering")
    @rule(target=offers, who=st.integers(0, TESTERS - 1))
    def somebody_offers(self, who: int) -> Any:
        email = f"offers{who}@example.org"
        if self.round.candidates.filter(email=email).exclude(state="withdrawn").exists():
            return multiple()
        return calls.offer(self.round, email, OFFER)

    @rule(secret=offers, takes_back=st.booleans())
    def an_offer_is_confirmed_or_taken_back(self, secret: str, takes_back: bool) -> None:
        try:
            with transaction.atomic():
                offer_withdraw(secret=secret) if takes_back else offer_confirm(secret=secret)
        except Refused:
            assert self.round.diary.count() == self.entries
        self.entries = self.round.diary.count()

    @precondition(lambda self: self.call_written and self.state == "gathering")
    @rule()
    def the_call_is_closed(self) -> None:
        call_close(round=self.round, by=self.designer)
        before = self.round.diary.count()
        call_close(round=self.round, by=self.designer)
        assert self.round.diary.count() == before
        self.entries = before

    # -- testers -------------------------------------------------------------------------------------------

    def works(self, pk: int) -> bool:
        return pk in self.holders and self.place_states[pk] != GIVEN_BACK

    def send(self, pk: int, submit: Any, moves: int, **report: Any) -> None:
        """A tester's report, sent twice by a phone that lost the answer; it is one, with one entry and its moves."""
        key, by = uuid.uuid4(), self.holders[pk]
        first, second = (submit(place=self.place(pk), key=key, by=by, **report).pk for _ in range(2))
        assert first == second
        assert Submission.objects.filter(place=pk, key=key).count() == 1
        self.entries += 1 + moves

    @rule(pk=seats, stitches=st.sampled_from([22, 22.5, 27]))
    def a_swatch_is_sent(self, pk: int, stitches: float) -> None:
        if not self.works(pk):
            return
        moves = self.move(pk, "swatch sent")
        # Within a stitch of the pattern's 22 it will do.
        moves += self.move(pk, "gauge agreed") if stitches < 23 else 0
        swatch = {"gauge": "body", "state": "blocked", "tool_mm": 4.0, "width": 10, "height": 10, "rows": 30}
        self.send(pk, reports.swatch_submit, moves, stitches=stitches, **swatch)

    @rule(pk=seats)
    def counts_are_sent(self, pk: int) -> None:
        if self.works(pk):
            counts = {"back_sts": 104, "body_rows": 96}
            self.send(pk, reports.counts_submit, self.move(pk, "making"), counts=counts)

    @rule(pk=seats, whole=st.booleans())
    def measurements_are_sent(self, pk: int, whole: bool) -> None:
        if not self.works(pk):
            return
        readings = {"chest": [CHEST[self.sizes[pk]]], **({"body_length": [36.0]} if whole else {})}
        moves = self.move(pk, "making")
        done = Place.objects.filter(pk=pk, finished_rows__dimension="body_length").exists()
        moves += self.move(pk, "measured") if whole or done else 0
        self.send(pk, reports.finished_submit, moves, state="blocked", readings=readings)

    @rule(pk=seats, where=st.sampled_from([None, "Back, step 1"]))
    def a_remark_is_sent(self, pk: int, where: str | None) -> None:
        if self.works(pk):
            self.send(pk, reports.remark_submit, 0, kind="unclear", text="Which side?", where=where)

    @rule(pk=seats)
    def the_tester_says_that_this_is_all(self, pk: int) -> None:
        if self.works(pk):
            self.entries += self.move(pk, "done")
            reports.place_finish(place=self.place(pk), by=self.holders[pk])

    @rule(pk=seats)
    def the_tester_gives_the_place_back(self, pk: int) -> None:
        if not self.works(pk):
            return
        allowed = place_may_become(self.place_states[pk], GIVEN_BACK)
        with self.act(allowed=allowed):
            services.place_give_back(place=self.place(pk), by=self.holders[pk])
        if allowed:
            self.place_states[pk] = GIVEN_BACK

    # -- errata --------------------------------------------------------------------------------------------

    @rule(target=drafts)
    def an_erratum_is_drafted_from_remarks(self) -> Any:
        remarks = list(Remark.objects.filter(place__round=self.pk).values_list("pk", flat=True))
        erratum = None
        with self.act(allowed=bool(remarks)):
            erratum = errata.erratum_from_remarks(round=self.round, remark_ids=remarks, by=self.designer)
        return erratum.pk if erratum else multiple()

    @rule(target=drafts, decline=st.booleans())
    def the_misprint_is_decided(self, decline: bool) -> Any:
        errata.analysis_keep(round=self.round)
        found = "printed-count:back_sts"
        allowed = not self.round.decisions.filter(finding_id=found).exists()
        erratum = None
        with self.act(allowed=allowed):
            if decline:
                errata.finding_decline(
                    round=self.round, finding_id=found, reason="meant so", by=self.designer
                )
            else:
                erratum = errata.finding_accept(round=self.round, finding_ids=[found], by=self.designer)
        return erratum.pk if erratum else multiple()

    @rule(pk=drafts, text=st.sampled_from(["", "Cast on 114 stitches."]))
    def an_erratum_is_reworded(self, pk: int, text: str) -> None:
        erratum = Erratum.objects.filter(pk=pk).first()
        if erratum is None:
            return
        words = errata.Wording(place="Back, step 1", text=text, why="", sizes=[], now={})
        with self.act(allowed=pk not in self.published, entries=0):
            errata.erratum_reword(erratum=erratum, wording=words, by=self.designer)

    @rule(pk=drafts)
    def an_erratum_is_published(self, pk: int) -> None:
        erratum = Erratum.objects.filter(pk=pk).first()
        if erratum is None:
            return
        allowed = pk not in self.published and bool(erratum.place and erratum.text)
        with self.act(allowed=allowed):
            errata.erratum_publish(erratum=erratum, by=self.designer)
        if allowed:
            self.published[pk] = Erratum.objects.filter(pk=pk).values().get()

    @rule(pk=drafts)
    def an_erratum_is_thrown_away(self, pk: int) -> None:
        erratum = Erratum.objects.filter(pk=pk).first()
        if erratum is None:
            return
        with self.act(allowed=pk not in self.published):
            errata.erratum_discard(erratum=erratum, by=self.designer)

    # -- what always holds ---------------------------------------------------------------------------------

    @invariant()
    def the_round_and_its_places_are_where_the_model_has_them(self) -> None:
        assert self.round.state == self.state
        rows = self.round.places.values_list("pk", "state", "size", "tester")
        assert {(pk, state, size, tester) for pk, state, size, tester in rows} == {
            (pk, state, self.sizes[pk], self.holders[pk].pk if pk in self.holders else None)
            for pk, state in self.place_states.items()
        }

    @invariant()
    def no_size_has_more_than_it_takes(self) -> None:
        assert all(self.held(size) <= self.most[size] for size in SIZES)

    @invariant()
    def every_act_stands_in_the_diary_once(self) -> None:
        assert self.round.diary.count() == self.entries

    @invariant()
    def what_is_published_stays_and_is_numbered_without_a_gap(self) -> None:
        rows = Erratum.objects.filter(pk__in=self.published).values()
        assert {row["id"]: row for row in rows} == self.published
        numbers = sorted(row["number"] for row in self.published.values())
        assert numbers == list(range(1, len(numbers) + 1))
        public = public_errata(self.round.edition.pattern.code)
        assert len(public.errata if public else ()) == len(numbers)

    @invariant()
    def an_address_has_one_offer_that_holds(self) -> None:
        keys = list(
            self.round.candidates.filter(state__in=Candidate.HOLDING).values_list("email_key", flat=True)
        )
        assert len(keys) == len(set(keys))

    @invariant()
    def everybody_sees_their_own_and_no_more(self) -> None:
        mine = {person.pk: set() for person in (*self.people, self.stranger, self.designer)}
        for pk, holder in self.holders.items():
            if self.place_states[pk] != GIVEN_BACK:
                mine[holder.pk].add(pk)
        for person in (*self.people, self.stranger, self.designer):
            assert set(places_of(person).values_list("pk", flat=True)) == mine[person.pk]
            assert rounds_of(person).filter(pk=self.pk).exists() == (person == self.designer)
        for pk in self.place_states:
            with pytest.raises(Http404):
                place_held(self.stranger, pk)


@pytest.mark.django_db
def test_a_round_lives_as_its_model_does() -> None:
    long = settings.get_current_profile_name() == "long"
    run_state_machine_as_test(LifeOfARound, settings=LONG if long else SHORT)  # type: ignore[no-untyped-call]
