"""Asking testers about a finding or about their remarks, from the errata desk."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from testround.errata.doors import judged, user_of
from testround.errata.forms import AskForm
from testround.errata.selectors import askable, read_round
from testround.errata.services import asking_send
from testround.errata.wording import names_of, title_of
from testround.patterns.access import Right, require
from testround.rounds.refusals import Refused

# The digits that a row's key has at most, in any database.
LONGEST_KEY = 18


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def ask(request: HttpRequest, code: str) -> HttpResponse:
    """Whom to ask, and what: about a finding (``?finding=``) or about remarks (``?remark=``, each)."""
    round = judged(request, code)
    require(user_of(request), Right.PUBLISH, round.edition.pattern)
    asked_about = request.POST if request.method == "POST" else request.GET
    finding_id = asked_about.get("finding", "")
    remark_ids = [
        int(key)
        for key in asked_about.getlist("remark")
        if key.isascii() and key.isdigit() and len(key) <= LONGEST_KEY
    ]
    if not finding_id and not remark_ids:
        # What to ask about is chosen there.
        return redirect("errata:desk", round.code)
    read = read_round(round)
    whom = askable(round, read, finding_id, remark_ids)
    if whom is None:
        raise Http404
    names = names_of(read.sheet)
    about = title_of(whom.finding, names) if whom.finding else "; ".join(whom.places_in_text)
    status = 200
    if request.method == "POST":
        form = AskForm(request.POST, places=whom.places)
        if form.is_valid():
            try:
                asked = asking_send(
                    round=round,
                    read=read,
                    key=form.cleaned_data["key"],
                    by=user_of(request),
                    text=form.cleaned_data["text"],
                    place_ids=[int(pk) for pk in form.cleaned_data["place"]],
                    finding_id=finding_id,
                    remark_ids=remark_ids,
                )
            except Refused as refused:
                form.refuse(refused)
            else:
                n = len({row.word_id for row in asked})
                said = ngettext(
                    "{n} tester is asked. The answer will be shown on the desk.",
                    "{n} testers are asked. Their answers will be shown on the desk.",
                    n,
                )
                messages.success(request, said.format(n=n))
                return redirect("errata:desk", round.code)
        status = 422
    else:
        opening = _("About {subject}: ").format(subject=about or _("your remark"))
        form = AskForm(places=whom.places, initial={"text": opening})
    context = {
        "round": round,
        "form": form,
        "whom": whom,
        "about": about,
        "finding_id": finding_id,
        "names": names,
        "sizes": read.sheet.sizes,
    }
    return render(request, "errata/ask.html", context, status=status)
