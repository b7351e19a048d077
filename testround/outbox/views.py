from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.cache import patch_cache_control
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.debug import sensitive_variables
from django.views.decorators.http import require_http_methods

from testround.outbox.stopping import KINDS, UnknownAddress, mail_resume, mail_stop, of_token


# A mail program posts here by itself, without a cookie and without having seen the page (RFC 8058, section 3.2). Who
# has the address may do so: it is signed, and stands in the person's own mail.
@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
@sensitive_variables("token")
def stop(request: HttpRequest, token: str) -> HttpResponse:
    """No more mails of one kind: asked about on the page, done by a post. Looking changes nothing."""
    try:
        person_id, kind = of_token(token)
    except UnknownAddress:
        raise Http404 from None
    done = ""
    if request.method == "POST":
        if request.POST.get("again"):
            mail_resume(person_id=person_id, kind=kind)
            done = "again"
        else:
            mail_stop(person_id=person_id, kind=kind)
            done = "stopped"
    response = render(request, "mail/stop.html", {"words": KINDS[kind], "done": done})
    patch_cache_control(response, no_store=True, private=True)
    # The address of this page is somebody's: no other address learns it.
    response.headers["Referrer-Policy"] = "no-referrer"
    response.headers["X-Robots-Tag"] = "noindex"
    return response
