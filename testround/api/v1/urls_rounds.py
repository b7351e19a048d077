"""Addresses of rounds: places, invitations, calls, offers, candidates, and a tester's own places."""

from __future__ import annotations

from django.urls import path

from testround.api.v1 import (
    call_pictures,
    calls,
    candidates,
    courses,
    invitations,
    offers,
    outlook,
    places,
    proposals,
    round_places,
    round_yarns,
    rounds,
    standings,
    vacancies,
    worksheets,
)

urlpatterns = [
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
    # the call, offers, candidates
    path("rounds/<str:code>/call", calls.CallOfRound.as_view(), name="call_of_round"),
    path("rounds/<str:code>/call/standing", calls.CallStandingOfRound.as_view(), name="call_standing"),
    path("rounds/<str:code>/call/open", calls.CallOpened.as_view(), name="call_open"),
    path("rounds/<str:code>/call/close", calls.CallClosed.as_view(), name="call_close"),
    path("rounds/<str:code>/call/address", calls.CallAddress.as_view(), name="call_address"),
    path("calls/<str:call>", calls.OneCall.as_view(), name="call"),
    path("calls/<str:call>/offers", offers.CallOffers.as_view(), name="offers"),
    path("offers/<str:secret>", offers.OneOffer.as_view(), name="offer"),
    path("offers/<str:secret>/confirm", offers.OfferConfirmed.as_view(), name="offer_confirm"),
    path("offers/<str:secret>/withdraw", offers.OfferWithdrawn.as_view(), name="offer_withdraw"),
    path("rounds/<str:code>/candidates", candidates.Candidates.as_view(), name="candidates"),
    path("rounds/<str:code>/candidates/<int:id>", candidates.OneCandidate.as_view(), name="candidate"),
    path(
        "rounds/<str:code>/candidates/<int:id>/take-back",
        candidates.CandidateTakenBack.as_view(),
        name="candidate_take_back",
    ),
    # supplied yarns, how a round stands, friendly words
    path("rounds/<str:code>/yarns", round_yarns.Yarns.as_view(), name="supplied_yarns"),
    path("rounds/<str:code>/yarns/<str:key>", round_yarns.OneYarn.as_view(), name="supplied_yarn"),
    path("rounds/<str:code>/standing", standings.RoundStanding.as_view(), name="standing"),
    path("rounds/<str:code>/nudges", standings.Nudges.as_view(), name="nudges"),
    path("rounds/<str:code>/places/<int:id>/nudge", standings.Nudge.as_view(), name="nudge"),
    # a tester's own places
    path("places", places.Places.as_view(), name="places"),
    path("places/<int:id>", places.OnePlace.as_view(), name="place"),
    path("places/<int:id>/give-back", places.PlaceGivenBack.as_view(), name="place_give_back"),
    path("places/<int:id>/until", places.PlaceNeedsUntil.as_view(), name="place_until"),
    path("places/<int:id>/time", outlook.PlaceTimeLeft.as_view(), name="place_time"),
    path("places/<int:id>/news", outlook.PlaceNews.as_view(), name="place_news"),
    path("places/<int:id>/worksheet", worksheets.PlaceWorksheet.as_view(), name="worksheet"),
    path("places/<int:id>/worksheet.pdf", worksheets.WorksheetOnPaper.as_view(), name="worksheet_pdf"),
    # who makes what
    path("rounds/<str:code>/proposal", proposals.Proposal.as_view(), name="proposal"),
    path("rounds/<str:code>/proposal/limits", proposals.ProposalKept.as_view(), name="proposal_limits"),
    path("rounds/<str:code>/proposal/accept", proposals.ProposalAccepted.as_view(), name="proposal_accept"),
    path("rounds/<str:code>/vacancies", vacancies.Vacancies.as_view(), name="vacancies"),
    path(
        "rounds/<str:code>/vacancies/<int:id>/invite",
        vacancies.VacancyInvited.as_view(),
        name="vacancy_invite",
    ),
    path("rounds/<str:code>/vacancies/<int:id>/leave", vacancies.VacancyLeft.as_view(), name="vacancy_leave"),
    # whether it is on course, its mails, the pictures of its call
    path("rounds/<str:code>/course", courses.Course.as_view(), name="course"),
    path("rounds/<str:code>/mails", courses.RoundMails.as_view(), name="mails"),
    path("rounds/<str:code>/mails/<int:id>/again", courses.RoundMailAgain.as_view(), name="mail_again"),
    path("rounds/<str:code>/mails/<int:id>/leave", courses.RoundMailLeft.as_view(), name="mail_leave"),
    path("rounds/<str:code>/call/pictures", call_pictures.Pictures.as_view(), name="pictures"),
    path(
        "rounds/<str:code>/call/pictures/<uuid:picture>",
        call_pictures.OnePicture.as_view(),
        name="picture",
    ),
]
