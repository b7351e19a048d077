"""Pages about dates: more time for a tester, a designer's friendly word, mails that did not arrive."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_variables

from testround.outbox.mail import Kind, mail_let_be, mail_send_again, mails_counted, mails_in_trouble
from testround.outbox.stopping import wants
from testround.patterns.access import Right
from testround.rounds.due import UNMEASURED, What, date_of
from testround.rounds.forms.dates import NudgeForm, UntilForm
from testround.rounds.forms.fields import add_refusal
from testround.rounds.letters import day
from testround.rounds.letters.dates import likely, made, nudge_draft
from testround.rounds.models import Place
from testround.rounds.refusals import Refused
from testround.rounds.selectors import places_of, round_for
from testround.rounds.selectors.nudges import nudgeable, nudged_today
from testround.rounds.services.dates import UnknownLink, extension_of, place_needs_until, place_of_token
from testround.rounds.services.reminders import nudge_send
from testround.rounds.views.shared import form_view, posted, secret_page

MAILS_SHOWN = 100


@form_view
@sensitive_variables("token")
def until_by_mail(request: HttpRequest, token: str) -> HttpResponse:
    """I need until…, from the link in a mail: who holds the link holds the place's mail, and needs no sign-in."""
    try:
        place = place_of_token(token)
    except UnknownLink:
        raise Http404 from None
    return secret_page(_until(request, place))


@form_view
@login_required
def until(request: HttpRequest, pk: int) -> HttpResponse:
    """I need until…, from the page of one's place."""
    return _until(request, get_object_or_404(places_of(request.user).select_related("tester"), pk=pk))


def _until(request: HttpRequest, place: Place) -> HttpResponse:
    extension = extension_of(place)
    form = UntilForm(posted(request))
    if extension is not None:
        form.fields["other"].widget.attrs["max"] = extension.latest.isoformat()
    if extension is not None and form.is_valid():
        chosen = form.chosen()
        try:
            place_needs_until(place=place, what=extension.due.what, until=chosen, by=place.tester)
        except Refused as refused:
            for problem in refused.problems:
                form.add_error("other", problem.sentence)
        else:
            owner = place.round.edition.pattern.owner
            messages.success(
                request,
                _("Noted: you need until {day}. {owner} sees it.").format(day=day(chosen), owner=owner),
            )
            return redirect(request.path)
    shown = likely(place) if extension and extension.due.what == What.MEASURES else ""
    context = {
        "place": place,
        "piece": made(place) if place.size else place.round.edition.pattern.title,
        "extension": extension,
        "form": form,
        "likely": shown,
    }
    return render(request, "rounds/until.html", context, status=422 if form.is_bound else 200)


@form_view
@login_required
def nudge(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """A friendly word to one tester: drafted, hers to change, and sent by mail."""
    round_ = round_for(request.user, code, Right.EDIT)
    place = get_object_or_404(round_.places.select_related("tester"), pk=pk)
    place.round = round_
    found = nudgeable(place)
    why = found.why if found else "swatch" if place.state == Place.State.TAKEN else "progress"
    due = date_of(place, What.SWATCH if why == "swatch" else What.MEASURES)
    form = NudgeForm(
        posted(request),
        initial={"text": nudge_draft(place=place, why=why, due=due if found else None)},
    )
    if form.is_valid():
        try:
            nudge_send(
                place=place, text=form.cleaned_data["text"], by=request.user, key=form.cleaned_data["key"]
            )
        except Refused as refused:
            add_refusal(form, refused)
        else:
            messages.success(request, _("Your words are on their way to {name}.").format(name=place.name))
            return redirect(round_)
    context = {
        "round": round_,
        "place": place,
        "found": found,
        "form": form,
        "likely": likely(place),
        "obstacle": _obstacle(place),
        "last": place.nudges.order_by("-day").first(),
    }
    return render(request, "rounds/nudge.html", context, status=422 if form.is_bound and form.errors else 200)


def _obstacle(place: Place) -> str:
    """Why no word can be sent to the holder of this place now; nothing where one can."""
    if place.tester is None or place.state not in UNMEASURED:
        return _("Nothing is awaited from {name}, or nobody with an account holds the place.").format(
            name=place.name
        )
    if not wants(place.tester, Kind.REMINDERS):
        return _("{name} wants no reminders by mail, and this counts as one.").format(name=place.name)
    if nudged_today(place.tester):
        return _(
            "{name} has had a friendly word today already. One a day is enough; try again tomorrow."
        ).format(name=place.name)
    return ""


@form_view
@login_required
@never_cache
def mails(request: HttpRequest, code: str) -> HttpResponse:
    """Mails of a round that failed, or that may not have arrived: the designer says which go out once more."""
    round_ = round_for(request.user, code, Right.EDIT)
    rows = mails_in_trouble(round_.code)
    if request.method == "POST":
        mail = rows.filter(pk=_number(request.POST.get("mail"))).first()
        if mail is None:
            messages.info(request, _("That mail is no longer on the list."))
        elif request.POST.get("do") == "again":
            mail_send_again(mail=mail)
            messages.success(
                request, _("The mail to {whom} goes out once more.").format(whom=mail.name or mail.to)
            )
        else:
            mail_let_be(mail=mail)
            messages.success(
                request, _("The mail to {whom} is left at that.").format(whom=mail.name or mail.to)
            )
        return redirect("rounds:mails", code)
    context = {"round": round_, "mails": rows[:MAILS_SHOWN], "counts": mails_counted(round_.code)}
    return render(request, "rounds/mails.html", context)


def _number(text: str | None) -> int:
    return int(text) if text and text.isdecimal() and len(text) < 19 else 0
