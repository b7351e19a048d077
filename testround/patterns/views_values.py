"""A sheet's values by size as a spreadsheet file, out and in. What would change is shown before it is saved."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.roundfile import plain
from testround.patterns.changes import Change, changes_between
from testround.patterns.checks import SheetCheck, check
from testround.patterns.drafts import SheetDraft
from testround.patterns.fields import Scale
from testround.patterns.models import Edition
from testround.patterns.services import SheetChanged, SheetFrozen, SheetRefused, edition_save
from testround.patterns.spreadsheets import MOST_BYTES, FileRefused, csv_of, grid_of, xlsx_of
from testround.patterns.states import FROM_FILE
from testround.patterns.values_table import pattern_with, table_of
from testround.patterns.views import edition_for, revision_posted, scale_for

# What goes from the preview to the save is in centimetres in full, whatever its reader reads.
_EXACT = Scale(units="cm")
KINDS = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


@dataclass(frozen=True, slots=True)
class WasNow:
    size: str
    was: str
    now: str


@dataclass(frozen=True, slots=True)
class Row:
    """The values of one entry that a file would change."""

    title: str
    rows: tuple[WasNow, ...]


@dataclass(frozen=True, slots=True)
class Preview:
    """What a file would change, and what the desk check says of the sheet with it."""

    rows: tuple[Row, ...]
    values: int
    check: SheetCheck
    csv: str


@login_required
@require_safe
def values_file(request: HttpRequest, code: str, pk: int, kind: str) -> HttpResponse:
    """The values by size as a CSV or XLSX file, in the reader's unit of lengths."""
    edition = edition_for(request, code, pk)
    document = edition.document
    if kind not in KINDS or not document.is_graded:
        raise Http404
    table = table_of(document, scale_for(request))
    content = csv_of(table) if kind == "csv" else xlsx_of(table, title="Values by size")
    name = slugify(f"{edition.pattern.title} {edition.label.replace('.', '-')}") or "pattern"
    return HttpResponse(
        content,
        content_type=KINDS[kind],
        headers={"Content-Disposition": f'attachment; filename="{name}-values.{kind}"'},
    )


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def values(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """The files to take out, the form to bring one in, and what one that was brought in would change."""
    edition = edition_for(request, code, pk)
    if request.method != "POST":
        return _page(request, edition)
    if edition.is_frozen:
        return _page(request, edition, refusal=str(SheetFrozen(edition)))
    document = edition.document
    applies = request.POST.get("action") == "apply"
    try:
        if applies:
            grid = grid_of(request.POST.get("csv", "").encode("utf-8", "replace"))
            following = pattern_with(grid, document, _EXACT)
        else:
            upload = request.FILES.get("file")
            if upload is None:
                return _page(request, edition, refusal=_("Choose a file first."))
            # One byte more than is taken tells that there is more; the rest stays unread.
            following = pattern_with(
                grid_of(upload.read(MOST_BYTES + 1), name=str(upload.name)), document, scale_for(request)
            )
    except FileRefused as refused:
        return _page(request, edition, problems=refused.problems)
    changes = changes_between(plain(document), plain(following))
    if not changes:
        return _page(request, edition, same=True)
    refusal = ""
    if applies:
        try:
            saved = edition_save(
                edition=edition,
                document=following,
                revision=revision_posted(request),
                by=request.user,
                way=FROM_FILE,
            )
        except SheetChanged as changed:
            edition = changed.edition
            refusal = _(
                "Somebody saved this sheet after you looked at the changes. Nothing was stored: look at what would "
                "change now, then put it in."
            )
            try:
                following = pattern_with(grid, edition.document, _EXACT)
            except FileRefused as refused:
                return _page(request, edition, problems=refused.problems, refusal=refusal)
            changes = changes_between(plain(edition.document), plain(following))
        except SheetFrozen as frozen:
            return _page(request, frozen.edition, refusal=str(frozen))
        except SheetRefused as refused:
            return _page(request, edition, problems=refused.problems)
        else:
            messages.success(
                request, _("The values from the file are saved. “Take back this save” undoes it.")
            )
            return redirect(saved)
    return _page(request, edition, refusal=refusal, preview=_preview(changes, following, scale_for(request)))


def _preview(changes: list[Change], following: SheetDocument, scale: Scale) -> Preview:
    by_row: dict[str, list[WasNow]] = {}
    for change in changes:
        was, now = change.texts(scale, following.craft)
        title = replace(change, size="").place
        by_row.setdefault(title, []).append(WasNow(change.size, was or "–", now or "–"))
    draft = SheetDraft.of(following, scale)
    return Preview(
        tuple(Row(title, tuple(rows)) for title, rows in by_row.items()),
        len(changes),
        check(draft, following),
        csv_of(table_of(following, _EXACT)).decode("utf-8-sig"),
    )


def _page(
    request: HttpRequest,
    edition: Edition,
    *,
    problems: Any = (),
    refusal: str = "",
    preview: Preview | None = None,
    same: bool = False,
) -> HttpResponse:
    context = {
        "edition": edition,
        "pattern": edition.pattern,
        "is_graded": edition.document.is_graded,
        "units": scale_for(request).units,
        "problems": problems,
        "refusal": refusal,
        "preview": preview,
        "same": same,
        "most_mb": MOST_BYTES // 1_000_000,
    }
    return render(request, "patterns/values.html", context, status=422 if problems or refusal else 200)
