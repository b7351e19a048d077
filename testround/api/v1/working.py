"""What goes on at a place while the work does: the timer of a sitting, rows counted, and what a tester allows."""

from __future__ import annotations

import json
from typing import Any

from django.utils.translation import gettext as _
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import operation
from testround.api.fields import Input
from testround.api.problems import CONFLICT, ApiProblem, Fault, invalid
from testround.api.scopes import Scope
from testround.api.v1.examples import reports as examples
from testround.api.v1.reported import ReportOut, maybe
from testround.api.v1.sending import AtPlace, refused, typed
from testround.reports.counting import MOST_AT_ONCE, MOST_ROWS_A_PRESS, counted_at, events_take
from testround.reports.forms import ConsentsForm
from testround.reports.models_phone import LONGEST_LABEL
from testround.reports.selectors import Desk, consents_of, desk_of
from testround.reports.timer import Forgotten, running_at, timer_drop, timer_start, timer_stop
from testround.rounds.models import Consent, Place
from testround.rounds.services.credits import credit_choose
from testround.rounds.services.privacy import CHOSEN_APART, consents_set

TAG = "Reports"


class TimerStart(Input):
    part = serializers.CharField(
        required=False, allow_null=True, help_text="Key of the part; none for the whole piece."
    )


class TimerStop(TimerStart):
    done = maybe("Share of it that is finished now, 0 to 1.")
    stopped_at = serializers.DateTimeField(
        required=False, allow_null=True, help_text="When it ended, where that was before now."
    )


class TimerOut(serializers.Serializer):
    """The sitting under way; all null where none is."""

    started_at = serializers.DateTimeField(allow_null=True)
    part = serializers.CharField(allow_null=True)


class TimerStopped(serializers.Serializer):
    report = ReportOut(allow_null=True, help_text="The sitting as it is logged; null when under a minute.")


def timer_shown(place: Place) -> dict[str, Any]:
    running = running_at(place)
    if running is None:
        return {"started_at": None, "part": None}
    return TimerOut({"started_at": running.started_at, "part": running.part or None}).data


def part_of(desk: Desk, sent: dict[str, Any]) -> str:
    """The part that was named, or empty for the whole piece."""
    part = sent.get("part") or ""
    parts = [one.key for one in desk.pattern.parts]
    if part and part not in parts:
        said = _("The sheet has no part {part}. It has: {parts}.")
        raise invalid(Fault(said.format(part=part, parts=", ".join(parts)), "/part"))
    return part


class Timer(AtPlace):
    @operation(
        "timer_retrieve",
        "The sitting under way",
        tag=TAG,
        scope=Scope.PLACES_READ,
        answers=TimerOut,
        example=examples.TIMER,
    )
    def get(self, request: Request, id: int) -> Response:
        """Since when a sitting is timed at a place that you hold."""
        return self.shown(timer_shown(self.place(id)))

    @operation(
        "timer_start",
        "Begin a sitting",
        tag=TAG,
        scope=Scope.PLACES_WRITE,
        takes=TimerStart,
        sends={"part": None},
        answers=TimerOut,
        example=examples.TIMER,
    )
    def post(self, request: Request, id: int) -> Response:
        """Begin a sitting. One that runs already runs on."""
        desk = desk_of(self.place(id))
        timer_start(place=desk.place, part=part_of(desk, self.body(TimerStart)))
        return self.shown(timer_shown(desk.place))

    @operation("timer_drop", "Forget the sitting", tag=TAG, scope=Scope.PLACES_WRITE, status=204)
    def delete(self, request: Request, id: int) -> Response:
        """Forget the sitting under way, with nothing logged."""
        place = self.place(id)
        self.hold_against(timer_shown(place))
        timer_drop(place=place)
        return self.gone()


class TimerEnd(AtPlace):
    @operation(
        "timer_stop",
        "End a sitting and log it",
        tag=TAG,
        scope=Scope.PLACES_WRITE,
        takes=TimerStop,
        sends={"part": None, "done": 0.4},
        answers=TimerStopped,
        example={"report": examples.report("sitting")},
        refusals=[CONFLICT],
    )
    def post(self, request: Request, id: int) -> Response:
        """End the sitting under way and log its hours, to the minute.

        One that ran for more than twelve hours was forgotten: log its real length as a sitting, which ends it too.
        """
        desk = desk_of(self.place(id))
        sent = self.body(TimerStop)
        part, done = part_of(desk, sent), sent.get("done")
        if done is not None and not 0 <= done <= 1:
            raise invalid(Fault(_("A share is between 0 and 1."), "/done"))
        running = running_at(desk.place)
        if running is None:
            raise ApiProblem(CONFLICT, _("No sitting is under way."))
        try:
            logged = timer_stop(
                place=desk.place,
                key=running.key,
                by=self.user,
                part=part,
                done=done,
                typed_done="" if done is None else typed(100 * done),
                stopped_at=sent.get("stopped_at"),
            )
        except Forgotten as error:
            said = _(
                "The timer ran for more than twelve hours. Say how long it really was; nothing is logged yet."
            )
            raise ApiProblem(CONFLICT, said) from error
        return self.shown({"report": ReportOut(logged).data if logged else None})


# -- rows counted -------------------------------------------------------------------------------------------


class CountingEvent(Input):
    """One press. Which fields it has is of its kind: a counter made, rows counted on it, it closed, a step ticked."""

    id = serializers.UUIDField(help_text="Of this press, so that it is counted once.")
    kind = serializers.ChoiceField(choices=["counter", "rows", "close", "tick"])
    at = serializers.DateTimeField(required=False)
    counter = serializers.UUIDField(required=False, help_text="Of counter, rows, close.")
    label = serializers.CharField(required=False, max_length=LONGEST_LABEL, help_text="Of counter.")
    goal = serializers.IntegerField(
        required=False,
        allow_null=True,
        min_value=1,
        max_value=MOST_ROWS_A_PRESS,
        help_text="Rows to work, of counter.",
    )
    rows = serializers.IntegerField(
        required=False,
        min_value=-MOST_ROWS_A_PRESS,
        max_value=MOST_ROWS_A_PRESS,
        help_text="Rows on, or back when below zero, of rows.",
    )
    number = serializers.CharField(required=False, max_length=60, help_text="Key of the step, of tick.")
    done = serializers.BooleanField(required=False, help_text="Of tick.")


class CountingIn(Input):
    events = serializers.ListField(child=CountingEvent(), min_length=1, max_length=MOST_AT_ONCE)


class CounterOut(serializers.Serializer):
    code = serializers.UUIDField()
    label = serializers.CharField()
    goal = serializers.IntegerField(allow_null=True)
    rows = serializers.IntegerField()


class CountingOut(serializers.Serializer):
    """Open counters in the order they were made, and the steps ticked off."""

    counters = CounterOut(many=True)
    ticked = serializers.ListField(child=serializers.CharField())


class CountingTaken(serializers.Serializer):
    taken = serializers.ListField(child=serializers.CharField(), help_text="`id` of what is in.")
    refused = serializers.ListField(child=serializers.CharField(), help_text="`id` of what cannot be.")


class Counting(AtPlace):
    @operation(
        "counting_retrieve",
        "Rows counted",
        tag=TAG,
        scope=Scope.PLACES_READ,
        answers=CountingOut,
        example=examples.COUNTING,
    )
    def get(self, request: Request, id: int) -> Response:
        """What is counted at a place that you hold: open counters, and the steps ticked off."""
        counted = counted_at(self.place(id)).document()
        return self.shown({name: counted[name] for name in ("counters", "ticked")})

    @operation(
        "counting_send",
        "Count rows",
        tag=TAG,
        scope=Scope.PLACES_WRITE,
        takes=CountingIn,
        sends=examples.COUNTING_IN,
        answers=CountingTaken,
        example=examples.COUNTING_TAKEN,
    )
    def post(self, request: Request, id: int) -> Response:
        """Send presses, in any order. Each counts once by its `id`; one that cannot be holds up no other."""
        place = self.place(id)
        # As a phone sends them: what was read of them is written out again.
        events = json.loads(json.dumps(self.body(CountingIn)["events"], default=_plain))
        taken = events_take(place=place, pattern=place.round.edition.document, events=events)
        return self.shown({"taken": list(taken.taken), "refused": list(taken.refused)})


def _plain(value: Any) -> str:
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


# -- what is allowed ----------------------------------------------------------------------------------------

KINDS = [choice for choice in Consent.Kind.choices if choice[0] not in CHOSEN_APART]


class ConsentsIn(Input):
    """All that is allowed: what is not named is taken back."""

    kinds = serializers.ListField(child=serializers.ChoiceField(choices=KINDS), max_length=len(KINDS))


class ConsentsOut(serializers.Serializer):
    kinds = serializers.ListField(child=serializers.ChoiceField(choices=KINDS))


def consents_shown(place: Place) -> dict[str, Any]:
    standing = consents_of(place)
    return {"kinds": [kind for kind, _label in KINDS if kind in standing]}


class Consents(AtPlace):
    @operation(
        "consents_retrieve",
        "What you allow",
        tag=TAG,
        scope=Scope.PLACES_READ,
        answers=ConsentsOut,
        example=examples.CONSENTS,
    )
    def get(self, request: Request, id: int) -> Response:
        """What may be done with your photos and your name."""
        return self.shown(consents_shown(self.place(id)))

    @operation(
        "consents_set",
        "Say what you allow",
        tag=TAG,
        scope=Scope.PLACES_WRITE,
        takes=ConsentsIn,
        sends=examples.CONSENTS,
        answers=ConsentsOut,
        example=examples.CONSENTS,
    )
    def put(self, request: Request, id: int) -> Response:
        """Say what may be done with your photos and your name; photos that nobody may see any more are deleted."""
        place = self.place(id)
        self.hold_against(consents_shown(place))
        form = ConsentsForm(dict.fromkeys(self.body(ConsentsIn)["kinds"], "on"), standing=consents_of(place))
        if not form.is_valid():
            raise refused(form.errors, lambda name: "/kinds")
        consents_set(place=place, kinds=form.kinds(), by=self.user)
        return self.shown(consents_shown(self.place(id)))


class ThanksIn(Input):
    thanked_as = serializers.CharField(
        allow_blank=True, max_length=1000, help_text="The name to be thanked by in public; empty for none."
    )
    in_report = serializers.BooleanField(help_text="The report of the round may name you.")


class ThanksOut(serializers.Serializer):
    thanked_as = serializers.CharField(allow_blank=True)
    in_report = serializers.BooleanField()


def thanks_shown(place: Place) -> dict[str, Any]:
    in_report = place.consents.filter(kind=Consent.Kind.REPORT, withdrawn_at=None).exists()
    return {"thanked_as": place.thanked_as, "in_report": in_report}


class Thanks(AtPlace):
    @operation(
        "thanks_retrieve",
        "How you are thanked",
        tag=TAG,
        scope=Scope.PLACES_READ,
        answers=ThanksOut,
        example=examples.THANKS,
    )
    def get(self, request: Request, id: int) -> Response:
        """By which name you are thanked in public, and whether the report of the round names you."""
        return self.shown(thanks_shown(self.place(id)))

    @operation(
        "thanks_set",
        "Say how to thank you",
        tag=TAG,
        scope=Scope.PLACES_WRITE,
        takes=ThanksIn,
        sends=examples.THANKS,
        answers=ThanksOut,
        example=examples.THANKS,
    )
    def put(self, request: Request, id: int) -> Response:
        """Say by which name you are thanked in public, if by any, and whether the report names you."""
        place = self.place(id)
        self.hold_against(thanks_shown(place))
        credit_choose(place=place, by=self.user, **self.body(ThanksIn))
        return self.shown(thanks_shown(self.place(id)))
