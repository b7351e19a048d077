"""The page of those who run a pattern: how many follow it."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from testround.following.selectors import followers_count, patterns_followed
from testround.patterns.access import rights_on


@require_safe
@login_required
def following(request: HttpRequest, code: str) -> HttpResponse:
    pattern = get_object_or_404(patterns_followed(request.user), code=code)
    context = {
        "pattern": pattern,
        "followers": followers_count(pattern),
        "may": rights_on(pattern, request.user),
    }
    return render(request, "following/pattern.html", context)
