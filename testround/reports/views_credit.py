"""How a tester wishes to be thanked."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.cache import patch_cache_control
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from testround.reports.selectors import place_held
from testround.rounds.models import Consent, Place
from testround.rounds.refusals import Refused
from testround.rounds.services.credits import LONGEST_NAME, credit_choose
from testround.rounds.views.shared import form_view


class CreditForm(forms.Form):
    """The name to be thanked by, and whether the report names the tester: neither unless it was said before."""

    # Not a CharField: what is wrong with a name is said by the service, in its own sentences.
    thanked_as = forms.Field(
        label=gettext_lazy("The name to thank me by"),
        required=False,
        widget=forms.TextInput(attrs={"maxlength": LONGEST_NAME, "autocomplete": "off"}),
        help_text=gettext_lazy(
            "As you like it: your whole name, a first name, a name you knit or crochet under. Left empty, you are "
            "not named."
        ),
    )
    in_report = forms.BooleanField(
        label=gettext_lazy("The report of the round may call me by my name"), required=False
    )

    def clean_thanked_as(self) -> str:
        """What was typed, as text."""
        return str(self.cleaned_data["thanked_as"] or "")


@login_required
@form_view
def credit(request: HttpRequest, pk: int) -> HttpResponse:
    """How the tester of a place is thanked, during the round and after it."""
    held = place_held(request.user, pk)
    in_report = _in_report(held)
    form = CreditForm(
        request.POST if request.method == "POST" else None,
        initial={"thanked_as": held.thanked_as, "in_report": in_report},
    )
    if form.is_valid():
        try:
            changed = credit_choose(place=held, by=request.user, **form.cleaned_data)
        except Refused as refused:
            for problem in refused.problems:
                form.add_error(problem.path, problem.sentence)
        else:
            messages.success(request, _("Saved.") if changed else _("Saved; nothing has changed."))
            return redirect("reports:credit", pk)
    pattern = held.round.edition.pattern
    context: dict[str, Any] = {
        "place": held,
        "round": held.round,
        "pattern": held.round.edition.document,
        "owner": pattern.owner,
        "public_address": reverse("errata:list", args=[pattern.code]),
        "in_report": in_report,
        "form": form,
    }
    response = render(request, "reports/credit.html", context, status=422 if form.errors else 200)
    patch_cache_control(response, private=True)
    return response


def _in_report(place: Place) -> bool:
    return place.consents.filter(kind=Consent.Kind.REPORT, withdrawn_at=None).exists()
