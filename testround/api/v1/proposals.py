"""Who makes what: the proposal, what the designer asks of it, the step to invitations, and who is next in reserve."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_variables
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.fields import Input
from testround.api.paging import MOST_ID
from testround.api.problems import CONFLICT, means
from testround.api.scopes import Scope
from testround.api.v1.examples import proposals as examples
from testround.api.v1.parts import PLAN_PATHS, Day, PlanIn, keys_by_label, pointing, round_here
from testround.api.v1.vacancies import TAG, PlaceOffered, offer_told
from testround.kernel.problems import InputProblems, Problem
from testround.kernel.units import LengthUnit
from testround.patterns.access import Right
from testround.people.readers import reader_of
from testround.rounds import services
from testround.rounds.models import Round
from testround.rounds.refusals import Refused
from testround.rounds.selectors.assignment import NO_PLACE, ProposalPage, proposal_page
from testround.rounds.services.assignment import (
    LONGEST_REACH_CM,
    MOST_OFFER_DAYS,
    AlreadyAccepted,
    StaleDraft,
)
from testround.rounds.services.drafts import Drafted, draft_of

MOST_NAMED = 5000
means(CONFLICT, StaleDraft, AlreadyAccepted)
REVISION_SAID = "Of the draft that you saw, so that another's changes are not undone."


class ProposalSeat(serializers.Serializer):
    size = serializers.CharField(allow_null=True)
    yarn = serializers.CharField(allow_null=True, help_text="Key of a supplied yarn; null for their own.")


class ProposalPin(serializers.Serializer):
    """Somebody who has a place, in any size or yarn where that is null."""

    candidate = serializers.CharField(help_text="Their key.")
    size = serializers.CharField(allow_null=True)
    yarn = serializers.CharField(allow_null=True)


class ProposalExclusion(serializers.Serializer):
    """Somebody who has no place, in this size or, where it is null, at all."""

    candidate = serializers.CharField(help_text="Their key.")
    size = serializers.CharField(allow_null=True)


class ProposalRow(serializers.Serializer):
    """One candidate in the proposal."""

    candidate = serializers.CharField(help_text="Their key.")
    name = serializers.CharField()
    placed = serializers.BooleanField(help_text="They would have a place.")
    size = serializers.CharField(allow_null=True)
    yarn = serializers.CharField(allow_null=True, help_text="Key of a supplied yarn; null for their own.")
    why = serializers.CharField(help_text="In your language and units.")
    by_hand = serializers.BooleanField(help_text="You moved them.")
    kept = serializers.BooleanField(help_text="Pinned or excluded.")
    reserve = serializers.CharField(help_text="Whose turn it is when a place falls free.")


class ProposalSize(serializers.Serializer):
    """How many a size has and would have."""

    size = serializers.CharField(allow_null=True)
    there = serializers.IntegerField(help_text="Testers who have a place already.")
    proposed = serializers.IntegerField()
    least = serializers.IntegerField(allow_null=True)
    most = serializers.IntegerField(allow_null=True)
    short = serializers.CharField(help_text="Why it has too few; empty where it has enough.")


class ProposalOut(serializers.Serializer):
    """The draft of who makes what: what was asked for, and what that comes to today."""

    revision = serializers.IntegerField(help_text="Counts the savings.")
    reach = serializers.FloatField(help_text="How far off a size may be over all measures together, in cm.")
    pins = ProposalPin(many=True)
    exclusions = ProposalExclusion(many=True)
    moves = serializers.DictField(
        child=ProposalSeat(allow_null=True),
        help_text="By candidate's key, the seat given by hand; null: none.",
    )
    contradicts = serializers.ListField(
        child=serializers.CharField(), help_text="Why what is asked cannot be had; the rest is empty then."
    )
    seen = serializers.CharField(help_text="Names exactly these seats, to accept them by.")
    answer = serializers.CharField()
    proof = serializers.CharField(
        help_text="Who is left out, and how sure it is that nobody could do better."
    )
    seats = ProposalRow(many=True)
    sizes = ProposalSize(many=True)
    broken = serializers.ListField(child=serializers.CharField(), help_text="What moves by hand break.")
    costs = serializers.ListField(child=serializers.CharField(), help_text="What moves by hand cost.")
    word_costs = serializers.ListField(
        child=serializers.CharField(), help_text="What pins and exclusions cost."
    )
    lost = serializers.ListField(
        child=serializers.CharField(), help_text="What was asked and leads nowhere any more."
    )


class ProposalSeatIn(Input):
    """A seat given by hand."""

    size = serializers.CharField(allow_null=True, required=False, max_length=20)
    yarn = serializers.CharField(allow_null=True, required=False, max_length=60)


class ProposalPinIn(ProposalSeatIn):
    candidate = serializers.CharField(max_length=60, help_text="Their key.")


class ProposalExclusionIn(Input):
    candidate = serializers.CharField(max_length=60, help_text="Their key.")
    size = serializers.CharField(allow_null=True, required=False, max_length=20)


class ProposalSave(Input):
    """What is asked of the proposal; what is left out stays."""

    revision = serializers.IntegerField(min_value=0, max_value=MOST_ID, help_text=REVISION_SAID)
    reach = serializers.FloatField(
        required=False, min_value=0, max_value=LONGEST_REACH_CM, help_text="In cm."
    )
    pins = ProposalPinIn(many=True, required=False, max_length=MOST_NAMED)
    exclusions = ProposalExclusionIn(many=True, required=False, max_length=MOST_NAMED)
    moves = serializers.DictField(
        child=ProposalSeatIn(allow_null=True),
        required=False,
        help_text="By candidate's key, the seat given by hand, all of them; null: no place.",
    )


class ProposalLimits(Input):
    """What a proposal keeps to, and what happens when a place falls free; what is left out stays."""

    revision = serializers.IntegerField(min_value=0, max_value=MOST_ID, help_text=REVISION_SAID)
    reach = serializers.FloatField(
        required=False, min_value=0, max_value=LONGEST_REACH_CM, help_text="In cm."
    )
    places = PlanIn(required=False, allow_null=True)
    invite_next = serializers.BooleanField(
        required=False, help_text="When a place falls free, the next in reserve is invited at once."
    )
    offer_days = serializers.IntegerField(
        required=False, min_value=1, max_value=MOST_OFFER_DAYS, help_text="Days that such an offer stands."
    )


class ProposalAccept(Input):
    """That exactly these seats are offered."""

    revision = serializers.IntegerField(min_value=0, max_value=MOST_ID, help_text=REVISION_SAID)
    seen = serializers.CharField(max_length=64, help_text="As the proposal gave it.")
    until = Day(help_text="The offers stand to the end of this day.")


class PlacesOffered(serializers.Serializer):
    offered = PlaceOffered(many=True)


def represent(round: Round, units: LengthUnit) -> dict[str, Any]:
    """The draft of a round and what it comes to: four queries, whatever the number of candidates."""
    draft = draft_of(round)
    outcome: dict[str, Any] = {
        "contradicts": [],
        "seen": "",
        "answer": "",
        "proof": "",
        **{name: [] for name in ("seats", "sizes", "broken", "costs", "word_costs", "lost")},
    }
    try:
        shown = services.drafted(round, draft)
    except Refused as refused:
        outcome["contradicts"] = [problem.sentence for problem in refused.problems]
    else:
        outcome |= _outcome(shown, proposal_page(shown, units))
    asked = {
        "revision": draft.revision,
        "reach": draft.reach,
        "pins": [{"size": None, "yarn": None, **one} for one in draft.pins],
        "exclusions": [{"size": None, **one} for one in draft.exclusions],
        "moves": draft.moves,
    }
    found: dict[str, Any] = ProposalOut({**asked, **outcome}).data
    return found


def _outcome(shown: Drafted, page: ProposalPage) -> dict[str, Any]:
    seats = [
        {
            "candidate": row.key,
            "name": row.name,
            "placed": row.size != NO_PLACE,
            "size": None if row.size == NO_PLACE else row.size or None,
            "yarn": row.yarn or None,
            "why": row.why,
            "by_hand": row.by_hand,
            "kept": row.kept,
            "reserve": row.reserve,
        }
        for row in page.rows
    ]
    told = ("answer", "proof", "sizes", "broken", "costs", "word_costs", "lost")
    return {"seen": shown.seen, "seats": seats, **{name: getattr(page, name) for name in told}}


def asked_checked(round: Round, sent: Mapping[str, Any]) -> None:
    """Refuse candidates, sizes and yarns that the round does not have, each where it stands in the body."""
    people = set(round.candidates.values_list("key", flat=True))
    yarns = {None, *round.yarns.values_list("key", flat=True)}
    sizes = {None, *round.edition.document.sizes}
    graded = len(sizes) > 1
    problems = []
    for path, candidate, seat, is_move in _seats_in(sent):
        if candidate not in people:
            problems.append(
                Problem(path, _("Nobody of the key {key} offered to test.").format(key=candidate))
            )
        if seat.get("size") not in sizes:
            problems.append(
                Problem(f"{path}.size", _("The pattern has no size {size}.").format(size=seat["size"]))
            )
        elif is_move and graded and seat.get("size") is None:
            problems.append(Problem(f"{path}.size", _("Name the size of a place that is given by hand.")))
        if seat.get("yarn") not in yarns:
            problems.append(
                Problem(f"{path}.yarn", _("This round does not supply that yarn: name one that it supplies."))
            )
    if problems:
        raise InputProblems(problems)


def _seats_in(sent: Mapping[str, Any]) -> Iterator[tuple[str, str, Mapping[str, Any], bool]]:
    """Everything that a body says of a candidate: its path, who, the seat, and whether it is a move by hand."""
    for kind in ("pins", "exclusions"):
        for at, one in enumerate(sent.get(kind, ())):
            yield f"{kind}[{at}]", one["candidate"], one, False
    for key, seat in sent.get("moves", {}).items():
        yield f"moves.{key}", key, seat or {}, seat is not None


def _seat(seat: Mapping[str, Any]) -> dict[str, Any]:
    return {"size": seat.get("size"), "yarn": seat.get("yarn")}


class Proposal(Endpoint):
    @operation(
        "proposals_retrieve",
        "Who should make what",
        tag=TAG,
        scope=Scope.ROUNDS_READ,
        answers=ProposalOut,
        example=examples.PROPOSAL,
    )
    def get(self, request: Request, code: str) -> Response:
        """The best that can be done with those who offer, proven, with what you asked for laid over it."""
        round = round_here(self, code, Right.SEE)
        return self.shown(represent(round, reader_of(self.user).units))

    @operation(
        "proposals_save",
        "Ask something of the proposal",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        takes=ProposalSave,
        sends=examples.SAVED,
        answers=ProposalOut,
        example=examples.PROPOSAL,
        refusals=[CONFLICT],
    )
    def post(self, request: Request, code: str) -> Response:
        """Save reach, pins, exclusions and moves by hand, if nothing in them contradicts. Owners and editors may."""
        round = round_here(self, code, Right.EDIT)
        sent = self.body(ProposalSave)
        asked_checked(round, sent)
        changes: dict[str, Any] = {}
        if "pins" in sent:
            changes["pins"] = [{"candidate": one["candidate"], **_seat(one)} for one in sent["pins"]]
        if "exclusions" in sent:
            changes["exclusions"] = [
                {"candidate": one["candidate"], "size": one.get("size")} for one in sent["exclusions"]
            ]
        if "moves" in sent:
            changes["moves"] = {
                key: None if seat is None else _seat(seat) for key, seat in sent["moves"].items()
            }
        with pointing():
            services.proposal_save(
                round=round, by=self.user, revision=sent["revision"], reach=sent.get("reach"), **changes
            )
        return self.shown(represent(round, reader_of(self.user).units))


class ProposalKept(Endpoint):
    @operation(
        "proposals_limit",
        "Say what a proposal keeps to",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        takes=ProposalLimits,
        sends=examples.LIMITS,
        answers=ProposalOut,
        example=examples.PROPOSAL,
        refusals=[CONFLICT],
    )
    def post(self, request: Request, code: str) -> Response:
        """Change the reach, how many testers each size needs and takes, and what happens when a place falls free.

        All of it or nothing. Owners and editors may; that the next in reserve is invited at once, the owner alone.
        """
        round = round_here(self, code, Right.EDIT)
        sent = self.body(ProposalLimits)
        with pointing(**PLAN_PATHS):
            services.proposal_limits(
                round=round,
                by=self.user,
                revision=sent["revision"],
                reach=sent.get("reach", draft_of(round).reach),
                places_plan=sent.get("places", round.places_plan),
                invite_next=sent.get("invite_next", round.invite_next),
                offer_days=sent.get("offer_days", round.offer_days),
            )
        return self.shown(represent(round_here(self, code, Right.EDIT), reader_of(self.user).units))


class ProposalAccepted(Endpoint):
    @operation(
        "proposals_accept",
        "Offer the places of a proposal",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        takes=ProposalAccept,
        sends=examples.ACCEPT,
        answers=PlacesOffered,
        example={"offered": [examples.INVITED, examples.BY_HAND]},
        refusals=[CONFLICT],
    )
    @sensitive_variables("offered")
    def post(self, request: Request, code: str) -> Response:
        """Offer every seat to its candidate until the end of a day, and mail whoever left an address.

        All of it happens or nothing, and only for what you saw. `secret` and `url` are told this once. The owner
        alone may.
        """
        round = round_here(self, code, Right.INVITE)
        sent = self.body(ProposalAccept)
        with pointing():
            offered = services.proposal_accept(
                round=round, by=self.user, revision=sent["revision"], seen=sent["seen"], until=sent["until"]
            )
        supplied = keys_by_label(round)
        return self.told(self.shown({"offered": [offer_told(one, supplied) for one in offered]}))
