"""Who has a part in a pattern beside its owner: invited by mail, held until either side ends it."""

from __future__ import annotations

import uuid
from typing import Any

import django_filters as df
from django.http import Http404
from django.shortcuts import get_object_or_404
from django.urls import reverse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.fields import Input
from testround.api.problems import GONE, NOT_FOUND, means
from testround.api.scopes import Scope
from testround.api.v1.examples import people as examples
from testround.patterns.access import Role
from testround.patterns.models import Membership
from testround.patterns.selectors import patterns_of
from testround.rounds.refusals import InvitationEnded, UnknownInvitation
from testround.rounds.selectors.members import memberships_open_to
from testround.rounds.services.people import member_invite, membership_accept, membership_end

TAG = "People"
means(GONE, InvitationEnded)


class MembershipOut(serializers.Serializer):
    """A part in a pattern and all its rounds, or an invitation to one."""

    id = serializers.IntegerField()
    pattern = serializers.CharField(source="pattern.code", help_text="The pattern's code.")
    role = serializers.ChoiceField(choices=Role.choices)
    email = serializers.EmailField(help_text="Where the link was mailed to; nobody else can use it.")
    name = serializers.SerializerMethodField(help_text="Who holds it; null while nobody does.")
    invited_at = serializers.DateTimeField()
    expires = serializers.DateTimeField(help_text="Until when the link can be used.")
    joined_at = serializers.DateTimeField(allow_null=True)
    ended_at = serializers.DateTimeField(allow_null=True)

    def get_name(self, membership: Membership) -> str | None:
        return str(membership.user) if membership.user else None


class MembershipIn(Input):
    email = serializers.EmailField(
        max_length=254, help_text="The link goes there, and nobody else can use it."
    )
    role = serializers.ChoiceField(
        choices=Role.choices,
        help_text="An owner takes the pattern over; its owner until then becomes editor.",
    )


class MembershipLink(Input):
    secret = serializers.CharField(max_length=200, help_text="The last part of the address in the mail.")


class MembershipFilters(df.FilterSet):
    ended = df.BooleanFilter("ended_at", "isnull", exclude=True, label="Whether it has ended.")
    joined = df.BooleanFilter("joined_at", "isnull", exclude=True, label="Whether somebody has taken it.")


def represent(membership: Membership) -> dict[str, Any]:
    return MembershipOut(membership).data


class Memberships(Endpoint):
    @operation(
        "memberships_list",
        "Who has a part in a pattern",
        tag=TAG,
        scope=Scope.PATTERNS_READ,
        answers=MembershipOut(many=True),
        example=examples.MEMBERSHIP,
        filters=MembershipFilters,
    )
    def get(self, request: Request, code: str) -> Response:
        """Parts beside the owner's, invitations to one, and those that have ended. Owner and editors read it."""
        pattern = get_object_or_404(patterns_of(self.user), code=code)
        rows = pattern.memberships.select_related("user", "pattern")
        return self.paged(rows, represent, MembershipFilters)

    @operation(
        "memberships_invite",
        "Invite somebody to a part",
        tag=TAG,
        scope=Scope.PEOPLE_WRITE,
        takes=MembershipIn,
        sends={"email": "moss@example.org", "role": "editor"},
        answers=MembershipOut,
        example=examples.MEMBERSHIP,
        status=201,
    )
    def post(self, request: Request, code: str) -> Response:
        """Mail a link that works once, for two weeks, and for that address alone. The owner alone may.

        An earlier link to that address ends.
        """
        pattern = self.here(patterns_of(self.user), code=code)
        sent = self.body(MembershipIn)
        made = member_invite(
            pattern=pattern, email=sent["email"], role=sent["role"], key=uuid.uuid4(), by=self.user
        )
        return self.made(represent(made), reverse("api:membership", args=[code, made.pk]))


class OneMembership(Endpoint):
    def membership(self, code: str, pk: int) -> Any:
        return self.here(memberships_open_to(self.user), pattern__code=code, pk=pk)

    @operation(
        "memberships_retrieve",
        "One part in a pattern",
        tag=TAG,
        scope=Scope.PATTERNS_READ,
        answers=MembershipOut,
        example=examples.MEMBERSHIP,
    )
    def get(self, request: Request, code: str, id: int) -> Response:
        """A part in a pattern that you own or edit, or one of your own."""
        return self.shown(represent(self.membership(code, id)))

    @operation("memberships_end", "End a part", tag=TAG, scope=Scope.PEOPLE_WRITE, status=204)
    def delete(self, request: Request, code: str, id: int) -> Response:
        """End a part, or withdraw an invitation to one. The owner may, and everybody their own."""
        membership = self.membership(code, id)
        self.hold_against(represent(membership))
        membership_end(membership=membership, by=self.user)
        return self.gone()


class MembershipsAccept(Endpoint):
    @operation(
        "memberships_accept",
        "Take a part that a link offers",
        tag=TAG,
        scope=Scope.PEOPLE_WRITE,
        takes=MembershipLink,
        sends={"secret": "QmFja3N0aXRjaC1hbmQtc2xpcC1zdGl0Y2g"},
        answers=MembershipOut,
        example=examples.HELD,
        refusals=[GONE, NOT_FOUND],
    )
    def post(self, request: Request) -> Response:
        """Take the part in a pattern to which a mail to your address invites you. It is yours from then on."""
        try:
            held = membership_accept(secret=self.body(MembershipLink)["secret"], user=self.user)
        except UnknownInvitation:
            raise Http404 from None
        return self.shown(represent(held))
