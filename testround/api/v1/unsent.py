"""What a tester has typed into the forms of a place and not sent: kept on the server for them alone."""

from __future__ import annotations

from typing import Any

from django.http import Http404
from django.utils.translation import gettext as _
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import operation
from testround.api.fields import Input
from testround.api.problems import CONFLICT, Fault, invalid
from testround.api.scopes import Scope
from testround.api.v1.examples import reports as examples
from testround.api.v1.parts import pointing
from testround.api.v1.sending import AtPlace
from testround.reports.drafts import (
    FORMS,
    MOST_CHARACTERS,
    draft_at,
    draft_drop,
    draft_keep,
    drafts_at,
    form_known,
    worth_keeping,
)
from testround.reports.models import Draft

TAG = "Typed and not sent"
FORM_SAID = (
    f"One of {', '.join(sorted(FORMS))}; a section of the counts follows after a space, as in `counts back`."
)


class Typed(serializers.CharField):
    """What stands in a field: text as it was typed; a number would be one that somebody has read already."""

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            raise serializers.ValidationError(_("Write this as text, in quotes."))
        return data


class UnsentOut(serializers.Serializer):
    """What stands in one form; nothing where it is empty."""

    form = serializers.CharField(help_text=FORM_SAID)
    values = serializers.DictField(
        child=serializers.CharField(), help_text="By the names of the fields of its page."
    )
    at = serializers.DateTimeField(allow_null=True, help_text="When it was typed; null where nothing is.")
    revision = serializers.IntegerField(help_text="Counts its changes; 0 where nothing is kept.")


class UnsentList(serializers.Serializer):
    unsent = UnsentOut(many=True)


class UnsentIn(Input):
    """What stands in the form now, all of it."""

    values = serializers.DictField(
        child=Typed(allow_blank=True, max_length=MOST_CHARACTERS, trim_whitespace=False),
        help_text="By the names of the fields of its page. Passwords and keys of forms are not kept.",
    )
    at = serializers.DateTimeField(
        required=False, help_text="When it was typed; now, where it is left out or still to come."
    )


def represent(form: str, draft: Draft | None) -> dict[str, Any]:
    shown: dict[str, Any] = UnsentOut(draft or {"form": form, "values": {}, "at": None, "revision": 0}).data
    return shown


class Unsent(AtPlace):
    @operation(
        "unsent_list",
        "What you have typed and not sent",
        tag=TAG,
        scope=Scope.PLACES_READ,
        answers=UnsentList,
        example={"unsent": [examples.UNSENT]},
    )
    def get(self, request: Request, id: int) -> Response:
        """What you have typed into the forms of a place that you hold, by form. Nobody else sees it."""
        drafts = drafts_at(self.place(id), self.user)
        return self.shown({"unsent": [represent(form, draft) for form, draft in sorted(drafts.items())]})


class UnsentForm(AtPlace):
    def known(self, form: str) -> str:
        if not form_known(form):
            raise Http404
        return form

    @operation(
        "unsent_retrieve",
        "What stands in one form",
        tag=TAG,
        scope=Scope.PLACES_READ,
        answers=UnsentOut,
        example=examples.UNSENT,
    )
    def get(self, request: Request, id: int, form: str) -> Response:
        """What you have typed into one form of a place that you hold, so that another device can go on from it."""
        return self.shown(represent(form, draft_at(self.place(id), self.user, self.known(form))))

    @operation(
        "unsent_keep",
        "Keep what stands in a form",
        tag=TAG,
        scope=Scope.PLACES_WRITE,
        takes=UnsentIn,
        sends=examples.UNSENT_IN,
        answers=UnsentOut,
        example=examples.UNSENT,
        refusals=[CONFLICT],
    )
    def put(self, request: Request, id: int, form: str) -> Response:
        """Keep what stands in a form, in place of what was kept. It is no report: drop it when the report is sent."""
        place = self.place(id)
        draft = draft_at(place, self.user, self.known(form))
        self.hold_against(represent(form, draft))
        sent = self.body(UnsentIn)
        values = worth_keeping(sent["values"])
        if values is None:
            raise invalid(Fault(_("This is more than a draft holds; send it instead."), "/values"))
        with pointing():
            draft_keep(
                place=place,
                person=self.user,
                form=form,
                values=values,
                at=sent.get("at"),
                based_on=draft and draft.revision,
            )
        return self.shown(represent(form, draft_at(place, self.user, form)))

    @operation("unsent_drop", "Forget what stands in a form", tag=TAG, scope=Scope.PLACES_WRITE, status=204)
    def delete(self, request: Request, id: int, form: str) -> Response:
        """Forget what you have typed into a form."""
        place = self.place(id)
        self.hold_against(represent(form, draft_at(place, self.user, self.known(form))))
        draft_drop(place=place, person=self.user, form=form)
        return self.gone()
