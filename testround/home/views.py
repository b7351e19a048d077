from __future__ import annotations

from django.conf import settings
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.text import slugify
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from testround.home.gallery import one_of_everything
from testround.home.selectors import today_of
from testround.outbox.mailbox import mail_named, mail_names, mails
from testround.people.factors import has_factor
from testround.reports.exchange import round_export
from testround.rounds.selectors import rounds_of

MAILS_SHOWN = 100


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    if not request.user.is_authenticated:
        return render(request, "home/welcome.html")
    today = today_of(request.user)
    unguarded = bool(today.patterns) and not has_factor(request.user)
    return render(request, "home/today.html", {"today": today, "unguarded": unguarded})


@require_safe
@never_cache
def mailbox(request: HttpRequest) -> HttpResponse:
    """The mail folder of an embedded installation. A served one sends real mail and has no such page."""
    if not settings.EMBEDDED or settings.EMAIL_HOST:
        raise Http404
    context = {"mails": mails(most=MAILS_SHOWN), "count": len(mail_names()), "folder": settings.MAIL_FOLDER}
    return render(request, "home/mailbox.html", context)


# A mail is shown as it is, styles included; nothing in it is fetched or run, and it cannot speak for the reader.
MAIL_POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; frame-ancestors 'none'; sandbox allow-popups allow-top-navigation-by-user-activation"


@require_safe
@never_cache
def mail_html(request: HttpRequest, name: str) -> HttpResponse:
    """The HTML form of one mail of that folder, as a mail program would show it."""
    if not settings.EMBEDDED or settings.EMAIL_HOST:
        raise Http404
    mail = mail_named(name)
    if mail is None or not mail.html:
        raise Http404
    return HttpResponse(mail.html, headers={"Content-Security-Policy": MAIL_POLICY})


@require_safe
@login_required
@never_cache
def round_file(request: HttpRequest, code: str) -> HttpResponse:
    """The designer's round as a round file; with ``?photos=1`` as a ZIP with its photos."""
    round = get_object_or_404(rounds_of(request.user), code=code)
    photos = request.GET.get("photos") == "1"
    name = f"{slugify(str(round)) or 'round'}.{'zip' if photos else 'json'}"
    return HttpResponse(
        round_export(round, photos=photos),
        content_type="application/zip" if photos else "application/json",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


@require_safe
def parts(request: HttpRequest) -> HttpResponse:
    """One of every part, for whoever writes a page. There only while developing."""
    if not settings.DEBUG:
        raise Http404
    return render(request, "parts/gallery.html", one_of_everything())
