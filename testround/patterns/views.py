from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from testround.kernel.cautions import cautions_for
from testround.kernel.round import Pattern as SheetDocument
from testround.patterns.access import Right, require, rights_on
from testround.patterns.blocks import BlockRefused, fill, pastable
from testround.patterns.checks import check
from testround.patterns.compiled import name_of_sheet
from testround.patterns.drafts import SheetDraft
from testround.patterns.fields import GROUPS, Scale
from testround.patterns.forms import BlankSheetForm, NextEditionForm, UploadForm
from testround.patterns.models import Edition
from testround.patterns.selectors import (
    edition_as_file,
    editions_listed,
    editions_of,
    patterns_listed,
    patterns_of,
    patterns_standing,
)
from testround.patterns.services import (
    PatternInUse,
    SheetChanged,
    SheetFrozen,
    SheetRefused,
    edition_create_next,
    edition_save,
    next_label,
    pattern_create,
    pattern_delete,
    pattern_in_use,
    terms_doubted,
)
from testround.patterns.states import Meanwhile, saved_since, state_now
from testround.people.kept import kept
from testround.people.readers import reader_of

PATTERNS_ON_A_PAGE = 50


@login_required
@require_safe
def pattern_list(request: HttpRequest) -> HttpResponse:
    page = Paginator(patterns_listed(request.user), PATTERNS_ON_A_PAGE).get_page(request.GET.get("page"))
    return render(request, "patterns/list.html", {"page": page, "patterns": patterns_standing(page)})


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def pattern_new(request: HttpRequest) -> HttpResponse:
    """A pattern from a file or from a blank sheet; ``way`` says which of the two forms was sent."""
    way = request.POST.get("way")
    upload = UploadForm(request.POST if way == "file" else None, request.FILES if way == "file" else None)
    blank = BlankSheetForm(request.POST if way == "blank" else None, scale=scale_for(request))
    status = 200
    if way == "file" and upload.is_valid():
        terms = upload.cleaned_data["terms"] or None
        return _created(request, upload.cleaned_data["file"], terms)
    if way == "blank" and blank.is_valid():
        return _created(request, blank.cleaned_data["document"], None)
    if request.method == "POST":
        status = 422
    return render(request, "patterns/new.html", {"upload": upload, "blank": blank, "way": way}, status=status)


def _created(request: HttpRequest, document: SheetDocument, terms: str | None) -> HttpResponse:
    edition = pattern_create(owner=request.user, document=document, terms=terms)
    messages.success(
        request,
        _("{title} is here. Now see whether its numbers are right.").format(title=edition.pattern.title),
    )
    return redirect(edition)


@login_required
@require_safe
def pattern_detail(request: HttpRequest, code: str) -> HttpResponse:
    pattern = get_object_or_404(patterns_of(request.user), code=code)
    editions = list(editions_listed(pattern))
    rounds = [round for edition in editions for round in edition.rounds.all()]
    context = {
        "pattern": pattern,
        "editions": editions,
        "going_on": next((round for round in rounds if round.state != "closed"), None),
        "has_rounds": bool(rounds),
        "may": rights_on(pattern, request.user),
    }
    return render(request, "patterns/detail.html", context)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def pattern_remove(request: HttpRequest, code: str) -> HttpResponse:
    pattern = get_object_or_404(patterns_of(request.user), code=code)
    require(request.user, Right.OWN, pattern)
    problem = ""
    if request.method == "POST":
        try:
            pattern_delete(pattern=pattern, by=request.user)
        except PatternInUse as refusal:
            problem = str(refusal)
        else:
            messages.success(request, _("{title} is deleted.").format(title=pattern.title))
            return redirect("patterns:list")
    context = {
        "pattern": pattern,
        "problem": problem,
        "in_use": pattern_in_use(pattern),
        "editions": editions_listed(pattern),
    }
    return render(request, "patterns/delete.html", context, status=422 if problem else 200)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def sheet(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """The sheet with its desk check; typed in place, or only read once a round has opened on it."""
    edition = edition_for(request, code, pk)
    if request.method == "POST":
        return _sheet_posted(request, edition)
    return _sheet_as_stored(request, edition)


def _sheet_posted(request: HttpRequest, edition: Edition) -> HttpResponse:
    draft = SheetDraft.typed(request.POST, edition.document, scale_for(request))
    draft.take_tries(request.POST)
    if (group := request.POST.get("add", "")) in GROUPS:
        draft.add_row(group)
        return _sheet_page(request, edition, draft, None, typing=True)
    action = request.POST.get("action", "save")
    if action == "paste":
        return _pasted(request, edition, draft)
    document = draft.read()
    if action == "check" or document is None:
        return _sheet_page(
            request, edition, draft, document, typing=True, status=200 if action == "check" else 422
        )
    refusal, meanwhile = "", None
    try:
        if action == "next":
            saved = edition_create_next(
                edition=edition, label=document.edition, document=document, by=request.user
            )
        else:
            saved = edition_save(
                edition=edition,
                document=document,
                revision=revision_posted(request),
                by=request.user,
                terms=_terms(request),
            )
    except SheetRefused as refused:
        draft.refuse(refused.problems)
    except (SheetFrozen, SheetChanged) as changed:
        refusal = str(changed)
        edition = changed.edition
        if isinstance(changed, SheetChanged):
            meanwhile = saved_since(edition, revision_posted(request), draft.scale)
    else:
        messages.success(request, _("Edition {label} is saved.").format(label=saved.label))
        return redirect(saved)
    return _sheet_page(
        request, edition, draft, document, typing=True, refusal=refusal, meanwhile=meanwhile, status=422
    )


def _pasted(request: HttpRequest, edition: Edition, draft: SheetDraft) -> HttpResponse:
    """The page with a block put into its fields, or with what keeps it out and the block still there."""
    text = request.POST.get("paste-text", "")
    paste: dict[str, Any] = {
        "text": text,
        "row": request.POST.get("paste-row", ""),
        "size": request.POST.get("paste-size", ""),
    }
    try:
        filled = fill(draft, text, f"{paste['row']}-{paste['size']}")
    except BlockRefused as refused:
        paste["sentences"] = refused.sentences
        return _sheet_page(request, edition, draft, draft.read(), typing=True, paste=paste, status=422)
    paste = {"said": filled.sentence}
    return _sheet_page(request, edition, draft, draft.read(), typing=True, paste=paste)


@login_required
@require_POST
def sheet_paste(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """What a pasted block puts into which fields, for the script to put there. Nothing is stored."""
    edition = edition_for(request, code, pk)
    draft = SheetDraft.typed(request.POST, edition.document, scale_for(request))
    try:
        filled = fill(draft, request.POST.get("paste-text", ""), request.POST.get("paste-at", ""))
    except BlockRefused as refused:
        return JsonResponse({"sentences": refused.sentences}, status=422)
    return JsonResponse(
        {"cells": {cell.id: cell.text for cell in filled.cells}, "sentences": [filled.sentence]}
    )


def _sheet_page(
    request: HttpRequest,
    edition: Edition,
    draft: SheetDraft,
    document: SheetDocument | None,
    *,
    typing: bool = False,
    refusal: str = "",
    meanwhile: Meanwhile | None = None,
    paste: Mapping[str, Any] | None = None,
    status: int = 200,
) -> HttpResponse:
    """``typing`` keeps the fields on the page even when the sheet was frozen meanwhile."""
    context = {
        **_beside_fields(edition),
        **_fields_context(edition, draft, document),
        "refusal": refusal,
        "typing": typing,
        "meanwhile": meanwhile,
        "paste": paste or {},
        "status": status,
    }
    reading = edition.is_frozen and not typing
    return render(request, _sheet_template(reading), context, status=status)


def _sheet_as_stored(request: HttpRequest, edition: Edition) -> HttpResponse:
    """A sheet in which nobody is typing: kept for all who work on it until one of them saves it.

    What is tried and which plots are asked for stands in the address, and is worked out each time.
    """

    def fields() -> dict[str, Any]:
        draft = SheetDraft.of(edition.document, scale_for(request))
        draft.take_tries(request.GET)
        draft.take_plots(request.GET.getlist("plot"))
        return _fields_context(edition, draft, edition.document)

    context = _beside_fields(edition)
    if request.GET:
        context |= fields()
    else:
        context["kept"] = kept(
            request,
            "sheet",
            (edition.pattern.code, edition.pattern.title),
            (edition.pk, edition.label, edition.revision, edition.terms, edition.is_frozen),
            name_of_sheet(edition.sheet),
            (state := context["state"]) and (str(state.saved_by or ""), state.saved_at, state.before),
            needs=fields,
        )
    return render(request, _sheet_template(edition.is_frozen), context)


def _sheet_template(reading: bool) -> str:
    return "patterns/sheet_frozen.html" if reading else "patterns/sheet.html"


def _beside_fields(edition: Edition) -> dict[str, Any]:
    return {
        "edition": edition,
        "pattern": edition.pattern,
        "state": None if edition.is_frozen else state_now(edition),
    }


def _fields_context(edition: Edition, draft: SheetDraft, document: SheetDocument | None) -> dict[str, Any]:
    """What the fields of a sheet, and all that is said of them, are written from."""
    return {
        **_sheet_context(edition, draft, document),
        "pastable": pastable(draft),
        "cautions": cautions_for(edition.document),
        "next_form": NextEditionForm(initial={"label": next_label(edition.label)}),
    }


def _sheet_context(edition: Edition, draft: SheetDraft, document: SheetDocument | None) -> dict[str, Any]:
    return {
        "edition": edition,
        "pattern": edition.pattern,
        "draft": draft,
        "check": check(draft, document),
        "terms_choices": Edition.Terms.choices,
        "terms_doubt": terms_doubted(edition.document, edition.terms),
    }


@login_required
@require_POST
def sheet_check(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """The desk check of what is typed so far, as a fragment. Nothing is stored."""
    edition = edition_for(request, code, pk)
    draft = SheetDraft.typed(request.POST, edition.document, scale_for(request))
    draft.take_tries(request.POST)
    return render(request, "patterns/_check_answer.html", _sheet_context(edition, draft, draft.read()))


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def next_edition(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    edition = edition_for(request, code, pk)
    form = NextEditionForm(request.POST or None, initial={"label": next_label(edition.label)})
    if request.method == "POST" and form.is_valid():
        try:
            following = edition_create_next(
                edition=edition, label=form.cleaned_data["label"], by=request.user
            )
        except SheetRefused as refused:
            for problem in refused.problems:
                form.add_error("label", f"{problem.sentence[:1].upper()}{problem.sentence[1:]}.")
        else:
            messages.success(
                request,
                _("Edition {next} starts from edition {label}.").format(
                    next=following.label, label=edition.label
                ),
            )
            return redirect(following)
    context = {"edition": edition, "pattern": edition.pattern, "form": form}
    return render(request, "patterns/next_edition.html", context, status=422 if form.errors else 200)


@login_required
@require_safe
def edition_file(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """The edition as a file that can be kept, sent and uploaded again."""
    edition = edition_for(request, code, pk)
    name = slugify(f"{edition.pattern.title} {edition.label.replace('.', '-')}") or "pattern"
    return HttpResponse(
        edition_as_file(edition),
        content_type="application/json",
        headers={"Content-Disposition": f'attachment; filename="{name}.json"'},
    )


def edition_for(request: HttpRequest, code: str, pk: int) -> Edition:
    """An edition that the signed-in person may change, or 404."""
    return get_object_or_404(editions_of(request.user, Right.EDIT), pattern__code=code, pk=pk)


def scale_for(request: HttpRequest) -> Scale:
    """The units that the signed-in person reads and types in."""
    reader = reader_of(request.user)
    return Scale(units=reader.units, tools=reader.tools)


def revision_posted(request: HttpRequest, name: str = "revision") -> int:
    """The revision the page was made from; 0, which no sheet has, when a form does not say."""
    typed = request.POST.get(name, "")
    return int(typed) if typed.isdecimal() and len(typed) < 10 else 0


def _terms(request: HttpRequest) -> str | None:
    terms = request.POST.get("terms")
    return terms if terms in Edition.Terms.values else None
