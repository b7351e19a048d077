"""The yarns that the designer of a round supplies."""

from __future__ import annotations

from typing import Any

from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.problems import Fault, invalid
from testround.api.scopes import Scope
from testround.api.v1.examples import rounds as examples
from testround.api.v1.parts import (
    SuppliedYarnChange,
    SuppliedYarnIn,
    SuppliedYarnOut,
    read,
    round_here,
)
from testround.kernel.round import SuppliedYarn as YarnDocument
from testround.patterns.access import Right
from testround.rounds import services
from testround.rounds.forms.places import yarn_key
from testround.rounds.models import SuppliedYarn

TAG = "Supplied yarns"


def represent(yarn: SuppliedYarn) -> dict[str, Any]:
    return SuppliedYarnOut(yarn).data


class Yarns(Endpoint):
    @operation(
        "yarns_list",
        "The supplied yarns of a round",
        tag=TAG,
        scope=Scope.ROUNDS_READ,
        answers=SuppliedYarnOut(many=True),
        example=examples.WOOL,
    )
    def get(self, request: Request, code: str) -> Response:
        """The yarns that you supply for a round that you run; the last one comes first."""
        return self.paged(round_here(self, code, Right.SEE).yarns.all(), represent)

    @operation(
        "yarns_supply",
        "Supply another yarn",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        takes=SuppliedYarnIn,
        sends=examples.WOOL_SENT,
        answers=SuppliedYarnOut,
        example=examples.WOOL,
        status=201,
    )
    def post(self, request: Request, code: str) -> Response:
        """Put a yarn on the list of those that you supply. Owners and editors may."""
        round = round_here(self, code, Right.EDIT)
        sent = self.body(SuppliedYarnIn)
        taken = list(round.yarns.values_list("key", flat=True))
        if sent.get("key") in taken:
            raise invalid(
                Fault(_("There is a yarn of this key: change that one, or take another key."), "/key")
            )
        key = sent.get("key") or yarn_key(sent["label"], taken)
        document = read(YarnDocument, {**sent, "key": key}, "")
        yarn = services.yarn_supply(round=round, yarn=document, by=self.user)
        return self.made(represent(yarn), reverse("api:supplied_yarn", args=[code, yarn.key]))


class OneYarn(Endpoint):
    def yarn(self, code: str, key: str, right: Right) -> SuppliedYarn:
        round = round_here(self, code, right)
        yarn: SuppliedYarn = get_object_or_404(round.yarns.select_related("round__edition__pattern"), key=key)
        return yarn

    @operation(
        "yarns_retrieve",
        "One supplied yarn",
        tag=TAG,
        scope=Scope.ROUNDS_READ,
        answers=SuppliedYarnOut,
        example=examples.WOOL,
    )
    def get(self, request: Request, code: str, key: str) -> Response:
        """A yarn that you supply for a round that you run, by its key."""
        return self.shown(represent(self.yarn(code, key, Right.SEE)))

    @operation(
        "yarns_edit",
        "Change a supplied yarn",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        takes=SuppliedYarnChange,
        sends=examples.WOOL_SENT,
        answers=SuppliedYarnOut,
        example=examples.WOOL,
    )
    def put(self, request: Request, code: str, key: str) -> Response:
        """Put what is sent in the place of what is known of a yarn. Places that have it keep what they have."""
        yarn = self.yarn(code, key, Right.EDIT)
        self.hold_against(represent(yarn))
        sent = self.body(SuppliedYarnChange)
        document = read(YarnDocument, {**sent, "key": key}, "")
        return self.shown(represent(services.yarn_supply(round=yarn.round, yarn=document, by=self.user)))

    @operation(
        "yarns_withdraw",
        "Supply a yarn no longer",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        status=204,
    )
    def delete(self, request: Request, code: str, key: str) -> Response:
        """Take a yarn off the list. Places that have it keep it."""
        yarn = self.yarn(code, key, Right.EDIT)
        self.hold_against(represent(yarn))
        services.yarn_withdraw(yarn=yarn, by=self.user)
        return self.gone()
