"""Invitations to a place: made and withdrawn by the owner, and what whoever has the link does with it."""

from __future__ import annotations

from typing import Any

from django.http import Http404
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_variables
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.fields import Input
from testround.api.problems import CONFLICT, GONE, NOT_ALLOWED, NOT_FOUND, means
from testround.api.scopes import Scope
from testround.api.v1.examples import invitations as examples
from testround.api.v1.parts import Day, pointing
from testround.api.v1.round_places import PlaceCause, PlaceEndpoint
from testround.kernel.round import Craft
from testround.patterns.access import Right
from testround.people.models import User
from testround.rounds import services
from testround.rounds.forms.fields import LONGEST_ADDRESS
from testround.rounds.models import Invitation, Place
from testround.rounds.refusals import InvitationEnded, UnknownInvitation
from testround.rounds.selectors import invitation_page

TAG = "Invitations"
means(GONE, InvitationEnded)
means(NOT_FOUND, UnknownInvitation)


class InvitationOut(serializers.Serializer):
    """The open invitation to a place. Its secret was told when it was made, and is not kept."""

    place = serializers.IntegerField(source="place_id", help_text="Id of the place.")
    email = serializers.CharField(help_text="Where the link was mailed; empty where it was not.")
    created = serializers.DateTimeField()
    expires = serializers.DateTimeField()


class InvitationMade(InvitationOut):
    """An invitation as it is told once."""

    secret = serializers.CharField(help_text="Names it in addresses; whoever has it may take the place.")
    url = serializers.CharField(help_text="The page on which the place is taken, to pass on.")


class InvitationIn(Input):
    """Where the link goes, and until when the offer stands."""

    email = serializers.EmailField(
        max_length=LONGEST_ADDRESS,
        required=False,
        allow_blank=True,
        help_text="The link is mailed there. Left out, pass it on yourself.",
    )
    until = Day(
        required=False,
        allow_null=True,
        help_text="A new last day of an offer that has one, as those of an accepted proposal have.",
    )


class InvitationShown(serializers.Serializer):
    """What a place is, and the terms: all before anything is asked or kept."""

    pattern = serializers.CharField(source="place.round.edition.pattern.title")
    edition = serializers.CharField(source="place.round.edition.label")
    craft = serializers.ChoiceField(choices=[(one.value, one.value) for one in Craft])
    round = serializers.CharField(source="place.round.title")
    designer = serializers.CharField(source="place.round.edition.pattern.owner")
    name = serializers.CharField(source="place.name", help_text="How you are called so far.")
    size = serializers.CharField(
        source="place.size", allow_null=True, help_text="Null where it is made to your own measurements."
    )
    yarn = serializers.CharField(
        source="place.yarn_label", allow_null=True, help_text="Null for your own choice."
    )
    opens = serializers.DateField(source="place.round.opens", allow_null=True)
    swatches_due = serializers.DateField(source="place.round.swatches_due", allow_null=True)
    closes = serializers.DateField(
        source="place.round.closes", allow_null=True, help_text="Finished measurements are due."
    )
    purge_on = serializers.DateField(
        source="place.round.purge_on", allow_null=True, help_text="When what is private is deleted."
    )
    expires = serializers.DateTimeField(help_text="Until when the invitation can be answered.")
    terms = serializers.CharField(source="place.round.terms", help_text="What you would agree to.")
    asks_for = serializers.ListField(
        child=serializers.CharField(), help_text="Body measurements that you would be asked for."
    )


class InvitationAccept(Input):
    """A yes to the terms."""

    agree = serializers.BooleanField(help_text="True: you have read the terms and take the place.")
    name = serializers.CharField(
        max_length=120, required=False, help_text="What you are called in this round; left out, your name."
    )

    def validate_agree(self, agree: bool) -> bool:
        if not agree:
            raise serializers.ValidationError(
                _("Say yes to the terms to take the place. If you would rather not, decline it.")
            )
        return agree


class InvitationJoin(InvitationAccept):
    """A yes to the terms of somebody who has no account yet."""

    name = serializers.CharField(max_length=120, help_text="What to call you. The designer sees it.")
    email = serializers.EmailField(
        max_length=LONGEST_ADDRESS, help_text="For your way back in, and mails about this round."
    )
    units = serializers.ChoiceField(
        choices=User.Units.choices, required=False, help_text="In which pages show you lengths."
    )
    tools = serializers.ChoiceField(
        choices=User.Tools.choices, required=False, help_text="In which pages show you hooks and needles."
    )
    terms = serializers.ChoiceField(
        choices=User.Terms.choices,
        required=False,
        help_text="In which pages show you stitches; left out, those of the edition.",
    )


class InvitationTaken(serializers.Serializer):
    """The place that is yours."""

    place = serializers.IntegerField(source="pk", help_text="Its id.")
    name = serializers.CharField()
    size = serializers.CharField(allow_null=True)
    state = serializers.ChoiceField(choices=Place.State.choices)


class InvitationDeclined(serializers.Serializer):
    declined = serializers.BooleanField()


def represent(invitation: Invitation) -> dict[str, Any]:
    return InvitationOut(invitation).data


class InvitationOfPlace(PlaceEndpoint):
    """The one open invitation that a place can have."""

    def open_one(self, code: str, id: int) -> tuple[Place, Invitation]:
        place = self.place(code, id, Right.INVITE)
        invitation = invitation_page(place).open
        if invitation is None:
            raise Http404
        return place, invitation

    @operation(
        "invitations_retrieve",
        "The open invitation to a place",
        tag=TAG,
        scope=Scope.ROUNDS_READ,
        answers=InvitationOut,
        example=examples.OPEN,
        refusals=[NOT_ALLOWED],
    )
    def get(self, request: Request, code: str, id: int) -> Response:
        """The link by which a place can be taken, without its secret; 404 where none is open. The owner alone may."""
        return self.shown(represent(self.open_one(code, id)[1]))

    @operation(
        "invitations_create",
        "Invite somebody to a place",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        takes=InvitationIn,
        sends={"email": "juniper@example.org"},
        answers=InvitationMade,
        example=examples.MADE,
        status=201,
        refusals=[CONFLICT],
    )
    @sensitive_variables("url", "secret")
    def post(self, request: Request, code: str, id: int) -> Response:
        """Make a link by which one person can take the place; an earlier link to it ends. The owner alone may.

        `secret` and `url` are told this once, and again only where this same request is sent again with its key
        and token.
        """
        place = self.place(code, id, Right.INVITE)
        sent = self.body(InvitationIn)
        with pointing():
            invitation, url = services.invitation_create(
                place=place, email=sent.get("email", ""), until=sent.get("until"), by=self.user
            )
        secret = url.rstrip("/").rpartition("/")[2]
        made = {**represent(invitation), "secret": secret, "url": url}
        return self.told(self.made(made, reverse("api:invitation_of_place", args=[code, id])))

    @operation(
        "invitations_withdraw",
        "Withdraw an invitation",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        status=204,
    )
    def delete(self, request: Request, code: str, id: int) -> Response:
        """End the open link to a place. The owner alone may."""
        place, invitation = self.open_one(code, id)
        self.hold_against(represent(invitation))
        services.invitation_withdraw(place=place, by=self.user)
        return self.gone()


class OneInvitation(Endpoint):
    """An invitation by its secret, for whoever has it."""

    @operation(
        "invitations_read",
        "What an invitation is to",
        tag=TAG,
        scope=None,
        answers=InvitationShown,
        example=examples.SHOWN,
        refusals=[GONE],
    )
    @sensitive_variables("secret")
    def get(self, request: Request, secret: str) -> Response:
        """What the piece is, the dates and the terms, for whoever has the secret of the link. No token is needed."""
        invitation = services.invitation_of_secret(secret)
        services.invitation_check(invitation)
        document = invitation.place.round.edition.document
        invitation.craft = document.craft
        # In a size the pattern's own measures do.
        invitation.asks_for = (
            [] if invitation.place.size else [measure.label for measure in document.measures]
        )
        response = self.shown(InvitationShown(invitation).data)
        response.headers["Cache-Control"] = "no-store"
        return response


class InvitationAccepted(Endpoint):
    @operation(
        "invitations_accept",
        "Take a place",
        tag=TAG,
        scope=Scope.PLACES_WRITE,
        takes=InvitationAccept,
        sends={"agree": True},
        answers=InvitationTaken,
        example=examples.TAKEN,
        refusals=[CONFLICT, GONE],
    )
    @sensitive_variables("secret")
    def post(self, request: Request, secret: str) -> Response:
        """Say yes to the terms, and hold the place from now on. Whoever has the secret of the link may.

        Taken once more by the same person it is the same place.
        """
        sent = self.body(InvitationAccept)
        with pointing():
            place = services.invitation_accept(
                secret=secret, user=self.user, name=sent.get("name", self.user.name)
            )
        return self.shown(InvitationTaken(place).data)


class InvitationJoined(Endpoint):
    @operation(
        "invitations_join",
        "Take a place without an account",
        tag=TAG,
        scope=None,
        takes=InvitationJoin,
        sends=examples.JOIN,
        answers=InvitationTaken,
        example=examples.TAKEN,
        refusals=[CONFLICT, GONE],
    )
    @sensitive_variables("secret")
    def post(self, request: Request, secret: str) -> Response:
        """Say yes to the terms as somebody who has no account yet: it is made on the way. No token is needed.

        A mail tells how to sign in. Somebody who has an account takes the place with a token of theirs.
        """
        sent = self.body(InvitationJoin)
        invitation = services.invitation_of_secret(secret)
        # As they measured when they offered.
        offer = invitation.place.candidate
        with pointing():
            place = services.person_join(
                secret=secret,
                name=sent["name"],
                email=sent["email"].lower(),
                units=sent.get("units", offer.units if offer else User.Units.CENTIMETRES),
                tools=sent.get("tools", User.Tools.METRIC),
                terms=sent.get("terms", invitation.place.round.edition.terms),
            )[1]
        return self.shown(InvitationTaken(place).data)


class InvitationNo(Endpoint):
    @operation(
        "invitations_decline",
        "Say no to a place",
        tag=TAG,
        scope=None,
        takes=PlaceCause,
        sends={"cause": "no time this spring"},
        answers=InvitationDeclined,
        example={"declined": True},
        refusals=[GONE],
    )
    @sensitive_variables("secret")
    def post(self, request: Request, secret: str) -> Response:
        """Say no, thank you: somebody else can have the place, and the designer is told. No token is needed."""
        sent = self.body(PlaceCause)
        services.invitation_decline(secret=secret, cause=sent.get("cause", ""))
        return self.shown({"declined": True})
