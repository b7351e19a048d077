"""The pages of what is said in a round. Each starts from who may read it; to anyone else there is no such page."""

from __future__ import annotations

import hashlib
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.cache import get_conditional_response, patch_cache_control
from django.utils.http import http_date, quote_etag
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from testround.people.language import speaking_to
from testround.rounds.models import Place, Round
from testround.rounds.refusals import Refused
from testround.rounds.selectors import places_of
from testround.talk import services
from testround.talk.dates import (
    address_of,
    calendar_of,
    changed_of,
    dates_of,
    feed_address,
    subscribing_address,
)
from testround.talk.forms import AnswerForm, NoteForm, QuestionForm, WordForm
from testround.talk.models import CalendarAddress, Look, Question
from testround.talk.places import canonical_place, places_named
from testround.talk.selectors import (
    Listener,
    counts_of,
    last_asked,
    like,
    listener_of,
    notes_with_new,
    places_told,
    questions_in,
    round_heard,
    rounds_spoken_for,
    shown_to,
    threads_of,
    words_between,
)

NOTES_A_PAGE = 20
QUESTIONS_A_PAGE = 20
# So many are read as quickly as narrowed down.
NARROWED_FROM = 10
WORDS_A_PAGE = 50
DAYS_SHOWN = 12

form_view = require_http_methods(["GET", "HEAD", "POST"])


def _posted(request: HttpRequest) -> Any:
    return request.POST if request.method == "POST" else None


def _heard(request: HttpRequest, code: str) -> Listener:
    round = round_heard(request.user, code)
    if round is None:
        raise Http404
    return listener_of(request.user, round)


def _spoken_for(request: HttpRequest, code: str) -> Listener:
    round = get_object_or_404(rounds_spoken_for(request.user), code=code)
    return listener_of(request.user, round)


def _page(request: HttpRequest, rows: Any, per_page: int) -> Any:
    return Paginator(rows, per_page).get_page(request.GET.get("page"))


def _looked(request: HttpRequest, what: str, round: Round, place: Place | None = None) -> None:
    """What is on the page counts as read. A program that only asks whether the page is there reads nothing."""
    if request.method == "GET":
        services.look_note(person=request.user, what=what, round=round, place=place)


def _shown(request: HttpRequest, template: str, context: dict[str, Any], status: int = 200) -> HttpResponse:
    response = render(request, template, context, status=status)
    patch_cache_control(response, private=True)
    return response


def _form_page(request: HttpRequest, template: str, form: Any, **context: Any) -> HttpResponse:
    status = 422 if form.is_bound and form.errors else 200
    return _shown(request, template, {"form": form, **context}, status)


# -- notes -------------------------------------------------------------------------------------------------


@login_required
@require_safe
def notes(request: HttpRequest, code: str) -> HttpResponse:
    listener = _heard(request, code)
    rows = notes_with_new(listener.round, request.user).select_related("by")
    page = _page(request, rows, NOTES_A_PAGE)
    page.object_list = list(page.object_list)
    _looked(request, Look.At.NOTES, listener.round)
    return _shown(request, "talk/notes.html", {"listener": listener, "round": listener.round, "page": page})


@login_required
@form_view
def note_new(request: HttpRequest, code: str) -> HttpResponse:
    listener = _spoken_for(request, code)
    form = NoteForm(_posted(request))
    if form.is_valid():
        try:
            services.note_write(
                round=listener.round,
                key=form.cleaned_data["key"],
                by=request.user,
                text=form.cleaned_data["text"],
            )
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, _("Your note is with the testers."))
            return redirect("talk:notes", code)
    told = len(places_told(listener.round, besides=request.user))
    return _form_page(request, "talk/note_new.html", form, listener=listener, round=listener.round, told=told)


# -- questions ---------------------------------------------------------------------------------------------


@login_required
@require_safe
def questions(request: HttpRequest, code: str) -> HttpResponse:
    listener = _heard(request, code)
    round = listener.round
    where = canonical_place(request.GET.get("where", "").replace("\0", "")[:200], round.edition.document)
    waiting = request.GET.get("waiting") == "1"
    page = _page(request, questions_in(round, where=where, waiting=waiting), QUESTIONS_A_PAGE)
    page.object_list = shown_to(listener, list(page.object_list))
    count, unanswered = counts_of(round)
    if not where and not waiting and page.number == 1:
        _looked(request, Look.At.QUESTIONS, round)
    chosen = {"where": where, "waiting": "1" if waiting else ""}
    context = {
        "listener": listener,
        "round": round,
        "page": page,
        "where": where,
        "waiting": waiting,
        "count": count,
        "can_narrow": bool(where or waiting) or count > NARROWED_FROM,
        "unanswered": unanswered,
        "places": places_named(round.edition.document),
        "query": _query(chosen),
    }
    return _shown(request, "talk/questions.html", context)


def _query(chosen: dict[str, str]) -> str:
    said = urlencode({name: value for name, value in chosen.items() if value})
    return f"{said}&" if said else ""


def _question(listener: Listener, pk: int) -> Question:
    return get_object_or_404(questions_in(listener.round), pk=pk)


@login_required
@require_safe
def question(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    listener = _heard(request, code)
    (shown,) = shown_to(listener, [_question(listener, pk)])
    context = {"listener": listener, "round": listener.round, "shown": shown}
    return _shown(request, "talk/question.html", context)


@login_required
@form_view
def answer(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    listener = _spoken_for(request, code)
    (shown,) = shown_to(listener, [_question(listener, pk)])
    form = AnswerForm(_posted(request), standing=len(shown.answers))
    if form.is_valid():
        try:
            services.question_answer(
                question=shown.question,
                key=form.cleaned_data["key"],
                by=request.user,
                text=form.cleaned_data["text"],
                after=form.cleaned_data["after"] or 0,
            )
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, _("Your answer is with the testers, and stands beside that step."))
            return redirect("talk:question", code, pk)
    return _form_page(request, "talk/answer.html", form, listener=listener, round=listener.round, shown=shown)


@login_required
@require_POST
def to_desk(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    listener = _spoken_for(request, code)
    asked = _question(listener, pk)
    try:
        services.question_to_desk(question=asked, by=request.user)
    except Refused as refused:
        messages.error(request, refused.sentence)
    else:
        said = _("{where} is on the errata desk, among the remarks.").format(where=asked.where)
        messages.success(request, said)
    return redirect("talk:question", code, pk)


@login_required
@form_view
def ask(request: HttpRequest, pk: int) -> HttpResponse:
    """A tester asks. What was asked at that place before stands above the form."""
    place = get_object_or_404(places_of(request.user), pk=pk)
    listener = listener_of(request.user, place.round)
    form = QuestionForm(
        _posted(request),
        round=place.round,
        name=place.name,
        initial={"where": request.GET.get("where", "").replace("\0", "")[:200]},
    )
    if form.is_valid():
        try:
            asked = services.question_ask(
                place=place, key=form.cleaned_data["key"], by=request.user, **form.asked()
            )
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, _("Your question has arrived. The answer will stand beside that step."))
            return redirect(asked)
    where = form.asked_at()
    before = like(place.round, where, str(form.data.get("text", ""))) if where else []
    last = last_asked(place.round, where) if before else 0
    form.show(last)
    return _form_page(
        request,
        "talk/ask.html",
        form,
        place=place,
        round=place.round,
        where=where,
        before=shown_to(listener, before),
    )


# -- private words -----------------------------------------------------------------------------------------


@login_required
@form_view
def words(request: HttpRequest, pk: int) -> HttpResponse:
    place = get_object_or_404(threads_of(request.user), pk=pk)
    form = WordForm(_posted(request))
    if form.is_valid():
        try:
            services.word_write(
                place=place, key=form.cleaned_data["key"], by=request.user, text=form.cleaned_data["text"]
            )
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, _("Your words have arrived."))
            return redirect("talk:words", pk)
    page = _page(request, words_between(place, request.user), WORDS_A_PAGE)
    page.object_list = list(page.object_list)
    _looked(request, Look.At.WORDS, place.round, place)
    own = place.tester_id == request.user.pk
    return _form_page(
        request,
        "talk/words.html",
        form,
        place=place,
        round=place.round,
        page=page,
        own=own,
        given_back=place.state == Place.State.GIVEN_BACK,
    )


# -- one's own dates as a calendar -------------------------------------------------------------------------


@login_required
@require_safe
def calendar(request: HttpRequest) -> HttpResponse:
    """The address of one's own calendar. It is a secret, so the page that shows it is kept nowhere."""
    address = CalendarAddress.objects.filter(person=request.user).first()
    days = dates_of(request.user, today=timezone.localdate())
    context = {
        "address": address,
        "url": feed_address(address) if address else "",
        "subscribe": subscribing_address(address) if address else "",
        "coming": [day for day in days if day.day >= timezone.localdate()][:DAYS_SHOWN],
    }
    response = render(request, "talk/calendar.html", context)
    patch_cache_control(response, no_store=True, private=True)
    return response


@login_required
@require_POST
def calendar_renew(request: HttpRequest) -> HttpResponse:
    services.calendar_renew(person=request.user)
    messages.success(request, _("Your calendar has a new address. An older one opens nothing any more."))
    return redirect("talk:calendar")


@login_required
@require_POST
def calendar_stop(request: HttpRequest) -> HttpResponse:
    if services.calendar_stop(person=request.user):
        messages.success(request, _("The address is gone, and whoever had it sees nothing any more."))
    return redirect("talk:calendar")


@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponse:
    """A person's dates, for whoever has the address: a calendar program signs in nowhere."""
    address = address_of(token)
    if address is None:
        raise Http404
    with speaking_to(address.person):
        text = calendar_of(address.person, today=timezone.now().date())
        language = get_language() or ""
    etag = quote_etag(hashlib.sha256(text.encode()).hexdigest())
    changed = int(changed_of(address.person, address).timestamp())
    response = HttpResponse(text, content_type="text/calendar; charset=utf-8")
    response.headers["Content-Disposition"] = 'inline; filename="test-rounds.ics"'
    response.headers["Content-Language"] = language
    response.headers["ETag"] = etag
    response.headers["Last-Modified"] = http_date(changed)
    response.headers["X-Robots-Tag"] = "noindex"
    # Kept by the one program that asked, and asked about again each time.
    patch_cache_control(response, private=True, no_cache=True)
    return get_conditional_response(request, etag=etag, last_modified=changed, response=response)
