"""Two editions of a pattern beside each other, for its designer."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from testround.errata.doors import user_of
from testround.errata.selectors import compared_editions, editions_of
from testround.errata.services import drafts_from_editions
from testround.errata.wording import change_tables, draft_text
from testround.patterns.access import Right, patterns_open_to
from testround.patterns.fields import Scale
from testround.patterns.models import Edition
from testround.people.context import reader_for
from testround.rounds.refusals import Refused


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def compare(request: HttpRequest, code: str) -> HttpResponse:
    """The two newest editions, or those that ``old`` and ``new`` name; a press drafts errata of what differs."""
    pattern = get_object_or_404(patterns_open_to(user_of(request), Right.EDIT), code=code)
    editions = editions_of(pattern)
    typed = request.POST if request.method == "POST" else request.GET
    new = _named(editions, typed.get("new"), 0)
    old = _named(editions, typed.get("old"), 1)
    context = {"pattern": pattern, "editions": editions, "old": old, "new": new, "compared": None}
    if old is None or new is None or old == new:
        # The page says which two it needs.
        return render(
            request, "errata/compare.html", context, status=422 if request.method == "POST" else 200
        )
    reader = reader_for(request)
    compared = compared_editions(old, new, Scale(units=reader.units, tools=reader.tools))
    refusal = None
    if request.method == "POST":
        try:
            drafts = drafts_from_editions(compared=compared, by=user_of(request))
        except Refused as refused:
            refusal = refused
        else:
            said = ngettext(
                "{n} draft made. Word it, then publish it.",
                "{n} drafts made. Word them, then publish them.",
                len(drafts),
            )
            messages.success(request, said.format(n=len(drafts)))
            return redirect("errata:desk", drafts[0].round.code if drafts[0].round else "")
    sizes = old.document.sizes
    context |= {
        "compared": compared,
        "tables": change_tables(compared.changes, reader.units),
        "as_errata": [(group[0]["place"], draft_text(group, sizes)) for group in compared.groups],
        "refusal": refusal,
    }
    return render(request, "errata/compare.html", context, status=422 if refusal else 200)


def _named(editions: list[Edition], key: str | None, otherwise: int) -> Edition | None:
    """The edition of that key; 404 for one that is not of the pattern. Without a key the one at that place."""
    if key is None:
        return editions[otherwise] if len(editions) > otherwise else None
    for edition in editions:
        if str(edition.pk) == key:
            return edition
    raise Http404
