"""Pages of those who run a pattern: how many follow it, and to which programs its errata are posted."""

from __future__ import annotations

import uuid
from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from testround.following import webhooks
from testround.following.forms import WebhookForm
from testround.following.models import Webhook
from testround.following.selectors import (
    deliveries_of,
    following_of,
    patterns_followed,
    webhooks_open_to,
)
from testround.patterns.access import Right, require, rights_on
from testround.people.models import User
from testround.rounds.forms.fields import add_refusal
from testround.rounds.refusals import Refused
from testround.rounds.throttle import counted
from testround.rounds.views.shared import form_view, page_of, posted, secret_page

DELIVERIES_A_PAGE = 20
HOUR = 60 * 60
# Posts that a person sets off by hand, to one address.
MOST_BY_HAND = 30


def _user(request: HttpRequest) -> User:
    return cast(User, request.user)


@form_view
@login_required
def following(request: HttpRequest, code: str) -> HttpResponse:
    """Who hears of a pattern's errata; for its owner with the programs they are posted to, and a form that adds one."""
    pattern = get_object_or_404(patterns_followed(_user(request)), code=code)
    may = rights_on(pattern, _user(request))
    form = WebhookForm(posted(request))
    if request.method == "POST":
        require(_user(request), Right.PUBLISH, pattern)
        if form.is_valid():
            try:
                webhook, is_new = webhooks.webhook_add(
                    pattern=pattern,
                    url=form.cleaned_data["url"],
                    key=form.cleaned_data["key"] or uuid.uuid4(),
                    by=_user(request),
                )
            except Refused as refused:
                add_refusal(form, refused)
            else:
                return _secret_shown(request, webhook) if is_new else redirect(webhook)
    context = {
        "pattern": pattern,
        "form": form,
        "page": following_of(pattern, with_webhooks=may.publish),
        "may": may,
    }
    return render(request, "following/pattern.html", context, status=422 if form.errors else 200)


def _secret_shown(request: HttpRequest, webhook: Webhook) -> HttpResponse:
    """The secret, this once: nothing keeps the page, and looking at it again leads to the webhook's own."""
    return secret_page(
        render(request, "following/secret.html", {"webhook": webhook, "pattern": webhook.pattern})
    )


def _webhook(request: HttpRequest, code: str, key: uuid.UUID) -> Webhook:
    return get_object_or_404(webhooks_open_to(_user(request)), pattern__code=code, key=key)


@require_safe
@login_required
def webhook(request: HttpRequest, code: str, key: uuid.UUID) -> HttpResponse:
    """One address: how it stands, and all that was posted there."""
    found = _webhook(request, code, key)
    context = {
        "webhook": found,
        "pattern": found.pattern,
        "page": page_of(request, deliveries_of(found), DELIVERIES_A_PAGE),
    }
    return render(request, "following/webhook.html", context)


@require_POST
@login_required
def webhook_test(request: HttpRequest, code: str, key: uuid.UUID) -> HttpResponse:
    found = _webhook(request, code, key)
    if _may_by_hand(request, found):
        webhooks.webhook_test(webhook=found, by=_user(request))
        messages.success(
            request, _("A trial message is on its way. How it was answered stands below in a moment.")
        )
    return redirect(found)


@require_POST
@login_required
def webhook_secret(request: HttpRequest, code: str, key: uuid.UUID) -> HttpResponse:
    found = _webhook(request, code, key)
    return _secret_shown(request, webhooks.webhook_secret_renew(webhook=found, by=_user(request)))


@require_POST
@login_required
def webhook_pause(request: HttpRequest, code: str, key: uuid.UUID) -> HttpResponse:
    found = _webhook(request, code, key)
    webhooks.webhook_pause(webhook=found, by=_user(request))
    messages.success(request, _("Paused. What is published meanwhile is held back for it."))
    return redirect(found)


@require_POST
@login_required
def webhook_resume(request: HttpRequest, code: str, key: uuid.UUID) -> HttpResponse:
    found = _webhook(request, code, key)
    held = webhooks.webhook_resume(webhook=found, by=_user(request))
    said = ngettext(
        "Taken up again; {n} message that was held back is on its way.",
        "Taken up again; {n} messages that were held back are on their way.",
        held,
    )
    messages.success(request, said.format(n=held) if held else _("Taken up again."))
    return redirect(found)


@require_POST
@login_required
def webhook_remove(request: HttpRequest, code: str, key: uuid.UUID) -> HttpResponse:
    found = _webhook(request, code, key)
    webhooks.webhook_remove(webhook=found, by=_user(request))
    messages.success(request, _("Nothing is posted to {address} any more.").format(address=found.url))
    return redirect("following:pattern", code)


@require_POST
@login_required
def delivery_again(request: HttpRequest, code: str, key: uuid.UUID, pk: int) -> HttpResponse:
    found = _webhook(request, code, key)
    delivery = get_object_or_404(found.deliveries.select_related("webhook__pattern"), pk=pk)
    if found.paused and delivery.erratum_id is not None:
        messages.warning(request, _("The address is paused; take it up again first."))
    elif _may_by_hand(request, found):
        if webhooks.delivery_send_again(delivery=delivery, by=_user(request)):
            messages.success(request, _("On its way again, under the same id."))
        else:
            messages.success(request, _("It is being posted already."))
    return redirect(found)


def _may_by_hand(request: HttpRequest, webhook: Webhook) -> bool:
    """Count one post set off by hand. Says so on the page where they are too many."""
    if counted("webhook by hand", str(webhook.key), most=MOST_BY_HAND, seconds=HOUR):
        return True
    said = _("Nothing was sent: {n} posts within an hour are as many as may be set off by hand.")
    messages.warning(request, said.format(n=MOST_BY_HAND))
    return False
