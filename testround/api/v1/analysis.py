"""The analysis of a round: what it rests on, the findings it makes, and the report as a PDF."""

from __future__ import annotations

import json
from collections import Counter
from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from drf_spectacular.types import OpenApiTypes
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.documents import REF
from testround.api.endpoints import Endpoint, operation
from testround.api.scopes import Scope
from testround.api.v1.errata_shapes import AnalysisOut
from testround.api.v1.examples import errata as examples
from testround.api.v1.papers import PAPER, PDF, as_pdf, paper_asked
from testround.errata import papers
from testround.errata.doors import kept_file, kept_of
from testround.errata.models import Analysis
from testround.errata.selectors import judged_by, read_round, report_facts
from testround.errata.services import analysis_keep
from testround.paper.report import laid_out
from testround.people.context import reader_for
from testround.reports.digest import round_digest
from testround.rounds.models import Round

TAG = "Analysis"


class Judged(Endpoint):
    """An address of a round whose results the person may read and decide on."""

    def round(self, code: str) -> Round:
        """Not locked: services lock the round once the arithmetic is done."""
        found: Round = get_object_or_404(judged_by(self.user), code=code)
        return found


def represent(round: Round) -> dict[str, Any]:
    read = read_round(round)
    kept = Analysis.objects.filter(round=round, input_hash=read.input_hash).first()
    return AnalysisOut(
        {
            "input_hash": read.input_hash,
            "verdicts": dict(Counter(finding["verdict"] for finding in read.document["findings"])),
            "kept_at": kept and kept.made,
        }
    ).data


class AnalysisOfRound(Judged):
    @operation(
        "analysis_retrieve",
        "The analysis of a round",
        tag=TAG,
        scope=Scope.ERRATA_READ,
        answers=AnalysisOut,
        example=examples.ANALYSIS,
    )
    def get(self, request: Request, code: str) -> Response:
        """What the analysis of a round rests on as it is now. Its owner and editors read it."""
        return self.shown(represent(self.round(code)))

    @operation(
        "analysis_run",
        "Analyse a round and keep it",
        tag=TAG,
        scope=Scope.ERRATA_WRITE,
        answers=AnalysisOut,
        example=examples.ANALYSIS,
    )
    def post(self, request: Request, code: str) -> Response:
        """Analyse the round as it is now and keep the findings. This is done after every report by itself."""
        round = self.round(code)
        analysis_keep(round=round)
        return self.shown(represent(round))


class Findings(Judged):
    @operation(
        "findings_retrieve",
        "The findings of a round",
        tag=TAG,
        scope=Scope.ERRATA_READ,
        answers={"$ref": f"{REF}FindingsFile"},
        example=examples.FINDINGS,
    )
    def get(self, request: Request, code: str) -> Response:
        """The findings file of a round as it is now, in English: what is off by how much, what rests on whom."""
        return self.shown(json.loads(read_round(self.round(code)).file))


class ReportOnPaper(Judged):
    @operation(
        "analysis_report",
        "The report of a round as a PDF",
        tag=TAG,
        scope=Scope.ERRATA_READ,
        answers=OpenApiTypes.BINARY,
        answers_media=PDF,
        parameters=[PAPER],
    )
    def get(self, request: Request, code: str) -> HttpResponse:
        """The report of a round in your language, units and terms. It names no tester who does not allow it."""
        round = self.round(code)
        paper = paper_asked(request)
        facts = report_facts(round)
        asked = request._request
        place = kept_of(asked, "report on paper", round, round_digest(round), paper, facts.state)
        data = kept_file(place, lambda: laid_out(papers.report(facts, reader_for(asked)), paper=paper))
        return as_pdf(data, f"report-{round.code}.pdf")
