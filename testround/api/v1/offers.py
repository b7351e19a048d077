"""Offers to test, by whoever makes them: by the call's address, and then by the secret in the mail."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_variables
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.fields import Input
from testround.api.problems import CONFLICT, GONE, NOT_FOUND, TOO_MANY, ApiProblem, means
from testround.api.v1.calls import PhotoUses, called
from testround.api.v1.examples import calls as examples
from testround.api.v1.parts import Measures, pointing
from testround.api.v1.round_places import KEEP_SAID, doubts_checked
from testround.kernel.problems import InputProblems, Problem
from testround.kernel.words import commas
from testround.people.models import User
from testround.rounds import services
from testround.rounds.forms.call import MOST_TESTS, WISHES
from testround.rounds.forms.fields import LONGEST_ADDRESS
from testround.rounds.models import PHOTO_USES, Candidate, OfferLink, Round
from testround.rounds.refusals import OfferEnded, UnknownOffer
from testround.rounds.services.call import sizes_sought
from testround.rounds.services.offers import Offer
from testround.rounds.throttle import offer_counted

TAG = "Offers to test"
MOST_YARNS = 100
PATHS = {"measure_": "measures.", "wish_1": "wishes", "wish_2": "wishes"}
means(GONE, OfferEnded)
means(NOT_FOUND, UnknownOffer)


class OfferOut(serializers.Serializer):
    """What somebody offered."""

    state = serializers.ChoiceField(choices=Candidate.State.choices)
    pattern = serializers.CharField(source="round.edition.pattern.title")
    round = serializers.CharField(source="round.title")
    name = serializers.CharField()
    measures = Measures(help_text="Body measurements in cm.")
    wishes = serializers.ListField(child=serializers.CharField(), help_text="Sizes, the dearest first.")
    yarns = serializers.ListField(child=serializers.CharField(), help_text="Keys of supplied yarns.")
    own_yarn = serializers.BooleanField(help_text="They would bring their own.")
    tests_before = serializers.IntegerField(allow_null=True, help_text="How many patterns they tested.")
    units = serializers.ChoiceField(choices=User.Units.choices)
    terms = serializers.ChoiceField(choices=User.Terms.choices)
    photo_uses = PhotoUses(help_text="What they allow.")


class OfferChange(Input):
    """What is to be changed of an offer; what is left out stays."""

    name = serializers.CharField(max_length=120, required=False, help_text="The designer sees it.")
    measures = Measures(required=False, help_text="Body measurements in cm, by the call's keys.")
    wishes = serializers.ListField(
        child=serializers.CharField(max_length=20),
        max_length=len(WISHES),
        required=False,
        help_text="Sizes, the dearest first.",
    )
    yarns = serializers.ListField(
        child=serializers.CharField(max_length=60),
        max_length=MOST_YARNS,
        required=False,
        help_text="Keys of the supplied yarns that would do.",
    )
    own_yarn = serializers.BooleanField(
        required=False, help_text="You bring your own; so it is where none is supplied."
    )
    tests_before = serializers.IntegerField(
        required=False,
        allow_null=True,
        min_value=0,
        max_value=MOST_TESTS,
        help_text="How many patterns you tested.",
    )
    units = serializers.ChoiceField(
        choices=User.Units.choices, required=False, help_text="In which pages show you lengths."
    )
    terms = serializers.ChoiceField(
        choices=User.Terms.choices, required=False, help_text="In which pages show you stitches."
    )
    photo_uses = PhotoUses(
        required=False, max_length=len(PHOTO_USES), help_text="What you allow, of what the call asks for."
    )
    keep = serializers.BooleanField(required=False, help_text=KEEP_SAID)


class OfferIn(OfferChange):
    """An offer to test."""

    name = serializers.CharField(max_length=120, help_text="The designer sees it.")
    email = serializers.EmailField(
        max_length=LONGEST_ADDRESS, help_text="The offer is confirmed by a secret that is mailed there."
    )
    adult = serializers.BooleanField(help_text="True: you are an adult.")


def offer_read(round: Round, sent: Mapping[str, Any], before: Candidate | None = None) -> Offer:
    """An offer of a body, where it leaves out, as it was before.

    Raises
    ------
    InputProblems
        A size that nobody is looked for in, a use of photos that is not asked for, or a doubtful measurement.
    """
    was: dict[str, Any] = {} if before is None else _answers(before)
    document = round.edition.document
    said = {**was, **sent}
    problems = []
    wishes = tuple(said.get("wishes", ()))
    sought = [*sizes_sought(round), *was.get("wishes", ())]
    for at, size in enumerate(wishes):
        if size in document.sizes and size not in sought:
            sentence = _("No tester is looked for in {size}: choose one of {sizes}.")
            problems.append(
                Problem(f"wishes[{at}]", sentence.format(size=size, sizes=commas(sizes_sought(round))))
            )
    for at, use in enumerate(sent.get("photo_uses", ())):
        if use not in round.photo_uses:
            problems.append(
                Problem(
                    f"photo_uses[{at}]", _("The designer does not ask for that: choose among what is asked.")
                )
            )
    if problems:
        raise InputProblems(problems)
    doubts_checked(
        document, said.get("measures", {}), keep=said.get("keep", False), before=was.get("measures")
    )
    supplies = round.yarns.exists()
    return Offer(
        name=said["name"],
        measures=said.get("measures", {}),
        typed=before.typed if before is not None and "measures" not in sent else {},
        wishes=wishes,
        yarns=tuple(said.get("yarns", ())),
        own_yarn=said.get("own_yarn", not supplies),
        tests_before=said.get("tests_before"),
        units=said.get("units", User.Units.CENTIMETRES),
        terms=said.get("terms", round.edition.terms),
        photo_uses=tuple(said.get("photo_uses", ())),
        adult=said.get("adult", before is not None),
    )


def _answers(candidate: Candidate) -> dict[str, Any]:
    return {
        "name": candidate.name,
        "measures": candidate.measures,
        "wishes": candidate.wishes,
        "yarns": candidate.yarns,
        "own_yarn": candidate.own_yarn,
        "tests_before": candidate.tests_before,
        "units": candidate.units,
        "terms": candidate.terms,
        "photo_uses": [use for use in PHOTO_USES if getattr(candidate, f"photo_{use}")],
    }


def represent(candidate: Candidate) -> dict[str, Any]:
    candidate.photo_uses = [use for use in PHOTO_USES if getattr(candidate, f"photo_{use}")]
    return OfferOut(candidate).data


class CallOffers(Endpoint):
    @operation(
        "offers_make",
        "Offer to test",
        tag=TAG,
        scope=None,
        takes=OfferIn,
        sends=examples.OFFER_SENT,
        status=202,
        refusals=[GONE, CONFLICT],
    )
    def post(self, request: Request, call: str) -> Response:
        """Offer to test, by the address of a call. No token is needed.

        The offer counts once it is confirmed by the secret that is mailed. What is answered does not tell whether
        the address has offered before.
        """
        round, _page = called(call)
        sent = self.body(OfferIn)
        offer = offer_read(round, sent)
        if not offer_counted(request._request, round):
            raise ApiProblem(
                TOO_MANY,
                _("Too many offers came from here within an hour. Wait a little and send it again."),
                headers={"Retry-After": "600"},
            )
        with pointing(**PATHS):
            # That it is done once is seen to by the request's own key.
            services.offer_make(round=round, email=sent["email"], offer=offer, form_key="")
        return Response(status=202)


class OneOffer(Endpoint):
    """An offer by its secret, for whoever has it."""

    def link(self, secret: str) -> OfferLink:
        """The link that leads to it; the round is locked where the offer is changed."""
        link = services.offer_of_secret(secret)
        if self.request.method == "PATCH":
            self.here(Round.objects.all(), pk=link.candidate.round_id)
            link = services.offer_of_secret(secret)
        services.offer_check(link)
        return link

    @operation(
        "offers_read",
        "An offer",
        tag=TAG,
        scope=None,
        answers=OfferOut,
        example=examples.OFFER,
        refusals=[GONE],
    )
    @sensitive_variables("secret")
    def get(self, request: Request, secret: str) -> Response:
        """What was offered, by the secret in the mail. No token is needed."""
        response = self.shown(represent(self.link(secret).candidate))
        response.headers["Cache-Control"] = "no-store"
        return response

    @operation(
        "offers_edit",
        "Change an offer",
        tag=TAG,
        scope=None,
        takes=OfferChange,
        sends={"wishes": ["M"]},
        answers=OfferOut,
        example={**examples.OFFER, "wishes": ["M"]},
        refusals=[GONE, CONFLICT],
    )
    @sensitive_variables("secret")
    def patch(self, request: Request, secret: str) -> Response:
        """Put other answers in the place of those given. The address stays. No token is needed."""
        candidate = self.link(secret).candidate
        self.hold_against(represent(candidate))
        sent = self.body(OfferChange)
        offer = offer_read(candidate.round, sent, candidate)
        with pointing(**PATHS):
            changed = services.offer_change(secret=secret, offer=offer)
        return self.shown(represent(changed))


class OfferConfirmed(Endpoint):
    @operation(
        "offers_confirm",
        "Confirm an offer",
        tag=TAG,
        scope=None,
        answers=OfferOut,
        example=examples.OFFER,
        refusals=[GONE],
    )
    @sensitive_variables("secret", "url")
    def post(self, request: Request, secret: str) -> Response:
        """Let an offer count by the secret that was mailed, or wait where the call is full. No token is needed.

        Another mail brings the secret by which it is changed or taken back.
        """
        candidate, _url = services.offer_confirm(secret=secret)
        return self.shown(represent(candidate))


class OfferWithdrawn(Endpoint):
    @operation(
        "offers_withdraw",
        "Take an offer back",
        tag=TAG,
        scope=None,
        answers=OfferOut,
        example={**examples.OFFER, "state": "withdrawn", "measures": {}, "wishes": [], "yarns": []},
        refusals=[GONE],
    )
    @sensitive_variables("secret")
    def post(self, request: Request, secret: str) -> Response:
        """Take an offer back: what was given with it is deleted but the name. No token is needed."""
        return self.shown(represent(services.offer_withdraw(secret=secret)))
