from __future__ import annotations

from typing import Any, cast

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.functional import SimpleLazyObject
from django.utils.text import slugify
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import (
    require_safe,
)

from testround.errata import papers
from testround.errata.checks import checks_of
from testround.errata.doors import judged, kept_file, kept_of
from testround.errata.models import Decision
from testround.errata.selectors import (
    AmountsResult,
    DimensionResult,
    GaugesResult,
    amounts_result,
    decisions_of,
    dimension_result,
    gauges_result,
    read_round,
    report_facts,
    results_of,
)
from testround.paper.report import laid_out
from testround.people.context import reader_for
from testround.reports.digest import round_digest
from testround.rounds.models import Round


@require_safe
@login_required
def results(request: HttpRequest, code: str) -> HttpResponse:
    round = judged(request, code)
    decisions = decisions_of(round)
    context = {
        "round": round,
        "results": SimpleLazyObject(lambda: results_of(round, decisions)),
        "kept": kept_of(
            request, "results", round, round_digest(round), [_said(decision) for decision in decisions]
        ),
    }
    return render(request, "errata/results.html", context)


def _said(decision: Decision) -> tuple[Any, ...]:
    """What a page says of a decision beside the finding."""
    erratum = decision.erratum
    said = erratum and (erratum.pk, erratum.number, erratum.is_published)
    return (decision.finding_id, decision.choice, decision.reason, said)


# As many points as testers.
@gzip_page
@require_safe
@login_required
def dimension(request: HttpRequest, code: str, dimension: str) -> HttpResponse:
    round = judged(request, code)
    named = [each["label"] for each in round.edition.sheet.get("dimensions", ()) if each["key"] == dimension]
    if not named:
        raise Http404
    units = reader_for(request).units
    size = request.GET.get("size", "")
    if size not in round.edition.sheet.get("sizes", ()):
        size = ""
    result = cast(DimensionResult, SimpleLazyObject(lambda: dimension_result(round, dimension, size)))
    context = {
        "round": round,
        "label": named[0],
        "kept": kept_of(request, "dimension", round, round_digest(round), dimension, size),
        "result": result,
        "plot": SimpleLazyObject(lambda: papers.deviation_svg(result, units)),
        "bars": SimpleLazyObject(lambda: papers.parts_svg(result, units)),
        "others": SimpleLazyObject(
            lambda: [finding for finding in result.findings if finding is not result.own]
        ),
        "checks": SimpleLazyObject(
            lambda: checks_of(result.read, [finding["id"] for finding in result.findings], units)
        ),
    }
    return render(request, "errata/dimension.html", context)


@gzip_page
@require_safe
@login_required
def gauges(request: HttpRequest, code: str) -> HttpResponse:
    round = judged(request, code)
    size = request.GET.get("size", "")
    units = reader_for(request).units
    result = cast(GaugesResult, SimpleLazyObject(lambda: gauges_result(round, size)))
    context = {
        "round": round,
        "kept": kept_of(
            request,
            "gauges",
            round,
            round_digest(round),
            size if size in round.edition.sheet.get("sizes", ()) else "",
        ),
        "result": result,
        "gauges": SimpleLazyObject(lambda: papers.gauges_with_plots(result, units)),
        "checks": SimpleLazyObject(
            lambda: checks_of(
                result.read, [finding["id"] for one in result.gauges for finding in one.findings], units
            )
        ),
    }
    return render(request, "errata/gauges.html", context)


@require_safe
@login_required
def amounts(request: HttpRequest, code: str) -> HttpResponse:
    round = judged(request, code)
    units = reader_for(request).units
    result = cast(AmountsResult, SimpleLazyObject(lambda: amounts_result(round)))
    context = {
        "round": round,
        "kept": kept_of(request, "amounts", round, round_digest(round)),
        "result": result,
        "amounts": SimpleLazyObject(lambda: papers.amounts_with_plots(result.read)),
        "checks": SimpleLazyObject(
            lambda: checks_of(result.read, [finding["id"] for finding in result.findings], units)
        ),
    }
    return render(request, "errata/amounts.html", context)


# Every plot of the round is on it: half a million letters, of which a tenth is left.
@gzip_page
@require_safe
@login_required
def report(request: HttpRequest, code: str) -> HttpResponse:
    round = judged(request, code)
    facts = report_facts(round)
    context = {
        "round": round,
        "kept": kept_of(request, "report", round, round_digest(round), facts.state),
        "report": SimpleLazyObject(lambda: papers.report(facts, reader_for(request))),
    }
    return render(request, "errata/report.html", context)


@require_safe
@login_required
def report_pdf(request: HttpRequest, code: str) -> HttpResponse:
    round = judged(request, code)
    facts = report_facts(round)
    paper = "Letter" if request.GET.get("paper") == "letter" else "A4"
    place = kept_of(request, "report on paper", round, round_digest(round), paper, facts.state)
    data = kept_file(place, lambda: laid_out(papers.report(facts, reader_for(request)), paper=paper))
    return _file(data, "application/pdf", f"{_file_name(round)}-report.pdf")


@require_safe
@login_required
def findings(request: HttpRequest, code: str) -> HttpResponse:
    round = judged(request, code)
    return _file(read_round(round).file.encode(), "application/json", f"{_file_name(round)}-findings.json")


def _file_name(round: Round) -> str:
    words = f"{round.edition.pattern.title} {round.edition.label} {round.title}"
    return slugify(words.replace(".", "-")) or "round"


def _file(data: bytes, content_type: str, name: str) -> HttpResponse:
    return HttpResponse(
        data, content_type=content_type, headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )
