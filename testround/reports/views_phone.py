"""What a tester's phone talks to while the work goes on: counting, drafts, the timer, and the page without network."""

from __future__ import annotations

import datetime as dt
import json
import uuid
from pathlib import Path
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from testround.kernel.cautions import sitting_caution
from testround.reports import timer
from testround.reports.counting import Counted, Tally, counted_at, events_take
from testround.reports.counting_page import ask_for, presses_of, step_to_do, steps_by_section
from testround.reports.drafts import draft_drop, draft_keep, form_known, worth_keeping
from testround.reports.forms_phone import CounterForm, StopForm
from testround.reports.selectors import place_held
from testround.reports.views_shared import desk_at, onward, place_address, shown
from testround.rounds.refusals import Refused

MOST_BYTES = 200_000
WORKER = Path(__file__).resolve().parent.parent / "static" / "js" / "worker.js"


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def counting(request: HttpRequest, pk: int) -> HttpResponse:
    """Rows and steps. With scripts a press costs no request; without them it is a form."""
    desk = desk_at(request, pk)
    counted = counted_at(desk.place)
    form = CounterForm(request.POST if "add" in request.POST else None, desk=desk, ticked=counted.ticked)
    if request.method == "POST" and (not form.is_bound or form.is_valid()):
        events, chosen = presses_of(request.POST, counted, form.cleaned_data if form.is_bound else None)
        try:
            events_take(place=desk.place, pattern=desk.pattern, events=events)
        except Refused as refused:
            messages.error(request, refused.sentence)
        return redirect(f"{place_address('counting', desk.place)}{ask_for(chosen)}")
    sections = steps_by_section(desk, counted)
    context = {
        "form": form,
        "counted": counted,
        "chosen": _chosen(counted, request.GET.get("counter", "")),
        "sections": sections,
        "to_do": step_to_do(sections),
        "key": uuid.uuid4(),
        "running": timer.running_at(desk.place),
        "stop": StopForm(desk=desk),
    }
    return shown(request, "reports/counting.html", desk, context, status=422 if form.is_bound else 200)


def _chosen(counted: Counted, code: str) -> Tally | None:
    """The counter that is named, else the one made last."""
    named = (tally for tally in counted.tallies if str(tally.code) == code)
    return next(named, counted.tallies[-1] if counted.tallies else None)


@login_required
@require_POST
def counting_events(request: HttpRequest, pk: int) -> HttpResponse:
    """What a phone has gathered: taken in, and answered with what stands now."""
    desk = desk_at(request, pk)
    events = _document(request).get("events")
    if not isinstance(events, list):
        return JsonResponse({"error": _("There are no events in this.")}, status=422)
    try:
        taken = events_take(place=desk.place, pattern=desk.pattern, events=events)
    except Refused as refused:
        return JsonResponse({"error": refused.sentence}, status=422)
    return JsonResponse(
        {"taken": taken.taken, "refused": taken.refused, "state": counted_at(desk.place).document()}
    )


@login_required
@require_POST
def draft(request: HttpRequest, pk: int) -> HttpResponse:
    """What stands in a form and is not sent: kept, for this person alone."""
    held = place_held(request.user, pk)
    document = _document(request)
    form, values = str(document.get("form")), document.get("values")
    if not form_known(form) or not isinstance(values, dict):
        return JsonResponse({"error": _("This is no form of a place.")}, status=422)
    kept = worth_keeping(values)
    if kept is None:
        return JsonResponse({"error": _("This is more than a draft holds; send it instead.")}, status=422)
    based_on = document.get("based_on")
    try:
        answer = draft_keep(
            place=held,
            person=request.user,
            form=form,
            values=kept,
            at=_time(document.get("at")),
            based_on=based_on if isinstance(based_on, int) else None,
            key=_uuid(document.get("key")),
        )
    except Refused as refused:
        return JsonResponse({"error": refused.sentence}, status=422)
    return JsonResponse({"revision": answer.revision, "newest": answer.is_newest})


@login_required
@require_POST
def draft_afresh(request: HttpRequest, pk: int) -> HttpResponse:
    """Forget a draft, and on to its form."""
    held = place_held(request.user, pk)
    form = request.POST.get("draft", "")
    if not form_known(form):
        return JsonResponse({"error": _("This is no form of a place.")}, status=422)
    draft_drop(place=held, person=request.user, form=form)
    name, _space, section = form.partition(" ")
    page = place_address("photo_new" if name == "photo" else name, held)
    return onward(request, f"{page}?section={section}" if section else page)


@login_required
@require_POST
def timer_start(request: HttpRequest, pk: int) -> HttpResponse:
    held = place_held(request.user, pk)
    parts = {part.key for part in held.round.edition.document.parts}
    part = request.POST.get("part", "")
    timer.timer_start(place=held, part=part if part in parts else "")
    return onward(request, _back(request, pk))


@login_required
@require_POST
def timer_stop(request: HttpRequest, pk: int) -> HttpResponse:
    """End the sitting and log it; one that was forgotten is asked about on the page of hours."""
    desk = desk_at(request, pk)
    form = StopForm(request.POST, desk=desk)
    if not form.is_valid():
        for error in (error for errors in form.errors.values() for error in errors):
            messages.error(request, str(error))
        return onward(request, f"{place_address('sitting', desk.place)}")
    try:
        submission = timer.timer_stop(place=desk.place, by=request.user, **form.report())
    except timer.Forgotten:
        messages.warning(
            request,
            _(
                "How long the timer ran is not certain: more than twelve hours, or the clock was put back. Say how "
                "long it really was; nothing is logged yet."
            ),
        )
        return onward(request, place_address("sitting", desk.place))
    if submission is None:
        messages.info(
            request, _("That was less than a minute, or it was logged before; nothing more is logged.")
        )
        return onward(request, _back(request, pk))
    hours = submission.sitting_rows.get().hours
    caution = sitting_caution(round(hours, 1))
    said = _("Logged: a sitting of {length} hours.").format(
        length=timer.clock(dt.timedelta(hours=hours, seconds=1))
    )
    messages.success(request, f"{said}{' ' + caution.sentence if caution else ''}")
    return onward(request, desk.place.get_absolute_url())


@login_required
@require_POST
def timer_drop(request: HttpRequest, pk: int) -> HttpResponse:
    held = place_held(request.user, pk)
    timer.timer_drop(place=held)
    messages.info(request, _("The timer is stopped, and nothing is logged."))
    return onward(request, place_address("sitting", held))


def _back(request: HttpRequest, pk: int) -> str:
    """The page whose timer was pressed."""
    held = place_held(request.user, pk)
    return place_address("counting" if request.POST.get("from") == "counting" else "sitting", held)


@login_required
@require_safe
@never_cache
def token(request: HttpRequest) -> HttpResponse:
    """A token for the next post, when the one that a page came with no longer counts."""
    return JsonResponse({"token": get_token(request)})


@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """The script that opens the counting page without a network. Its address is what limits it to these pages."""
    response = HttpResponse(WORKER.read_text(), content_type="text/javascript; charset=utf-8")
    response.headers["Cache-Control"] = "no-cache"
    response.headers["Service-Worker-Allowed"] = "/places/"
    return response


def _document(request: HttpRequest) -> dict[str, Any]:
    """What was posted as JSON; nothing where it is none."""
    if len(request.body) > MOST_BYTES:
        return {}
    try:
        document = json.loads(request.body)
    except ValueError:
        return {}
    return document if isinstance(document, dict) else {}


def _time(text: Any) -> dt.datetime | None:
    try:
        at = parse_datetime(str(text))
    except ValueError:
        return None
    return at if at is not None and timezone.is_aware(at) else None


def _uuid(text: Any) -> uuid.UUID | None:
    try:
        return uuid.UUID(str(text))
    except ValueError:
        return None
