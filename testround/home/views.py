from __future__ import annotations

from django.conf import settings
from django.core.cache import cache
from django.db import connection
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from testround.home.selectors import today_of
from testround.outbox.mailbox import mails


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    if not request.user.is_authenticated:
        return render(request, "home/welcome.html", {"embedded": settings.EMBEDDED})
    return render(request, "home/today.html", {"today": today_of(request.user)})


@require_safe
@never_cache
def mailbox(request: HttpRequest) -> HttpResponse:
    """The mail folder of an embedded installation. A served one sends real mail and has no such page."""
    if not settings.EMBEDDED or settings.EMAIL_HOST:
        raise Http404
    return render(request, "home/mailbox.html", {"mails": mails()})


@require_safe
@never_cache
def health(request: HttpRequest) -> HttpResponse:
    """200 when the database (and Redis, where used) answer; 503 naming what does not."""
    checks = {"database": _database_answers(), "cache": _cache_answers()}
    return JsonResponse(
        {name: "ok" if well else "no answer" for name, well in checks.items()},
        status=200 if all(checks.values()) else 503,
    )


def _database_answers() -> bool:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            return cursor.fetchone() == (1,)
    except Exception:
        return False


def _cache_answers() -> bool:
    try:
        cache.set("health", "ok", 10)
        return bool(cache.get("health") == "ok")
    except Exception:
        return False
