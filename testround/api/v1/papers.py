"""PDFs: on which paper they are asked for, and as what they are sent."""

from __future__ import annotations

from django.http import HttpResponse
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request

from testround.api.etags import etag_of_bytes
from testround.api.problems import Fault, invalid
from testround.paper.document import Paper

PDF = "application/pdf"
PAPERS: tuple[Paper, ...] = ("A4", "Letter")
PAPER = OpenApiParameter("paper", str, enum=PAPERS, description="A4 where nothing is said.")


def paper_asked(request: Request) -> Paper:
    """The paper that the address names. Raises where there is no such."""
    named = request.query_params.get("paper", PAPERS[0])
    for paper in PAPERS:
        if paper == named:
            return paper
    said = _("There is no paper {paper} here. There are: {papers}.")
    raise invalid(Fault(said.format(paper=named, papers=", ".join(PAPERS)), parameter="paper"))


def as_pdf(data: bytes, name: str) -> HttpResponse:
    """The answer with a PDF in it, to be kept as a file of that name."""
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "ETag": etag_of_bytes(data)}
    return HttpResponse(data, content_type=PDF, headers=headers)
