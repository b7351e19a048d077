"""Places of a round that fell free, and who in reserve is invited to them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.http import Http404
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_variables
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.fields import Input
from testround.api.paging import MOST_ID
from testround.api.problems import CONFLICT, ApiProblem
from testround.api.scopes import Scope
from testround.api.v1.examples import proposals as examples
from testround.api.v1.parts import keys_by_label, pointing, round_here
from testround.api.v1.round_places import RoundPlaceOut
from testround.api.v1.round_places import represent as represent_place
from testround.kernel.units import LengthUnit
from testround.patterns.access import Right
from testround.people.readers import reader_of
from testround.rounds import services
from testround.rounds.bridge import seated_round
from testround.rounds.models import Round
from testround.rounds.selectors.assignment import VacancyLine, vacancies_of, vacancy_of
from testround.rounds.services.assignment import Offered

TAG = "Who makes what"


class PlaceOffered(serializers.Serializer):
    """A place that was offered to somebody."""

    place = RoundPlaceOut()
    mailed = serializers.BooleanField(help_text="The link is on its way to them.")
    secret = serializers.CharField(
        allow_null=True, help_text="Of the invitation, where they left no address: pass it on yourself."
    )
    url = serializers.CharField(allow_null=True, help_text="The page on which the place is taken.")


class VacancyOut(serializers.Serializer):
    """A place that fell free, and who is next for it."""

    id = serializers.IntegerField(source="vacancy.pk")
    place = serializers.IntegerField(source="vacancy.place_id", help_text="Id of the place that fell free.")
    name = serializers.CharField(source="vacancy.place.name", help_text="Who gave it back.")
    candidate = serializers.IntegerField(
        source="candidate.pk", default=None, allow_null=True, help_text="Id of who is next; null: nobody."
    )
    next = serializers.CharField(source="candidate.name", default=None, allow_null=True)
    size = serializers.CharField(source="vacancy.size", allow_null=True, help_text="What they would make.")
    yarn = serializers.CharField(
        source="vacancy.yarn", allow_null=True, help_text="Key of a supplied yarn; null for their own."
    )
    why = serializers.CharField()


class VacanciesOut(serializers.Serializer):
    vacancies = VacancyOut(many=True)


class VacancyInvite(Input):
    candidate = serializers.IntegerField(
        min_value=1, max_value=MOST_ID, help_text="Id of who is next, as it was read: nobody else is invited."
    )


def offer_told(offered: Offered, supplied: Mapping[str, str]) -> dict[str, Any]:
    """A place that was offered, with its link where nobody mailed it."""
    url = None if offered.mailed else offered.url
    return {
        "place": represent_place(offered.place, supplied),
        "mailed": offered.mailed,
        "secret": url and url.rstrip("/").rpartition("/")[2],
        "url": url,
    }


def free_places(round: Round, units: LengthUnit) -> dict[str, Any]:
    lines: list[VacancyLine] = vacancies_of(round, seated_round(round), units)
    found: dict[str, Any] = VacanciesOut({"vacancies": lines}).data
    return found


class Vacancies(Endpoint):
    @operation(
        "vacancies_retrieve",
        "Places that fell free",
        tag=TAG,
        scope=Scope.ROUNDS_READ,
        answers=VacanciesOut,
        example={"vacancies": [examples.VACANCY]},
    )
    def get(self, request: Request, code: str) -> Response:
        """The places that nobody has filled or left, and who in reserve is next for each."""
        return self.shown(free_places(round_here(self, code, Right.SEE), reader_of(self.user).units))

    @operation(
        "vacancies_look",
        "Look again who is next",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        answers=VacanciesOut,
        example={"vacancies": [examples.VACANCY]},
    )
    def post(self, request: Request, code: str) -> Response:
        """Find who is next for each place that fell free; where the round invites by itself, they are invited."""
        round = round_here(self, code, Right.EDIT)
        services.reserve_look(round=round)
        return self.shown(free_places(round, reader_of(self.user).units))


class VacancyInvited(Endpoint):
    @operation(
        "vacancies_invite",
        "Invite who is next",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        takes=VacancyInvite,
        sends={"candidate": 19},
        answers=PlaceOffered,
        example=examples.INVITED,
        refusals=[CONFLICT],
    )
    @sensitive_variables("url")
    def post(self, request: Request, code: str, id: int) -> Response:
        """Offer a place that fell free to the candidate who is next for it. The owner alone may."""
        round = round_here(self, code, Right.INVITE)
        vacancy = vacancy_of(round, id)
        if vacancy is None:
            raise Http404
        candidate = round.candidates.filter(pk=self.body(VacancyInvite)["candidate"]).first()
        with pointing():
            place, url = services.vacancy_invite(vacancy=vacancy, candidate=candidate, by=self.user)
        # A second press gets the same place and no link: the first one is on its way.
        mailed = not url or bool(candidate and candidate.email)
        return self.told(self.shown(offer_told(Offered(place, url, mailed), keys_by_label(round))))


class VacancyLeft(Endpoint):
    @operation(
        "vacancies_leave",
        "Leave a place free",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        status=204,
        refusals=[CONFLICT],
    )
    def post(self, request: Request, code: str, id: int) -> Response:
        """Invite nobody to a place that fell free. The owner alone may."""
        round = round_here(self, code, Right.INVITE)
        vacancy = vacancy_of(round, id)
        if vacancy is None:
            raise Http404
        if not services.vacancy_leave(vacancy=vacancy, by=self.user):
            raise ApiProblem(CONFLICT, _("That place was settled already."))
        return self.gone()
