"""What the pages of a round have in common."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.cache import patch_cache_control
from django.views.decorators.http import require_http_methods

from testround.patterns.access import Right
from testround.people.kept import Kept, kept
from testround.rounds.models import Place, Round
from testround.rounds.selectors import round_for
from testround.rounds.services.drafts import CACHED_FOR_SECONDS as KEPT_FOR_SECONDS
from testround.rows import as_loaded

MOST_DIGITS = 4

form_view = require_http_methods(["GET", "HEAD", "POST"])


def round_here(request: HttpRequest, code: str, right: Right = Right.EDIT) -> Round:
    return round_for(request.user, code, right)


def place_here(request: HttpRequest, code: str, pk: int, right: Right = Right.EDIT) -> tuple[Round, Place]:
    round = round_here(request, code, right)
    return round, get_object_or_404(round.places, pk=pk)


def page_of(request: HttpRequest, rows: Any, per_page: int) -> Any:
    return Paginator(rows, per_page).get_page(page_asked(request))


def page_asked(request: HttpRequest) -> str:
    """The page of a list that an address asks for, as far as it is one."""
    page = request.GET.get("page", "")
    return page if page.isdecimal() and len(page) <= MOST_DIGITS else ""


def one_of(known: list[str], asked: str | None) -> str:
    return asked if asked in known else ""


def posted(request: HttpRequest) -> Any:
    """What a form is bound to: whatever was posted, be it nothing; None, which leaves it unbound, on a visit."""
    return request.POST if request.method == "POST" else None


def kept_here(
    request: HttpRequest,
    part: str,
    round: Round,
    digest_of: Callable[[Round], str],
    *rests_on: Any,
    needs: Callable[[], Mapping[str, Any]],
) -> Kept:
    """The place of a part that shows a round, its pattern, the rows that a digest names, and what else is given."""
    digest = digest_of(round)
    edition = round.edition
    return kept(
        request,
        part,
        digest,
        as_loaded(round, edition, edition.pattern),
        rests_on,
        holds=lambda: digest_of(round) == digest,
        needs=needs,
        # Candidates and places have names and measures.
        seconds=KEPT_FOR_SECONDS,
    )


def form_page(request: HttpRequest, template: str, form: Any, **context: Any) -> HttpResponse:
    status = 422 if form.is_bound and form.errors else 200
    return render(request, template, {"form": form, **context}, status=status)


def secret_page(response: HttpResponse) -> HttpResponse:
    """A page whose address is a secret, as that of a link in a mail: nothing keeps it and no other address learns it.

    The bare origin is still sent, because a post without one is refused as forged.
    """
    patch_cache_control(response, no_store=True, private=True)
    response.headers["Referrer-Policy"] = "strict-origin"
    response.headers["X-Robots-Tag"] = "noindex"
    return response
