"""Whether a round is on course, and mails of it that failed or may not have arrived."""

from __future__ import annotations

from typing import Any

from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.problems import CONFLICT, ApiProblem
from testround.api.scopes import Scope
from testround.api.v1.examples import courses as examples
from testround.api.v1.parts import round_here
from testround.outbox.mail import mail_let_be, mail_send_again, mails_in_trouble
from testround.outbox.models import Mail
from testround.patterns.access import Right, rights_on
from testround.rounds.due import What
from testround.rounds.models import Round
from testround.rounds.selectors import RoundPage, round_page
from testround.rounds.services import today_for

TAG = "How a round stands"
TROUBLED = [("failed", "failed"), ("uncertain", "uncertain")]


class CourseRow(serializers.Serializer):
    """One size."""

    size = serializers.CharField(allow_null=True, help_text="Null: made to measure, or without a size yet.")
    least = serializers.IntegerField(allow_null=True)
    most = serializers.IntegerField(allow_null=True)
    held = serializers.IntegerField(help_text="Places that somebody took.")
    offered = serializers.IntegerField()
    on_course = serializers.BooleanField()
    likely_late = serializers.BooleanField(
        help_text="Nothing is amiss yet, and a piece will hardly be done in time."
    )
    sentence = serializers.CharField(help_text="In your language.")


class CourseLate(serializers.Serializer):
    """A tester who is late."""

    place = serializers.IntegerField(source="place.pk", help_text="Id of the place.")
    name = serializers.CharField(source="place.name")
    what = serializers.ChoiceField(choices=What.choices)
    due = serializers.DateField()
    days = serializers.IntegerField()


class CourseOut(serializers.Serializer):
    """Is every size on course?"""

    answer = serializers.CharField(help_text="In your language.")
    next_state = serializers.ChoiceField(choices=Round.State.choices, allow_null=True)
    places = serializers.IntegerField(source="place_count", help_text="Offered or held.")
    held = serializers.IntegerField(source="held_count")
    measured = serializers.IntegerField(source="measured_count", help_text="Measured or done.")
    given_back = serializers.IntegerField()
    left = serializers.IntegerField(help_text="Whose tester left for good.")
    rows = CourseRow(many=True)
    late = CourseLate(many=True, help_text="The longest late first; at most a dozen.")
    late_count = serializers.IntegerField()
    next_steps = serializers.ListField(
        child=serializers.CharField(), help_text="What you can do now, in your language."
    )


class RoundMailOut(serializers.Serializer):
    """A mail of the round that failed, or may not have arrived."""

    id = serializers.IntegerField()
    subject = serializers.CharField()
    name = serializers.CharField(help_text="Whom it is to, as they are called in the round.")
    state = serializers.ChoiceField(
        choices=TROUBLED,
        help_text="Failed: refused, or tried in vain for a day. Uncertain: it may have arrived.",
    )
    created = serializers.DateTimeField()


def represent(page: RoundPage) -> dict[str, Any]:
    found: dict[str, Any] = CourseOut(
        {
            **{name: getattr(page, name) for name in _OF_PAGE},
            "next_steps": [step.sentence for step in page.next_steps],
        }
    ).data
    return found


_OF_PAGE = (
    "answer",
    "next_state",
    "place_count",
    "held_count",
    "measured_count",
    "given_back",
    "left",
    "rows",
    "late",
    "late_count",
)


class Course(Endpoint):
    @operation(
        "courses_retrieve",
        "Whether a round is on course",
        tag=TAG,
        scope=Scope.ROUNDS_READ,
        answers=CourseOut,
        example=examples.COURSE,
    )
    def get(self, request: Request, code: str) -> Response:
        """Each size with its testers, who is late, and what can be done now, in a round that you run."""
        round = round_here(self, code, Right.SEE)
        rights = rights_on(round.edition.pattern, self.user)
        page = round_page(round, today=today_for(round), may_invite=rights.invite, may_nudge=rights.edit)
        return self.shown(represent(page))


class RoundMails(Endpoint):
    @operation(
        "mails_list",
        "Mails that may not have arrived",
        tag=TAG,
        scope=Scope.ROUNDS_READ,
        answers=RoundMailOut(many=True),
        example=examples.MAIL,
    )
    def get(self, request: Request, code: str) -> Response:
        """Mails of a round that you run that failed or are uncertain: they are not sent again by themselves."""
        round = round_here(self, code, Right.EDIT)
        return self.paged(mails_in_trouble(round.code), lambda mail: RoundMailOut(mail).data)


class RoundMail(Endpoint):
    """An act on one mail in trouble."""

    def mail(self, code: str, id: int) -> Mail:
        round = round_here(self, code, Right.EDIT)
        mail: Mail = get_object_or_404(mails_in_trouble(round.code), pk=id)
        return mail


class RoundMailAgain(RoundMail):
    @operation(
        "mails_send",
        "Send a mail once more",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        status=204,
        refusals=[CONFLICT],
    )
    def post(self, request: Request, code: str, id: int) -> Response:
        """Send a mail once more that failed or is uncertain. Owners and editors may."""
        if not mail_send_again(mail=self.mail(code, id)):
            raise settled()
        return self.gone()


class RoundMailLeft(RoundMail):
    @operation(
        "mails_leave",
        "Leave a mail at that",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        status=204,
        refusals=[CONFLICT],
    )
    def post(self, request: Request, code: str, id: int) -> Response:
        """Do not send a mail again that failed or is uncertain. Owners and editors may."""
        if not mail_let_be(mail=self.mail(code, id)):
            raise settled()
        return self.gone()


def settled() -> ApiProblem:
    """Somebody else was quicker with this mail."""
    return ApiProblem(CONFLICT, _("That mail is no longer on the list."))
