"""Sending a report by a program: the same forms as on a tester's pages, so that what they ask is asked here too.

A program sends numbers in the units of a round file; they go into the form as a person would type them. Nothing is
refused for being odd: it is asked once, and taken when ``keep`` says that it is right.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from testround.api.endpoints import Endpoint
from testround.api.problems import CONFLICT, ApiProblem, Fault, invalid, means
from testround.people.models import User
from testround.people.readers import reader_of
from testround.reports.claims import AlreadySent
from testround.reports.forms import SentForm
from testround.reports.models import Submission
from testround.reports.selectors import Desk, desk_of
from testround.rounds.models import Place
from testround.rounds.selectors import places_of

means(CONFLICT, AlreadySent)

Pointers = Callable[[str], str]


class AtPlace(Endpoint):
    """An address under one place, for the tester who holds it."""

    def places(self) -> QuerySet[Place]:
        return places_of(self.user)

    def place(self, pk: int) -> Place:
        """The place, or 404; its row is locked where something is sent."""
        place: Place = self.here(self.places(), pk=pk)
        return place

    def desk(self, pk: int) -> Desk:
        """The place with what was sent there, its words in the dialect of whoever asks."""
        return desk_of(self.place(pk), reader_of(self.user).terms)


def typed(value: float | None, unit: str = "") -> str:
    """A number as a person would type it: to six decimals, without zeros that say nothing."""
    if value is None:
        return ""
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return f"{text} {unit}".strip()


def sent(
    form_type: type[SentForm],
    data: Mapping[str, Any],
    submit: Callable[..., Any],
    *,
    desk: Desk,
    by: User,
    pointers: Pointers,
    files: Mapping[str, Any] | None = None,
    **more: Any,
) -> Any:
    """What the service made of a report that its form takes. Raises with everything that is to be mended."""
    form = form_type({**data, "key": str(uuid.uuid4())}, files, desk=desk, reader=reader_of(by), **more)
    if not form.is_valid():
        raise refused(form.errors, pointers)
    try:
        return submit(place=desk.place, key=form.cleaned_data["key"], by=by, **form.report())
    except AlreadySent as already:
        raise ApiProblem(CONFLICT, already.sentence) from already


def refused(errors: Mapping[str, Iterable[Any]], pointers: Pointers) -> ApiProblem:
    """What a form says of its fields, each at its place in the body."""
    return invalid(
        *(
            Fault(str(sentence), "" if name == "__all__" else pointers(name))
            for name, sentences in errors.items()
            for sentence in sentences
        )
    )


def only_known(given: Iterable[str], known: Iterable[str], pointer: str) -> None:
    """Refuse names that the sheet does not have: a form would pass them over."""
    there = list(known)
    unknown = [name for name in given if name not in there]
    if unknown:
        raise invalid(
            *(
                Fault(
                    _("The sheet has no {name} here. It has: {names}.").format(
                        name=name, names=", ".join(there)
                    ),
                    f"{pointer}/{name}",
                )
                for name in unknown
            )
        )


def row_to_correct(model: Any, place: Place, pk: int | None) -> Any:
    """The row of this place that a report is to correct; None where it corrects nothing."""
    if pk is None:
        return None
    row = model.objects.filter(place=place, pk=pk).first()
    if row is None:
        raise invalid(Fault(_("There is no such report at this place."), "/corrects"))
    return row


def submissions_of(places: Any) -> QuerySet[Submission]:
    """What was sent at these places, with the place: one query for any number."""
    return Submission.objects.filter(place__in=places).select_related("place")
