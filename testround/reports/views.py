"""The tester's pages. Each starts from the places the person holds; to anyone else there is no such page."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from urllib.parse import urlencode

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import patch_cache_control
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from testround.kernel.cautions import cautions_for, sitting_caution
from testround.kernel.gauge import SwatchAnswer
from testround.kernel.units import tool_label, tools
from testround.paper.document import Paper
from testround.patterns.access import rights_on
from testround.people.readers import reader_of
from testround.reports import services
from testround.reports.asides import asides_of, news_of
from testround.reports.compared import Wanted, one_photo, photos_in
from testround.reports.counting import counted_at
from testround.reports.counts_page import CountsPage, counts_page, section_after, section_asked
from testround.reports.desks import desks_of
from testround.reports.drafts import drafts_at
from testround.reports.flats import compared_flats, flats_of, measured_pieces, swatch_how
from testround.reports.forms import (
    ConsentsForm,
    CountsForm,
    FinishedForm,
    FitForm,
    GuessForm,
    MeasuresForm,
    PhotoForm,
    RemarkForm,
    SentForm,
    SittingForm,
    SwatchForm,
    YarnForm,
)
from testround.reports.forms_phone import StopForm
from testround.reports.models import Photo, Remark, Sitting, Swatch
from testround.reports.pace import pace_told, time_of
from testround.reports.papers import worksheet_name, worksheet_on_paper
from testround.reports.photos import photo_add, photo_remove
from testround.reports.sections import Section, section_named, sections_of
from testround.reports.selectors import (
    Desk,
    consents_of,
    current_fit,
    desk_of,
    photos_may_be_seen,
    photos_of,
    photos_visible_to,
    place_held,
    place_run,
    rendition_at,
    typed_before,
)
from testround.reports.sent import sent_from
from testround.reports.sheet_page import lettered_dimensions, sheet_sections
from testround.reports.steps import due_of, in_two, late_word, next_step
from testround.reports.summary import summary_of
from testround.reports.tasks import counted_lines, task_groups
from testround.reports.timer import running_at, sitting_log
from testround.reports.views_shared import answered, corrected, form_at, visited
from testround.rounds.models import Place
from testround.rounds.selectors import places_of, rounds_of
from testround.rounds.services.privacy import consents_set

PLACES_A_PAGE = 30
SENT_A_PAGE = 50
PHOTOS_A_PAGE = 48
# Nothing in a photo's address may run, load or frame anything, whatever a browser takes it for.
PHOTO_POLICY = "default-src 'none'; sandbox"

form_view = require_http_methods(["GET", "HEAD", "POST"])


@login_required
@require_safe
def places(request: HttpRequest) -> HttpResponse:
    page = Paginator(places_of(request.user).order_by("-pk"), PLACES_A_PAGE).get_page(request.GET.get("page"))
    desks = desks_of(list(page.object_list))
    making = [(desk.place, next_step(desk)) for desk in desks]
    return render(request, "reports/places.html", {"page": page, "making": making})


@login_required
@require_safe
def place(request: HttpRequest, pk: int) -> HttpResponse:
    held, today = place_held(request.user, pk), timezone.localdate()

    def make(desk: Desk) -> dict[str, object]:
        news = list(news_of(held))
        step = next_step(desk)
        return {
            "step": step,
            "due": due_of(step, held),
            "late": late_word(step, held, today=today),
            "groups": task_groups(desk, counted_at(held)),
            "has_news": any(one.is_new for one in news),
            "answer": desk.swatch_answer(),
            "states": Place.State.choices,
            "cautions": cautions_for(desk.pattern, held.measures),
            "time": time_of(desk, today=today),
            "news": news,
        }

    running = running_at(held)
    clock = {"running": running, "stop": StopForm(desk=desk_of(held)) if running else None}
    return visited(request, "reports/place.html", held, make, pace_told(held, today), beside=clock)


@login_required
@form_view
def swatch(request: HttpRequest, pk: int) -> HttpResponse:
    def make(desk: Desk) -> tuple[SwatchForm, Callable[[], dict[str, object]]]:
        corrects = corrected(request, desk.place, Swatch)
        form = form_at(SwatchForm, request, desk, corrects=corrects)
        return form, lambda: beside(desk, form, None if corrects else desk.swatch_answer())

    def beside(desk: Desk, form: SwatchForm, answer: SwatchAnswer | None) -> dict[str, object]:
        return {
            "answer": answer,
            "said": answer and in_two(answer.sentence(form.reader.units)),
            "compared": compared_flats(desk, answer, form.reader.units) if answer else [],
            "how": swatch_how(desk, form.reader.units),
            "advice": answer and answer.advice and answer.advice.told(form.reader.units),
            "first_swatch": not desk.swatches,
            "unwashed": not any(row.state == "blocked" for row in desk.swatches),
            "tool_names": [
                tool_label(tool.mm, desk.pattern.craft, form.reader.tools).partition(" (")[0]
                for tool in tools(desk.pattern.craft)
                if not tool.odd
            ],
        }

    return answered(
        request,
        "reports/swatch.html",
        place_held(request.user, pk),
        make,
        services.swatch_submit,
        then=reverse("reports:swatch", args=[pk]) + "#answer",
        received=_("Your swatch has arrived."),
    )


@login_required
@form_view
def counts(request: HttpRequest, pk: int) -> HttpResponse:
    """The counts of one section of the text at a time; of a short pattern, all of them."""
    held = place_held(request.user, pk)
    asked = request.GET.get("section", "")
    is_one = section_named(sections_of(held.round.edition.document), asked) is not None
    onto = ""

    def make(desk: Desk) -> tuple[CountsForm, Callable[[], dict[str, object]]]:
        nonlocal onto
        section = section_asked(desk, asked, posted=request.method == "POST")
        form = form_at(
            CountsForm,
            request,
            desk,
            section=section.slug if section else "",
            only=section and section.keys,
        )
        after = section_after(desk, section)
        onto = f"{request.path}?section={after.slug}" if after else ""
        return form, lambda: {"asides": asides_of(desk.place), "counts": page(desk, section, form)}

    def page(desk: Desk, section: Section | None, form: CountsForm) -> CountsPage:
        page = counts_page(desk, section)
        if page.parts and not form.is_bound:
            page = page.with_drafts(drafts_at(desk.place, request.user))
        return page

    return answered(
        request,
        "reports/counts.html",
        held,
        make,
        services.counts_submit,
        received=_("Your counts have arrived."),
        then=lambda: onto,
        asked=urlencode({"section": asked}) if is_one else "",
    )


@login_required
@form_view
def finished(request: HttpRequest, pk: int) -> HttpResponse:
    def make(desk: Desk) -> tuple[FinishedForm, Callable[[], dict[str, object]]]:
        form = form_at(FinishedForm, request, desk)
        return form, lambda: {"pieces": measured_pieces(desk, form)}

    return answered(
        request,
        "reports/finished.html",
        place_held(request.user, pk),
        make,
        services.finished_submit,
        received=_("Your measurements have arrived."),
    )


@login_required
@form_view
def sitting(request: HttpRequest, pk: int) -> HttpResponse:
    def make(desk: Desk) -> tuple[SittingForm, Callable[[], dict[str, object]]]:
        corrects = corrected(request, desk.place, Sitting)
        form = form_at(SittingForm, request, desk, corrects=corrects)
        return form, lambda: {
            "running": None if corrects else running_at(desk.place),
            "stop": StopForm(desk=desk),
            "time": None if corrects else time_of(desk, today=timezone.localdate()),
        }

    def received(form: SentForm) -> str:
        caution = sitting_caution(form.cleaned_data["hours"])
        arrived = _("Your hours have arrived.")
        return f"{arrived} {caution.sentence}" if caution else arrived

    # Its clock runs on.
    return answered(
        request,
        "reports/sitting.html",
        place_held(request.user, pk),
        make,
        sitting_log,
        received=received,
        keep=False,
    )


@login_required
@form_view
def remark(request: HttpRequest, pk: int) -> HttpResponse:
    def make(desk: Desk) -> tuple[RemarkForm, dict[str, object]]:
        corrects = corrected(request, desk.place, Remark)
        return form_at(RemarkForm, request, desk, corrects=corrects), {}

    return answered(
        request,
        "reports/remark.html",
        place_held(request.user, pk),
        make,
        services.remark_submit,
        received=_("Your remark has arrived."),
    )


@login_required
@form_view
def fit(request: HttpRequest, pk: int) -> HttpResponse:
    return answered(
        request,
        "reports/fit.html",
        place_held(request.user, pk),
        lambda desk: (form_at(FitForm, request, desk, said=current_fit(desk.place)), {}),
        services.fit_submit,
        received=_("How it fits has arrived."),
    )


@login_required
@form_view
def guess(request: HttpRequest, pk: int) -> HttpResponse:
    return answered(
        request,
        "reports/guess.html",
        place_held(request.user, pk),
        lambda desk: (form_at(GuessForm, request, desk, initial=typed_before(desk.place, "guess")), {}),
        services.guess_submit,
        received=_("Your guess has arrived."),
    )


@login_required
@form_view
def yarn(request: HttpRequest, pk: int) -> HttpResponse:
    return answered(
        request,
        "reports/yarn.html",
        place_held(request.user, pk),
        lambda desk: (form_at(YarnForm, request, desk, initial=typed_before(desk.place, "yarn")), {}),
        services.yarn_submit,
        received=_("The yarn it took has arrived."),
    )


@login_required
@form_view
def measures(request: HttpRequest, pk: int) -> HttpResponse:
    return answered(
        request,
        "reports/measures.html",
        place_held(request.user, pk),
        lambda desk: (form_at(MeasuresForm, request, desk, typed=typed_before(desk.place, "measures")), {}),
        services.measures_submit,
        received=_("Your measurements have arrived."),
    )


@login_required
@form_view
def photo_new(request: HttpRequest, pk: int) -> HttpResponse:
    def make(desk: Desk) -> tuple[PhotoForm, dict[str, object]]:
        may_be_seen = photos_may_be_seen(desk.place)
        form = form_at(PhotoForm, request, desk, seen=may_be_seen)
        return form, {
            "may_be_seen": may_be_seen,
            "owner": desk.place.round.edition.pattern.owner,
            "photos": photos_of(desk.place),
            "most_bytes": settings.PHOTO_MAX_BYTES,
        }

    return answered(
        request,
        "reports/photo_new.html",
        place_held(request.user, pk),
        make,
        photo_add,
        then=reverse("reports:photo_new", args=[pk]),
        received=_("Your photo has arrived. Where and when it was taken is being removed from it."),
    )


@login_required
@form_view
def consents(request: HttpRequest, pk: int) -> HttpResponse:
    """What may be done with a tester's photos and name: given and taken back, each by itself."""
    held = place_held(request.user, pk)
    standing = consents_of(held)
    form = ConsentsForm(request.POST if request.method == "POST" else None, standing=standing)
    if form.is_valid():
        changed = consents_set(place=held, kinds=form.kinds(), by=request.user)
        messages.success(request, _("Saved.") if changed else _("Saved; nothing has changed."))
        return redirect("reports:consents", pk)
    context = {
        "place": held,
        "round": held.round,
        "pattern": held.round.edition.document,
        "owner": held.round.edition.pattern.owner,
        "photo_count": photos_of(held).count(),
        "allowed": [field.label for kind, field in form.fields.items() if kind in standing],
        "all_allowed": standing >= set(form.fields),
        "form": form,
    }
    response = render(request, "reports/consents.html", context, status=422 if form.errors else 200)
    patch_cache_control(response, private=True)
    return response


@login_required
@require_safe
def photo(request: HttpRequest, code: uuid.UUID, width: int) -> HttpResponse:
    """A rendition at least that wide where there is one, for the tester who sent it and the round's designer."""
    found = get_object_or_404(photos_visible_to(request.user).prefetch_related("renditions"), code=code)
    rendition = rendition_at(found, width)
    try:
        with rendition.file.open("rb") as file:
            response = HttpResponse(file.read(), content_type="image/jpeg")
    except FileNotFoundError as error:
        raise Http404 from error
    response.headers["Content-Security-Policy"] = PHOTO_POLICY
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
    response.headers["Content-Disposition"] = f'inline; filename="{found.code.hex}.jpg"'
    patch_cache_control(response, private=True, no_store=True)
    return response


@login_required
@require_POST
def photo_gone(request: HttpRequest, pk: int, code: uuid.UUID) -> HttpResponse:
    held = place_held(request.user, pk)
    photo_remove(photo=get_object_or_404(Photo, place=held, code=code), by=request.user)
    messages.success(request, _("The photo is gone."))
    return redirect("reports:photo_new", pk)


@login_required
@require_safe
def worksheet(request: HttpRequest, pk: int) -> HttpResponse:
    def make(desk: Desk) -> dict[str, object]:
        sections = sheet_sections(desk, counted_at(desk.place).ticked)
        return {
            "worksheet": desk.worksheet,
            "sections": sections,
            "own_beside": any(
                line.own_if_other is not None for group in desk.worksheet.places for line in group.numbers
            ),
            "all_worked": all(section.done == section.count for section in sections),
            "flats": flats_of(desk),
            "dimensions": lettered_dimensions(desk),
            "asides": asides_of(desk.place),
        }

    return visited(request, "reports/worksheet.html", place_held(request.user, pk), make)


@login_required
@require_safe
def worksheet_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    place = place_held(request.user, pk)
    paper: Paper = "Letter" if request.GET.get("paper") == "letter" else "A4"
    data = worksheet_on_paper(place, reader_of(request.user), paper=paper)
    return HttpResponse(
        data,
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'inline; filename="{worksheet_name(place)}"',
            "Cache-Control": "private, no-store",
        },
    )


@login_required
@require_safe
def sent(request: HttpRequest, pk: int) -> HttpResponse:
    def make(desk: Desk) -> dict[str, object]:
        found = sent_from(desk, reader_of(request.user))
        return {
            "page": Paginator(found, SENT_A_PAGE).get_page(request.GET.get("page")),
            "counted": counted_lines(counted_at(desk.place), len(desk.pattern.numbers)),
        }

    return visited(request, "reports/sent.html", place_held(request.user, pk), make)


@login_required
@require_POST
def done(request: HttpRequest, pk: int) -> HttpResponse:
    held = place_held(request.user, pk)
    services.place_finish(place=held, by=request.user)
    messages.success(request, _("Thank you: the designer sees that you are done. You can still send more."))
    return redirect(held)


# -- the designer's side -----------------------------------------------------------------------------------


@login_required
@require_safe
def of_tester(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """What one tester sent, to be read by the round's designer."""
    reader = reader_of(request.user)
    run = place_run(request.user, code, pk)
    may = rights_on(run.round.edition.pattern, request.user)

    def make(desk: Desk) -> dict[str, object]:
        answer, found = desk.swatch_answer(), sent_from(desk, reader)
        photos = list(photos_of(desk.place).filter(state=Photo.State.READY))
        return {
            "page": Paginator(found, SENT_A_PAGE).get_page(request.GET.get("page")),
            "photos": photos,
            "summary": summary_of(desk, found, photos=len(photos), answer=answer, units=reader.units),
            "said": answer and answer.good and in_two(answer.sentence(reader.units)),
            "measures": desk.worksheet.measures,
            "counted": counted_lines(counted_at(desk.place), len(desk.pattern.numbers)),
        }

    return visited(request, "reports/of_tester.html", run, make, may, str(run.tester), beside={"may": may})


@login_required
@require_safe
def round_photos(request: HttpRequest, code: str) -> HttpResponse:
    found = get_object_or_404(rounds_of(request.user), code=code)
    pattern = found.edition.document
    wanted = Wanted.asked(request.GET, pattern)
    photos = photos_in(found, wanted)
    context: dict[str, object] = {"round": found, "pattern": pattern, "wanted": wanted}
    shows = {dimension.key: dimension.label for dimension in pattern.dimensions}
    if "photo" in request.GET:
        one = one_photo(photos, request.GET["photo"])
        if one is None:
            raise Http404
        context["shows"] = shows.get(one.photo.dimension, "")
        response = render(request, "reports/round_photo.html", {**context, "one": one})
    else:
        page = Paginator(photos, PHOTOS_A_PAGE).get_page(request.GET.get("page"))
        context["entries"] = [(photo, shows.get(photo.dimension, "")) for photo in page.object_list]
        response = render(request, "reports/round_photos.html", {**context, "page": page})
    patch_cache_control(response, private=True)
    return response
