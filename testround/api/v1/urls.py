"""The addresses of version 1, in the order in which the documentation has them."""

from __future__ import annotations

from django.urls import path

from testround.api.v1 import invitations, patterns, round_places, rounds

urlpatterns = [
    path("patterns", patterns.Patterns.as_view(), name="patterns"),
    path("patterns/<str:code>", patterns.OnePattern.as_view(), name="pattern"),
    # rounds
    path("rounds", rounds.Rounds.as_view(), name="rounds"),
    path("rounds/<str:code>", rounds.OneRound.as_view(), name="round"),
    path("rounds/<str:code>/move", rounds.RoundMoves.as_view(), name="round_move"),
    path("rounds/<str:code>/diary", rounds.Diary.as_view(), name="diary"),
    # places of a round
    path("rounds/<str:code>/places", round_places.RoundPlaces.as_view(), name="round_places"),
    path("rounds/<str:code>/places/<int:id>", round_places.OneRoundPlace.as_view(), name="round_place"),
    path(
        "rounds/<str:code>/places/<int:id>/give-back",
        round_places.RoundPlaceGivenBack.as_view(),
        name="round_place_give_back",
    ),
    path(
        "rounds/<str:code>/places/<int:id>/count",
        round_places.RoundPlaceCounted.as_view(),
        name="round_place_count",
    ),
    # invitations
    path(
        "rounds/<str:code>/places/<int:id>/invitation",
        invitations.InvitationOfPlace.as_view(),
        name="invitation_of_place",
    ),
    path("invitations/<str:secret>", invitations.OneInvitation.as_view(), name="invitation"),
    path(
        "invitations/<str:secret>/accept", invitations.InvitationAccepted.as_view(), name="invitation_accept"
    ),
    path("invitations/<str:secret>/join", invitations.InvitationJoined.as_view(), name="invitation_join"),
    path("invitations/<str:secret>/decline", invitations.InvitationNo.as_view(), name="invitation_decline"),
]
