"""What a tester sends from a place, what was sent, and how the designer of the round reads it."""

from __future__ import annotations

from typing import Any

import django_filters as df
from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from django.urls import reverse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.filtering import RowFilter
from testround.api.problems import CONFLICT
from testround.api.scopes import Scope
from testround.api.v1.examples import reports as examples
from testround.api.v1.report_kinds import PLACE_KINDS, ROW_KINDS, ReportKind
from testround.api.v1.reported import GuessOut, ReceiptOut, ReportOut, SwatchAnswerOut, YarnUsedOut
from testround.api.v1.sending import AtPlace, row_to_correct, sent, submissions_of
from testround.kernel.gauge import SwatchAnswer, answer_swatch
from testround.people.readers import reader_of
from testround.reports.models import Submission, Swatch
from testround.reports.selectors import Desk, desk_of, place_run
from testround.reports.services import place_finish
from testround.rounds.models import Place, Round
from testround.rounds.selectors import rounds_of

TAG = "Reports"


class SupersededFilter(df.FilterSet):
    superseded = df.BooleanFilter(
        field_name="superseded_at",
        lookup_expr="isnull",
        exclude=True,
        label="False: what counts. True: what something newer took the place of.",
    )


class OfRoundFilter(SupersededFilter):
    place = RowFilter(field_name="place_id", label="`id` of the place it came from.")


class ReportFilter(df.FilterSet):
    kind = df.CharFilter(label="Reports of this kind.")


class ReportOfRoundFilter(ReportFilter):
    place = RowFilter(field_name="place_id", label="`id` of the place it came from.")


class PlaceStandsOut(serializers.Serializer):
    id = serializers.IntegerField()
    state = serializers.ChoiceField(choices=Place.State.choices)


def rows_of(kind: ReportKind, **of: Any) -> QuerySet[Any]:
    """Reports of a kind with what is read of their submission: one query."""
    rows: QuerySet[Any] = kind.model.objects.filter(**of).select_related("submission")
    return rows


def receipt_of(submission: Submission) -> dict[str, Any]:
    """What a sender is told: the report, and where the place stands now."""
    submission.place.refresh_from_db(fields=["state"])
    return {"report": ReportOut(submission).data, "state": submission.place.state}


def answer_of(desk: Desk, reader: Any) -> dict[str, Any]:
    """What all swatches that count say."""
    swatches = desk.tester.swatches
    said: SwatchAnswer = desk.swatch_answer() or answer_swatch(desk.sheet, desk.tester, swatches)
    return SwatchAnswerOut(
        {
            "good": said.good and bool(swatches),
            "measured": said.measured and bool(swatches),
            "sentence": said.sentence(reader.units),
            "advice": said.advice and said.advice.told(reader.units),
            "dimensions": said.rows,
        }
    ).data


def _receipt_with(kind: ReportKind) -> tuple[type[serializers.Serializer[Any]], dict[str, Any]]:
    """The answer to a report of rows, and an example of it."""
    fields: dict[str, Any] = {"rows": kind.shown(many=True, help_text="What was kept of it.")}
    example = examples.receipt(kind.name, rows=[kind.example])
    if kind.model is Swatch:
        fields["answer"] = SwatchAnswerOut(help_text="What all swatches that count say.")
        example["answer"] = examples.ANSWER
    name = kind.shown.__name__.removesuffix("Out")
    return type(f"{name}ReceiptOut", (ReceiptOut,), fields), example


def _sends(kind: ReportKind, answers: Any, example: Any) -> Any:
    """What is said of every operation that sends a report of a kind."""
    return operation(
        f"{kind.name}_send",
        f"Send {kind.what}",
        tag=TAG,
        scope=Scope.PLACES_WRITE,
        takes=kind.taken,
        sends=kind.sends,
        answers=answers,
        example=example,
        status=201,
        refusals=[CONFLICT],
        description=kind.says,
    )


def submitted(at: AtPlace, kind: ReportKind, id: int) -> Submission:
    """The report that was sent to an address under a place. Raises with everything that is to be mended."""
    desk, body = at.desk(id), at.body(kind.taken)
    more = {}
    if kind.corrects:
        more["corrects"] = row_to_correct(kind.model, desk.place, body.get("corrects"))
    made: Submission = sent(
        kind.form,
        kind.typed_as(body, desk),
        kind.submit,
        desk=desk,
        by=at.user,
        pointers=kind.pointers,
        **more,
    )
    return made


def rows_endpoint(kind: ReportKind) -> type[AtPlace]:
    """The address of one kind of report under a place: what was sent, and where it is sent to."""
    receipt, example = _receipt_with(kind)

    class Rows(AtPlace):
        @operation(
            f"{kind.name}_list",
            f"What you sent: {kind.what}",
            tag=TAG,
            scope=Scope.PLACES_READ,
            answers=kind.shown(many=True),
            example=kind.example,
            filters=SupersededFilter,
            description=f"What was sent from a place that you hold: {kind.what}, newest first, with what was corrected.",
        )
        def get(self, request: Request, id: int) -> Response:
            rows = rows_of(kind, place=self.place(id))
            return self.paged(rows, lambda row: kind.shown(row).data, SupersededFilter)

        @_sends(kind, receipt, example)
        def post(self, request: Request, id: int) -> Response:
            submission = submitted(self, kind, id)
            rows = rows_of(kind, submission=submission).order_by("pk")
            told = {**receipt_of(submission), "rows": kind.shown(rows, many=True).data}
            if kind.model is Swatch:
                told["answer"] = answer_of(self.desk(id), reader_of(self.user))
            return self.made(told, reverse(f"api:{kind.name}", args=[id]))

    return Rows


def place_endpoint(kind: ReportKind) -> type[AtPlace]:
    """The address of what a place keeps of one kind: the last that was sent."""

    class OnPlace(AtPlace):
        @operation(
            f"{kind.name}_retrieve",
            f"What you sent: {kind.what}",
            tag=TAG,
            scope=Scope.PLACES_READ,
            answers=kind.shown,
            example=kind.example,
            description=f"What counts now of a place that you hold: {kind.what}.",
        )
        def get(self, request: Request, id: int) -> Response:
            return self.shown(kind.shown(self.place(id)).data)

        @_sends(kind, ReceiptOut, examples.receipt(kind.name))
        def post(self, request: Request, id: int) -> Response:
            return self.made(receipt_of(submitted(self, kind, id)), reverse(f"api:{kind.name}", args=[id]))

    return OnPlace


class OfRound(Endpoint):
    """An address of a round that the person runs."""

    def round(self, code: str) -> Round:
        found: Round = get_object_or_404(rounds_of(self.user), code=code)
        return found


def round_endpoint(kind: ReportKind) -> type[OfRound]:
    """The address of one kind of report of all testers of a round."""

    class FromTesters(OfRound):
        @operation(
            f"{kind.name}_read",
            f"What testers sent: {kind.what}",
            tag=TAG,
            scope=Scope.REPORTS_READ,
            answers=kind.shown(many=True),
            example=kind.example,
            filters=OfRoundFilter,
            description=f"What the testers of your round sent: {kind.what}, newest first; of one place by `place`.",
        )
        def get(self, request: Request, code: str) -> Response:
            rows = rows_of(kind, place__round=self.round(code))
            return self.paged(rows, lambda row: kind.shown(row).data, OfRoundFilter)

    return FromTesters


ROWS = {kind.name: (rows_endpoint(kind), round_endpoint(kind)) for kind in ROW_KINDS}
ON_PLACE = {kind.name: place_endpoint(kind) for kind in PLACE_KINDS}


class Reports(AtPlace):
    @operation(
        "reports_list",
        "What you sent, one by one",
        tag=TAG,
        scope=Scope.PLACES_READ,
        answers=ReportOut(many=True),
        example=examples.report("swatch"),
        filters=ReportFilter,
    )
    def get(self, request: Request, id: int) -> Response:
        """Everything that was sent from a place that you hold, newest first: that it arrived, and whether in time."""
        reports = submissions_of([self.place(id)])
        return self.paged(reports, lambda report: ReportOut(report).data, ReportFilter)


class ReportsOfRound(OfRound):
    @operation(
        "reports_read",
        "What testers sent, one by one",
        tag=TAG,
        scope=Scope.REPORTS_READ,
        answers=ReportOut(many=True),
        example=examples.report("swatch"),
        filters=ReportOfRoundFilter,
    )
    def get(self, request: Request, code: str) -> Response:
        """Everything that the testers of your round sent, newest first: when, of what kind, and whether in time."""
        reports = submissions_of(Place.objects.filter(round=self.round(code)))
        return self.paged(reports, lambda report: ReportOut(report).data, ReportOfRoundFilter)


class StandsOut(serializers.Serializer):
    """What counts of a tester that is not a row of its own."""

    answer = SwatchAnswerOut(help_text="What all swatches that count say.")
    measures = serializers.DictField(child=serializers.FloatField(), help_text="Of the body, by key, cm.")
    guess = GuessOut()
    yarn = YarnUsedOut()


class SentByTester(Endpoint):
    @operation(
        "reports_stand",
        "Where a tester stands",
        tag=TAG,
        scope=Scope.REPORTS_READ,
        answers=StandsOut,
        example={
            "answer": examples.ANSWER,
            **examples.MEASURES,
            "guess": examples.GUESS,
            "yarn": examples.YARN,
        },
    )
    def get(self, request: Request, code: str, id: int) -> Response:
        """Whether a tester’s swatch will do, their measurements, what they expected, and the yarn it took."""
        reader = reader_of(self.user)
        place = place_run(self.user, code, id)
        return self.shown(
            {
                "answer": answer_of(desk_of(place, reader.terms), reader),
                "measures": place.measures,
                "guess": GuessOut(place).data,
                "yarn": YarnUsedOut(place).data,
            }
        )


class SwatchAnswerOfPlace(AtPlace):
    @operation(
        "swatches_answer",
        "Will the swatch do?",
        tag=TAG,
        scope=Scope.PLACES_READ,
        answers=SwatchAnswerOut,
        example=examples.ANSWER,
    )
    def get(self, request: Request, id: int) -> Response:
        """What all swatches say that you sent and that count: what each dimension would come out as at that gauge."""
        return self.shown(answer_of(self.desk(id), reader_of(self.user)))


class Finish(AtPlace):
    @operation(
        "places_finish",
        "Say that everything is sent",
        tag=TAG,
        scope=Scope.PLACES_WRITE,
        answers=PlaceStandsOut,
        example=examples.FINISH,
    )
    def post(self, request: Request, id: int) -> Response:
        """Tell the designer that this is all. More can still be sent."""
        place = self.place(id)
        place_finish(place=place, by=self.user)
        return self.shown(PlaceStandsOut(self.place(id)).data)
