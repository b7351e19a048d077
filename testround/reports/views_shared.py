"""What a tester's pages share: the desk, the form with its draft, and how a form is answered."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import Any, TypeVar

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import patch_cache_control
from django.utils.translation import gettext as _

from testround.people.kept import kept
from testround.people.readers import reader_of
from testround.reports.claims import AlreadySent
from testround.reports.drafts import draft_at, draft_drop, draft_keep, worth_keeping
from testround.reports.forms import SentForm
from testround.reports.models import Photo, Submission
from testround.reports.photos import PhotoRefused
from testround.reports.selectors import Desk, desk_of, pattern_for, place_digest, place_held
from testround.rounds.models import Place
from testround.rounds.refusals import Refused
from testround.rows import as_loaded
from testround.trouble import RETRY_AFTER, no_room, no_room_words

logger = logging.getLogger(__name__)

# What a tester sent stays no longer than this where only its name leads to it.
KEPT_FOR_SECONDS = 60 * 60

AnyForm = TypeVar("AnyForm", bound=SentForm)


def desk_at(request: HttpRequest, pk: int) -> Desk:
    """The desk of the place, when this person holds it; otherwise there is no such page."""
    return desk_of(place_held(request.user, pk), reader_of(request.user).terms)


def form_at(
    kind: type[AnyForm], request: HttpRequest, desk: Desk, *, section: str = "", **more: Any
) -> AnyForm:
    """The form, bound to whatever was posted, be it nothing; unbound on a visit, with its draft beside it.

    A correction has no draft: it begins with what was sent. With ``?kept=1`` the form begins with its draft; that
    is the way of a browser without scripts.
    """
    posted = (request.POST, request.FILES) if request.method == "POST" else ()
    form = kind(*posted, desk=desk, reader=reader_of(request.user), **more)
    if not request.GET.get("corrects"):
        form.draft_name = f"{_page(request)} {section}".strip()
        if not form.is_bound:
            form.draft = draft_at(desk.place, request.user, form.draft_name)
            if form.draft is not None and request.GET.get("kept"):
                form.take_up(form.draft.values)
    return form


def _page(request: HttpRequest) -> str:
    match = request.resolver_match
    name = match.url_name if match is not None else ""
    return "photo" if name == "photo_new" else str(name)


def corrected(request: HttpRequest, held: Place, model: Any) -> Any:
    """The row that this form is to correct, named in the address."""
    pk = request.GET.get("corrects")
    if not pk:
        return None
    if not pk.isascii() or not pk.isdigit() or len(pk) > 18:
        raise Http404
    return get_object_or_404(model, pk=int(pk), place=held)


def visited(
    request: HttpRequest,
    template: str,
    held: Place,
    make: Callable[[Desk], dict[str, Any]],
    *rests_on: Any,
    beside: dict[str, Any] | None = None,
    asked: str = "",
) -> HttpResponse:
    """A page of a place as somebody opens it, kept until anything is sent or said there, or the day is over.

    What it shows beyond the place and what was said in its round is given in ``rests_on``, or, where it changes
    from minute to minute, ``beside`` what is kept. ``asked`` is the query of an address that is kept as well; any
    other is worked out anew.
    """
    reader = reader_of(request.user)
    edition = held.round.edition
    context = {
        "place": held,
        "round": held.round,
        "edition": edition,
        "pattern": pattern_for(edition, reader.terms),
        **(beside or {}),
    }

    def needs() -> dict[str, Any]:
        return make(desk_of(held, reader.terms))

    if request.GET.urlencode() not in ("", asked):
        context |= needs()
    else:
        digest = place_digest(held)
        context["kept"] = kept(
            request,
            template,
            request.GET.urlencode(),
            digest,
            as_loaded(held, held.round, edition, edition.pattern),
            str(edition.pattern.owner),
            timezone.localdate(),
            rests_on,
            holds=lambda: place_digest(held) == digest,
            needs=needs,
            seconds=KEPT_FOR_SECONDS,
        )
    response = render(request, template, context)
    patch_cache_control(response, private=True)
    return response


def shown(
    request: HttpRequest, template: str, desk: Desk, context: dict[str, Any], status: int = 200
) -> HttpResponse:
    held = desk.place
    shared = {"place": held, "round": held.round, "edition": held.round.edition, "pattern": desk.pattern}
    response = render(request, template, {**shared, **context}, status=status)
    patch_cache_control(response, private=True)
    return response


def wants_json(request: HttpRequest) -> bool:
    """Whether a script of ours asks, which follows an address by itself."""
    return request.headers.get("Accept") == "application/json"


def answered(
    request: HttpRequest,
    template: str,
    held: Place,
    make: Callable[[Desk], tuple[AnyForm, dict[str, Any] | Callable[[], dict[str, Any]]]],
    submit: Callable[..., Submission | Photo],
    *,
    received: str | Callable[[Any], str],
    then: str | Callable[[], str | None] | None = None,
    asked: str = "",
    keep: bool = True,
) -> HttpResponse:
    """The form, or the answer to it: taken and on to the next page, or shown again with what was typed.

    ``make`` gives the form and what stands beside it; where that follows from the answer to the form, as a function
    that is called once there is one. Without ``keep`` the page is written anew each time it is opened.
    """
    if request.method != "POST" and keep:
        return visited(request, template, held, lambda desk: _with_form(*make(desk)), asked=asked)
    desk = desk_of(held, reader_of(request.user).terms)
    form, context = make(desk)
    if request.method != "POST":
        return shown(request, template, desk, _with_form(form, context))
    if "keep_for_later" in request.POST and form.draft_name:
        return _kept_for_later(request, desk, form)
    if form.is_valid():
        try:
            result = submit(place=desk.place, key=form.cleaned_data["key"], by=request.user, **form.report())
        except AlreadySent as already:
            form.sent_before(already.sentence)
        except (PhotoRefused, Refused) as refused:
            form.add_error(None, refused.sentence)
        except OSError as error:
            if not no_room(error):
                raise
            logger.error("There is no room left for what testers send: %s", error)
            form.add_error(None, no_room_words())
            response = shown(request, template, desk, _with_form(form, context), 503)
            response.headers["Retry-After"] = str(RETRY_AFTER)
            return response
        else:
            if form.draft_name:
                draft_drop(place=desk.place, person=request.user, form=form.draft_name)
            submission = result.submission if isinstance(result, Photo) else result
            said = received(form) if callable(received) else received
            if submission is not None and submission.late:
                late = _("It came after the date; it is taken all the same, and marked as late.")
                said = f"{said} {late}"
            messages.success(request, said)
            onto = then() if callable(then) else then
            return onward(request, onto or desk.place.get_absolute_url())
    return shown(request, template, desk, _with_form(form, context), 422)


def _with_form(form: SentForm, context: dict[str, Any] | Callable[[], dict[str, Any]]) -> dict[str, Any]:
    return {"form": form, **(context() if callable(context) else context)}


def _kept_for_later(request: HttpRequest, desk: Desk, form: SentForm) -> HttpResponse:
    """The button of a browser without scripts: what is typed becomes a draft, whatever it is, and stays there."""
    values = worth_keeping(request.POST.dict())
    try:
        if values is not None:
            draft_keep(place=desk.place, person=request.user, form=form.draft_name, values=values)
            messages.success(request, _("Kept for you alone, and not sent."))
    except Refused as refused:
        messages.error(request, refused.sentence)
    kept = request.GET.copy()
    kept["kept"] = "1"
    return redirect(f"{request.path}?{kept.urlencode()}")


def onward(request: HttpRequest, url: str) -> HttpResponse:
    """To the next page: a redirect, or the address for the script that sent the form."""
    return JsonResponse({"next": url}) if wants_json(request) else redirect(url)


def place_address(name: str, place: Place) -> str:
    return reverse(f"reports:{name}", args=[place.pk])
