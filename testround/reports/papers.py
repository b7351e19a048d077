"""What a tester takes out as a PDF."""

from __future__ import annotations

from django.conf import settings
from django.urls import reverse
from django.utils.text import slugify

from testround.paper.document import Paper
from testround.paper.worksheet import Answered, worksheet_pdf
from testround.people.readers import Reader
from testround.reports.asides import asides_of
from testround.reports.selectors import desk_of
from testround.rounds.models import Place


def worksheet_on_paper(place: Place, reader: Reader, *, paper: Paper) -> bytes:
    """The worksheet of a place, with what was answered to all about its steps, in the reader's units and terms."""
    # The paper reads a sheet's dialect off its words and takes the ambiguous for US, so it is given US.
    desk = desk_of(place, "us")
    asides = asides_of(desk.place)
    return worksheet_pdf(
        desk.worksheet,
        paper=paper,
        units=reader.units,
        tools=reader.tools,
        terms=reader.terms,
        address=f"{settings.SITE_URL}{reverse('reports:worksheet', args=[place.pk])}",
        answered=[
            Answered(group.place, aside.question, tuple(reply.text for reply in aside.replies))
            for group in desk.worksheet.places
            if group.place in asides
            for aside in asides[group.place].shown
            if aside.replies
        ],
    )


def worksheet_name(place: Place) -> str:
    """What the file is called."""
    words = ("worksheet", place.round.edition.document.title, place.size or "", place.name)
    return f"{slugify(' '.join(words)) or 'worksheet'}.pdf"
