"""Two editions of a pattern beside each other, and drafts of errata of what differs."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.fields import Input
from testround.api.paging import MOST_ID
from testround.api.problems import Fault, invalid
from testround.api.scopes import Scope
from testround.api.v1.desk import erratum_shown
from testround.api.v1.drafts import errata_loaded
from testround.api.v1.errata_shapes import ErratumChangeOut, ErratumOut
from testround.api.v1.examples import errata as examples
from testround.errata.models import Erratum
from testround.errata.selectors import ComparedEditions, compared_editions, editions_of
from testround.errata.services import drafts_from_editions
from testround.patterns.access import Right, patterns_open_to
from testround.patterns.fields import Scale
from testround.people.readers import reader_of

TAG = "Errata"


class CompareIn(Input):
    old = serializers.IntegerField(min_value=1, max_value=MOST_ID, help_text="`id` of the older edition.")
    new = serializers.IntegerField(min_value=1, max_value=MOST_ID, help_text="`id` of the newer edition.")


class OtherChangeOut(serializers.Serializer):
    """Something else that differs: a formula, words, a measure."""

    place = serializers.CharField(help_text="Where on the sheet.")
    was = serializers.CharField(allow_blank=True)
    now = serializers.CharField(allow_blank=True)


class ComparedOut(serializers.Serializer):
    """A newer edition against an older one."""

    changes = ErratumChangeOut(many=True, help_text="Every number that a maker finds changed.")
    lacking = serializers.ListField(
        child=serializers.ListField(child=ErratumChangeOut()),
        help_text="Those that neither an erratum nor a draft has, each group as one erratum would have it.",
    )
    others = OtherChangeOut(many=True, help_text="What else differs between the two sheets.")


class DraftsMade(serializers.Serializer):
    drafts = ErratumOut(many=True)


class Compare(Endpoint):
    def compared(self, code: str, old: Any, new: Any, *, parameters: bool) -> ComparedEditions:
        """The two editions of a pattern that is the person’s to edit. Raises where they are not of it, or one."""
        pattern = self.here(patterns_open_to(self.user, Right.EDIT), code=code)
        editions = {edition.pk: edition for edition in editions_of(pattern)}
        faults = []
        for name, key in (("old", old), ("new", new)):
            if key not in editions:
                said = _("Name an edition of this pattern by its id.")
                faults.append(Fault(said, None if parameters else f"/{name}", name if parameters else None))
        if not faults and old == new:
            said = _("Name two editions: this is one and the same.")
            faults.append(Fault(said, None if parameters else "/new", "new" if parameters else None))
        if faults:
            raise invalid(*faults)
        reader = reader_of(self.user)
        return compared_editions(editions[old], editions[new], Scale(units=reader.units, tools=reader.tools))

    @operation(
        "editions_compare",
        "Compare two editions",
        tag=TAG,
        scope=Scope.ERRATA_READ,
        answers=ComparedOut,
        example={"changes": examples.DRAFT["changes"], "lacking": [], "others": []},
        parameters=[
            OpenApiParameter("old", int, required=True, description="`id` of the older edition."),
            OpenApiParameter("new", int, required=True, description="`id` of the newer edition."),
        ],
    )
    def get(self, request: Request, code: str) -> Response:
        """What a newer edition prints otherwise than an older one. Its owner and editors read it."""
        old, new = (_key(request.query_params.get(name, "")) for name in ("old", "new"))
        compared = self.compared(code, old, new, parameters=True)
        return self.shown(
            ComparedOut(
                {"changes": compared.changes, "lacking": compared.groups, "others": compared.rest}
            ).data
        )

    @operation(
        "editions_draft",
        "Draft errata of what differs",
        tag=TAG,
        scope=Scope.ERRATA_WRITE,
        takes=CompareIn,
        sends={"old": 7, "new": 8},
        answers=DraftsMade,
        example={"drafts": [examples.DRAFT]},
    )
    def post(self, request: Request, code: str) -> Response:
        """Draft errata to the older edition of the numbers that no erratum and no draft has.

        The drafts stand on the desk of the newest round of that edition.
        """
        sent = self.body(CompareIn)
        compared = self.compared(code, sent["old"], sent["new"], parameters=False)
        made = drafts_from_editions(compared=compared, by=self.user)
        drafts = errata_loaded(Erratum.objects.filter(pk__in=[draft.pk for draft in made])).order_by("pk")
        return self.shown({"drafts": [erratum_shown(draft) for draft in drafts]})


def _key(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdecimal() and len(text) <= 18 else None
