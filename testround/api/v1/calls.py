"""The call for testers, from both sides: written, opened and closed by who runs the round, and read by everybody."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import Http404
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.fields import Input
from testround.api.problems import CONFLICT, GONE, ApiProblem
from testround.api.scopes import Scope
from testround.api.v1.examples import calls as examples
from testround.api.v1.parts import Day, SuppliedYarnOut, pointing, round_here
from testround.kernel.round import Craft
from testround.patterns.access import Right
from testround.rounds import services
from testround.rounds.models import PHOTO_USES, Round
from testround.rounds.selectors.call import CallPage, call_counts, call_page
from testround.rounds.services.call import CallState, call_state, sizes_sought

TAG = "The call for testers"
LONGEST_TEXT = 10_000
CALL_STATES = [(one.value, one.value) for one in CallState]
MOST_OFFERS = 5000
CHANGED_BY_HAND = ("asked", "given", "terms", "photo_uses", "for_child", "offers_wanted")
PATHS = {"call_opens": "opens", "call_closes": "closes"}
USES_SAID = "What you would like to do with photos; each becomes a question of its own."


class PhotoUses(serializers.ListField):
    """What may be done with photos of the work."""

    child = serializers.ChoiceField(choices=list(PHOTO_USES.items()))


class CallOut(serializers.Serializer):
    """What the call says. Nobody sees it before it is opened."""

    code = serializers.CharField(
        source="call_code",
        allow_null=True,
        help_text="Names it for everybody, in addresses; null until it is written.",
    )
    url = serializers.SerializerMethodField(help_text="The page to share; empty until it is written.")
    opens = serializers.DateField(
        source="call_opens", allow_null=True, help_text="Opens on this day; null: when you open it."
    )
    closes = serializers.DateField(
        source="call_closes", allow_null=True, help_text="Who offers later waits; null: until it is full."
    )
    closed_at = serializers.DateTimeField(
        source="call_closed_at", allow_null=True, help_text="When it ended before it was full."
    )
    asked = serializers.CharField(help_text="What is asked of testers, and by when.")
    given = serializers.CharField(help_text="What testers get.")
    terms = serializers.CharField(help_text="The terms of the round.")
    photo_uses = PhotoUses(help_text=USES_SAID)
    for_child = serializers.BooleanField(help_text="A children's garment: an adult offers for the child.")
    offers_wanted = serializers.IntegerField(
        allow_null=True, help_text="It is full with so many offers; null for three for every place."
    )

    def get_url(self, round: Round) -> str:
        if round.call_code is None:
            return ""
        return f"{settings.SITE_URL}{reverse('rounds:call', args=[round.call_code])}"


class CallChange(Input):
    """What is to be written of the call; what is left out stays."""

    opens = Day(required=False, allow_null=True)
    closes = Day(required=False, allow_null=True)
    asked = serializers.CharField(
        max_length=LONGEST_TEXT, required=False, help_text="What is asked of testers, and by when."
    )
    given = serializers.CharField(
        max_length=LONGEST_TEXT, required=False, allow_blank=True, help_text="What testers get."
    )
    terms = serializers.CharField(
        max_length=LONGEST_TEXT, required=False, allow_blank=True, help_text="The terms of the round."
    )
    photo_uses = PhotoUses(required=False, max_length=len(PHOTO_USES), help_text=USES_SAID)
    for_child = serializers.BooleanField(required=False)
    offers_wanted = serializers.IntegerField(
        required=False, allow_null=True, min_value=1, max_value=MOST_OFFERS
    )


class CallStanding(serializers.Serializer):
    """How the call stands today, and how many offered."""

    state = serializers.ChoiceField(choices=CALL_STATES)
    unconfirmed = serializers.IntegerField(help_text="Offers whose address nobody confirmed yet.")
    confirmed = serializers.IntegerField(help_text="Offers that count, those with a place among them.")
    waiting = serializers.IntegerField(help_text="Offers that came when it was full or over.")
    withdrawn = serializers.IntegerField()
    wanted = serializers.IntegerField(help_text="With so many that count it is full.")


class CallLine(serializers.Serializer):
    """A measurement, in cm by size."""

    label = serializers.CharField()
    how = serializers.CharField(help_text="How it is taken.")
    values = serializers.ListField(
        child=serializers.FloatField(allow_null=True), help_text="In the order of `sizes`."
    )


class CallBodyLine(CallLine):
    """A body measurement, in cm by size."""

    key = serializers.CharField(help_text="Names it in an offer.")


class CallBring(serializers.Serializer):
    """How much yarn a piece takes."""

    size = serializers.CharField(allow_null=True, help_text="Null: of a square metre.")
    metres = serializers.FloatField()


class CallPicture(serializers.Serializer):
    """A picture of the piece."""

    url = serializers.CharField()
    width = serializers.IntegerField()
    height = serializers.IntegerField()
    shows = serializers.CharField(help_text="What it shows, in words.")


class CallShown(serializers.Serializer):
    """What somebody reads who thinks about offering."""

    code = serializers.CharField(help_text="Names the call in addresses.")
    state = serializers.ChoiceField(
        choices=CALL_STATES,
        help_text="Open; or full or late, where an offer waits.",
    )
    pattern = serializers.CharField()
    edition = serializers.CharField()
    craft = serializers.ChoiceField(choices=[(one.value, one.value) for one in Craft])
    designer = serializers.CharField()
    opens = serializers.DateField(allow_null=True, help_text="Of the round.")
    swatches_due = serializers.DateField(allow_null=True)
    closes = serializers.DateField(allow_null=True, help_text="Finished measurements are due.")
    purge_on = serializers.DateField(allow_null=True, help_text="When what is private is deleted.")
    asked = serializers.CharField()
    given = serializers.CharField()
    terms = serializers.CharField()
    photo_uses = PhotoUses(help_text="What the designer would like to do with photos; each is up to you.")
    for_child = serializers.BooleanField()
    sizes = serializers.ListField(child=serializers.CharField(), help_text="None where made to measure.")
    sought = serializers.ListField(
        child=serializers.CharField(), help_text="Sizes that testers are looked for in."
    )
    body = CallBodyLine(many=True)
    finished = CallLine(many=True)
    yarns = SuppliedYarnOut(many=True, help_text="Those that the designer supplies.")
    bring = CallBring(many=True, help_text="How much of your own yarn a piece takes.")
    pictures = CallPicture(many=True)
    cautions = serializers.ListField(child=serializers.CharField(), help_text="Pointers to safety.")


def represent(round: Round) -> dict[str, Any]:
    return CallOut(round).data


def shown(round: Round, page: CallPage) -> dict[str, Any]:
    """The call as its page has it."""
    found: dict[str, Any] = CallShown(
        {
            **{name: getattr(round, name) for name in _OF_ROUND},
            "code": round.call_code,
            "state": str(page.state),
            "pattern": round.edition.pattern.title,
            "edition": round.edition.label,
            "craft": page.document.craft,
            "designer": str(round.edition.pattern.owner),
            "sizes": page.sizes,
            "sought": sizes_sought(round),
            "body": [
                {"key": measure.key, "label": line.label, "how": line.how, "values": line.values}
                for measure, line in zip(page.document.measures, page.body, strict=True)
            ],
            "finished": page.finished,
            "yarns": page.yarns,
            "bring": page.bring,
            "pictures": [
                {
                    "url": f"{settings.SITE_URL}{one.url}",
                    "width": one.width,
                    "height": one.height,
                    "shows": one.shows,
                }
                for one in page.pictures
            ],
            "cautions": [caution.sentence for caution in page.cautions],
        }
    ).data
    return found


_OF_ROUND = (
    "opens",
    "swatches_due",
    "closes",
    "purge_on",
    "asked",
    "given",
    "terms",
    "photo_uses",
    "for_child",
)


def called(code: str) -> tuple[Round, CallPage]:
    """The round that calls under a code, and its page. Raises Http404 until it was opened, and once it is over."""
    round = get_object_or_404(Round.objects.select_related("edition__pattern__owner"), call_code=code)
    page = call_page(round)
    if page.state == CallState.UNOPENED:
        raise Http404
    if page.state == CallState.ENDED:
        raise ApiProblem(GONE, _("This call has ended and takes no more offers."))
    return round, page


class CallOfRound(Endpoint):
    @operation(
        "calls_retrieve",
        "A round's call",
        tag=TAG,
        scope=Scope.ROUNDS_READ,
        answers=CallOut,
        example=examples.CALL,
    )
    def get(self, request: Request, code: str) -> Response:
        """What the call for testers of a round that you run says."""
        return self.shown(represent(round_here(self, code, Right.EDIT)))

    @operation(
        "calls_edit",
        "Write a round's call",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        takes=CallChange,
        sends=examples.CALL_SENT,
        answers=CallOut,
        example=examples.CALL,
        refusals=[CONFLICT],
    )
    def patch(self, request: Request, code: str) -> Response:
        """Write the call, or change it; it gets its address by this. Owners and editors may.

        A later last day opens again a call that its last day had closed, and more offers wanted let those count
        who wait longest.
        """
        round = round_here(self, code, Right.EDIT)
        self.hold_against(represent(round))
        sent = self.body(CallChange)
        values = {name: sent.get(name, getattr(round, name)) for name in CHANGED_BY_HAND}
        with pointing(**PATHS):
            changed = services.call_edit(
                round=round,
                by=self.user,
                call_opens=sent.get("opens", round.call_opens),
                call_closes=sent.get("closes", round.call_closes),
                **values,
            )
        return self.shown(represent(changed))


class CallStandingOfRound(Endpoint):
    @operation(
        "calls_standing",
        "How a round's call stands",
        tag=TAG,
        scope=Scope.ROUNDS_READ,
        answers=CallStanding,
        example=examples.STANDING,
    )
    def get(self, request: Request, code: str) -> Response:
        """Whether the call is open today, and how many have offered."""
        round = round_here(self, code, Right.EDIT)
        counts = call_counts(round)
        state = str(call_state(round, confirmed=counts.confirmed))
        return self.shown(
            CallStanding(
                {
                    "state": state,
                    "unconfirmed": counts.unconfirmed,
                    "confirmed": counts.confirmed,
                    "waiting": counts.waiting,
                    "withdrawn": counts.withdrawn,
                    "wanted": counts.wanted,
                }
            ).data
        )


class CallOpened(Endpoint):
    @operation(
        "calls_open",
        "Open the call",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        answers=CallOut,
        example=examples.CALL,
        refusals=[CONFLICT],
    )
    def post(self, request: Request, code: str) -> Response:
        """Open the call now, or again: the round gathers from here on. The owner alone may."""
        return _pressed(self, code, services.call_open)


class CallClosed(Endpoint):
    @operation(
        "calls_close",
        "Close the call",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        answers=CallOut,
        example={**examples.CALL, "closed_at": "2026-03-25T12:00:00Z"},
        refusals=[CONFLICT],
    )
    def post(self, request: Request, code: str) -> Response:
        """Close the call before its last day. Offers that come after this wait. The owner alone may."""
        return _pressed(self, code, services.call_close)


class CallAddress(Endpoint):
    @operation(
        "calls_renew",
        "Give the call another address",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        answers=CallOut,
        example=examples.CALL,
        refusals=[CONFLICT],
    )
    def post(self, request: Request, code: str) -> Response:
        """Give the call another address; the one that went round leads nowhere from then on. The owner alone may."""
        return _pressed(self, code, services.call_address_renew)


def _pressed(at: Endpoint, code: str, service: Any) -> Response:
    round = round_here(at, code, Right.INVITE)
    with pointing():
        return at.shown(represent(service(round=round, by=at.user)))


class OneCall(Endpoint):
    @operation(
        "calls_read",
        "A call, for everybody",
        tag=TAG,
        scope=None,
        answers=CallShown,
        example=examples.SHOWN,
        refusals=[GONE],
    )
    def get(self, request: Request, call: str) -> Response:
        """The piece, what is asked and given, and the terms, for whoever has the call's address. No token is needed."""
        return self.shown(shown(*called(call)))
