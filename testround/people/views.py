from __future__ import annotations

from dataclasses import asdict

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import get_language_from_request
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from testround.outbox.stopping import choices_of
from testround.people.context import SESSION_KEY, reader_for
from testround.people.forms import PreferencesForm, ShownForm
from testround.people.language import speaking
from testround.people.services import preferences_save


@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def preferences(request: HttpRequest) -> HttpResponse:
    """How you like things shown: kept with the account, or in the session of who has none."""
    kept = asdict(reader_for(request))
    asked_for = get_language_from_request(request)
    if request.user.is_authenticated:
        kept |= {
            "name": request.user.name,
            "time_zone": request.user.time_zone,
            "mails": [choice.kind for choice in choices_of(request.user) if choice.wanted],
        }
        form: ShownForm = PreferencesForm(request.POST or None, initial=kept, asked_for=asked_for)
    else:
        form = ShownForm(request.POST or None, initial=kept, asked_for=asked_for)
    back = _way_back(request)
    if request.method == "POST" and form.is_valid():
        if request.user.is_authenticated:
            preferences_save(
                user=request.user,
                name=form.cleaned_data["name"],
                time_zone=form.cleaned_data["time_zone"],
                shown=form.reader(),
                mails=set(form.cleaned_data["mails"]) if "mails_asked" in request.POST else None,
            )
        else:
            request.session[SESSION_KEY] = asdict(form.reader())
        # The next page is in the language that was chosen, and this stands on it.
        with speaking(form.reader().language or asked_for):
            said = _("Shown from now on: {choices}.").format(choices=form.reader().words)
        messages.success(request, said)
        return redirect(back or "people:preferences")
    return render(
        request,
        "people/preferences.html",
        {"form": form, "back": back},
        status=422 if request.method == "POST" else 200,
    )


def _way_back(request: HttpRequest) -> str:
    """The page the reader came from, when it is one of ours."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    ours = url_has_allowed_host_and_scheme(
        wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return wanted if ours else ""
