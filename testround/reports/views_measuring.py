"""What is asked while a tester types a measurement, before the form is sent."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.cache import patch_cache_control
from django.views.decorators.http import require_POST

from testround.people.readers import reader_of
from testround.reports.forms import FinishedForm, MeasuresForm
from testround.reports.views_shared import desk_at


@login_required
@require_POST
def finished_question(request: HttpRequest, pk: int, key: str) -> HttpResponse:
    """The question about one finished measurement as it stands in the form, or nothing."""
    desk = desk_at(request, pk)
    form = FinishedForm(request.POST, desk=desk, reader=reader_of(request.user))
    return _asked(request, form, [line for line in form.lines() if line.entry.key == key])


@login_required
@require_POST
def measure_question(request: HttpRequest, pk: int, key: str) -> HttpResponse:
    """The question about one body measurement as it stands in the form, or nothing."""
    desk = desk_at(request, pk)
    form = MeasuresForm(request.POST, desk=desk, reader=reader_of(request.user))
    return _asked(request, form, [line for line in form.lines() if line.entry.key == key])


def _asked(request: HttpRequest, form: Any, lines: list[Any]) -> HttpResponse:
    if not lines:
        raise Http404
    (line,) = lines
    lengths = []
    for bound in line.fields:
        try:
            length = bound.field.clean(bound.data)
        except ValidationError:
            # It may be half typed; what cannot be read is said when the form is sent.
            continue
        if length is not None:
            lengths.append(length.cm)
    context = {"doubt": form.doubt_about(line.entry.key, lengths), "keep": line.keep}
    response = render(request, "reports/_question.html", context)
    patch_cache_control(response, private=True, no_store=True)
    return response
