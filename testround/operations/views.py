from __future__ import annotations

import platform

import django
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe
from prometheus_client import CONTENT_TYPE_LATEST

from testround import __version__
from testround.operations import selectors
from testround.operations.acts import act_record, may_operate
from testround.operations.metrics import exposition, may_read
from testround.operations.readiness import parts
from testround.outbox.mail import mail_let_be, mail_send_again
from testround.outbox.models import Mail, Work
from testround.outbox.services import work_retry


@require_safe
@never_cache
def health(request: HttpRequest) -> HttpResponse:
    """200 while the process answers at all, whatever is the matter with others: who restarts it goes by this."""
    return JsonResponse({"process": "ok"})


@require_safe
@never_cache
def ready(request: HttpRequest) -> HttpResponse:
    """200 when everything that a request may need is there; 503 naming what is not."""
    found = parts()
    return JsonResponse(found, status=200 if set(found.values()) == {"ok"} else 503)


@require_safe
@never_cache
def metrics(request: HttpRequest) -> HttpResponse:
    """For Prometheus, which brings a token."""
    if not may_read(request):
        raise Http404
    return HttpResponse(exposition(), content_type=CONTENT_TYPE_LATEST)


# -- for whoever answers for the server --------------------------------------------------------------------


@require_safe
@login_required
@never_cache
def operator(request: HttpRequest) -> HttpResponse:
    """How the server stands."""
    _only_operators(request)
    backups = selectors.backups()
    ready = parts()
    failed, troubled = selectors.work_failed(), selectors.mails_troubled()
    webhooks = selectors.webhooks_failing()
    # By the heading of each part of the page, so that the first line says where to look.
    needs = (
        ("parts", _("Its parts"), set(ready.values()) != {"ok"}),
        ("backup", _("Backup"), backups.last is None or backups.failed is not None),
        ("failed", _("Work that was given up"), failed),
        ("troubled", _("Mail that failed or may not have arrived"), troubled),
        ("webhooks", _("Webhooks that take nothing"), webhooks),
    )
    context = {
        "needs": [{"part": part, "words": words} for part, words, is_so in needs if is_so],
        "work": selectors.work_queues(),
        "mail": selectors.mail_queues(),
        "failed": failed,
        "troubled": troubled,
        "webhooks": webhooks,
        "photos_waiting": selectors.photos_waiting(),
        "backups": backups,
        "storage": selectors.storage(backups.last),
        "ready": ready,
        "versions": {
            "Testround": __version__,
            "Django": django.__version__,
            "Python": platform.python_version(),
        },
        "most": selectors.SHOWN,
    }
    act_record(request, view="operator")
    return render(request, "operations/operator.html", context)


@require_POST
@login_required
def work_again(request: HttpRequest, pk: int) -> HttpResponse:
    _only_operators(request)
    work = get_object_or_404(Work, pk=pk)
    act_record(request, view="work_again", about=work)
    if work_retry(work=work):
        messages.success(request, _("It is tried again."))
    else:
        messages.info(request, _("It is no longer one that failed."))
    return redirect("operator")


@require_POST
@login_required
def mail_again(request: HttpRequest, pk: int) -> HttpResponse:
    _only_operators(request)
    mail = get_object_or_404(Mail, pk=pk, about="")
    act_record(request, view="mail_again", about=mail)
    if mail_send_again(mail=mail):
        messages.success(request, _("The mail is sent again."))
    else:
        messages.info(request, _("The mail is no longer one in trouble."))
    return redirect("operator")


@require_POST
@login_required
def mail_leave(request: HttpRequest, pk: int) -> HttpResponse:
    _only_operators(request)
    mail = get_object_or_404(Mail, pk=pk, about="")
    act_record(request, view="mail_leave", about=mail)
    if mail_let_be(mail=mail):
        messages.success(request, _("The mail is left at that."))
    else:
        messages.info(request, _("The mail is no longer one in trouble."))
    return redirect("operator")


def _only_operators(request: HttpRequest) -> None:
    if not may_operate(request):
        raise Http404
