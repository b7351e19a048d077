"""The kinds of report: what is sent for each, the form that asks, the service that keeps it, and where it is read."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

from rest_framework import serializers

from testround.api.v1 import reported as shapes
from testround.api.v1.examples import reports as examples
from testround.api.v1.sending import Pointers, only_known, typed
from testround.reports import forms, services
from testround.reports.models import Count, Finished, Fit, Remark, Sitting, Swatch
from testround.reports.selectors import Desk
from testround.reports.timer import sitting_log

Body = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class ReportKind:
    """A kind of report. ``name`` ends its address; ``model`` is None where the place itself keeps the content."""

    name: str
    what: str
    model: Any
    shown: type[serializers.Serializer[Any]]
    taken: type[serializers.Serializer[Any]]
    form: type[forms.SentForm]
    submit: Callable[..., Any]
    typed_as: Callable[[Body, Desk], dict[str, Any]]
    """The form's fields, from what was sent."""
    pointers: Pointers
    """Where in the body a field of the form stands."""
    example: Body
    sends: Body
    says: str
    corrects: bool = False


def _as_named(name: str, **others: str) -> str:
    return f"/{others.get(name, name)}"


def _keyed(name: str, *, prefix: str, into: str) -> str:
    """``count_back_sts`` is ``/counts/back_sts``, ``read_chest_2`` is ``/readings/chest/1``."""
    if found := re.fullmatch(rf"{prefix}_(.+)", name):
        key = found[1]
        if prefix == "read":
            key, _line, reading = key.rpartition("_")
            return f"/{into}/{key}/{int(reading) - 1}"
        return f"/{into}/{key}"
    return f"/{name}"


def _kept(body: Body) -> dict[str, Any]:
    return {f"keep_{key}": "on" for key in body.get("keep", ())}


def _swatch(body: Body, desk: Desk) -> dict[str, Any]:
    return {
        "gauge": body["gauge"],
        "state": body["state"],
        "tool": typed(body.get("tool_mm"), "mm"),
        "width": typed(body.get("width"), "cm"),
        "stitches": typed(body.get("stitches")),
        "height": typed(body.get("height"), "cm"),
        "rows": typed(body.get("rows")),
        **({"keep": "on"} if body.get("keep") else {}),
    }


def _counts(body: Body, desk: Desk) -> dict[str, Any]:
    only_known(body["counts"], (number.key for number in desk.pattern.numbers), "/counts")
    return {f"count_{key}": typed(value) for key, value in body["counts"].items()} | _kept(body)


def _finished(body: Body, desk: Desk) -> dict[str, Any]:
    only_known(body["readings"], (one.key for one in desk.pattern.dimensions), "/readings")
    readings = {
        f"read_{key}_{number}": typed(value, "cm")
        for key, values in body["readings"].items()
        for number, value in enumerate(values, 1)
    }
    return {"state": body["state"], **readings, **_kept(body)}


def _sitting(body: Body, desk: Desk) -> dict[str, Any]:
    done = body.get("done")
    return {
        "part": body.get("part") or "",
        "hours": typed(body["hours"]),
        "done": "" if done is None else typed(100 * done),
    }


def _remark(body: Body, desk: Desk) -> dict[str, Any]:
    return {"where_other": body.get("where") or "", "kind": body["kind"], "remark": body["text"]}


def _fit(body: Body, desk: Desk) -> dict[str, Any]:
    only_known(body["says"], (one.key for one in desk.pattern.dimensions), "/says")
    return {f"fit_{key}": said for key, said in body["says"].items()}


def _measures(body: Body, desk: Desk) -> dict[str, Any]:
    only_known(body["measures"], (one.key for one in desk.pattern.measures), "/measures")
    return {f"body_{key}": typed(value, "cm") for key, value in body["measures"].items()} | _kept(body)


def _guess(body: Body, desk: Desk) -> dict[str, Any]:
    return {"hours": typed(body.get("hours")), "metres": typed(body.get("metres"))}


def _yarn(body: Body, desk: Desk) -> dict[str, Any]:
    return {"metres": typed(body.get("metres")), "grams": typed(body.get("grams"))}


ROW_KINDS: tuple[ReportKind, ...] = (
    ReportKind(
        name="swatches",
        what="swatches",
        model=Swatch,
        shown=shapes.SwatchOut,
        taken=shapes.SwatchIn,
        form=forms.SwatchForm,
        submit=services.swatch_submit,
        typed_as=_swatch,
        pointers=partial(_as_named, tool="tool_mm"),
        example=examples.SWATCH,
        sends=examples.SWATCH_IN,
        says="Send a swatch. `answer` says whether it will do. An odd one is asked about: it is refused once with the "
        "question at `/keep`, and taken with `keep`.",
        corrects=True,
    ),
    ReportKind(
        name="counts",
        what="counts",
        model=Count,
        shown=shapes.CountOut,
        taken=shapes.CountsIn,
        form=forms.CountsForm,
        submit=services.counts_submit,
        typed_as=_counts,
        pointers=partial(_keyed, prefix="count", into="counts"),
        example=examples.COUNT,
        sends=examples.COUNTS_IN,
        says="Send counts as they were worked. One that was sent before with another value is superseded. An odd one is "
        "asked about: it is refused once with the question, and taken when `keep` names its key.",
    ),
    ReportKind(
        name="finished",
        what="finished measurements",
        model=Finished,
        shown=shapes.FinishedOut,
        taken=shapes.FinishedIn,
        form=forms.FinishedForm,
        submit=services.finished_submit,
        typed_as=_finished,
        pointers=partial(_keyed, prefix="read", into="readings"),
        example=examples.FINISHED,
        sends=examples.FINISHED_IN,
        says="Send finished measurements; those of the same dimension in the same state are superseded. An odd one is "
        "asked about: it is refused once with the question, and taken when `keep` names its key.",
    ),
    ReportKind(
        name="sittings",
        what="sittings",
        model=Sitting,
        shown=shapes.SittingOut,
        taken=shapes.SittingIn,
        form=forms.SittingForm,
        submit=sitting_log,
        typed_as=_sitting,
        pointers=_as_named,
        example=examples.SITTING,
        sends=examples.SITTING_IN,
        says="Log a stretch of work by its hours. To have it timed, start the timer of the place.",
        corrects=True,
    ),
    ReportKind(
        name="remarks",
        what="remarks",
        model=Remark,
        shown=shapes.RemarkOut,
        taken=shapes.RemarkIn,
        form=forms.RemarkForm,
        submit=services.remark_submit,
        typed_as=_remark,
        pointers=partial(_as_named, where_other="where", remark="text"),
        example=examples.REMARK,
        sends=examples.REMARK_IN,
        says="Send what made the tester stumble, with its place in the text. Remarks are never published.",
        corrects=True,
    ),
    ReportKind(
        name="fit",
        what="how it fits",
        model=Fit,
        shown=shapes.FitOut,
        taken=shapes.FitIn,
        form=forms.FitForm,
        submit=services.fit_submit,
        typed_as=_fit,
        pointers=partial(_keyed, prefix="fit", into="says"),
        example=examples.FIT,
        sends=examples.FIT_IN,
        says="Say how it fits, of one dimension or several.",
    ),
)
"""Reports that are rows of their own: each is kept, and superseded by the next."""

PLACE_KINDS: tuple[ReportKind, ...] = (
    ReportKind(
        name="measures",
        what="the tester’s own measurements",
        model=None,
        shown=shapes.BodyMeasuresOut,
        taken=shapes.BodyMeasuresIn,
        form=forms.MeasuresForm,
        submit=services.measures_submit,
        typed_as=_measures,
        pointers=partial(_keyed, prefix="body", into="measures"),
        example=examples.MEASURES,
        sends=examples.MEASURES_IN,
        says="Send the tester’s own body measurements, all of them: they take the place of those before. An odd one is "
        "asked about: it is refused once with the question, and taken when `keep` names its key.",
    ),
    ReportKind(
        name="guess",
        what="what the tester expects",
        model=None,
        shown=shapes.GuessOut,
        taken=shapes.GuessIn,
        form=forms.GuessForm,
        submit=services.guess_submit,
        typed_as=_guess,
        pointers=_as_named,
        example=examples.GUESS,
        sends=examples.GUESS_IN,
        says="Say what the tester expects it to take, before starting.",
    ),
    ReportKind(
        name="yarn",
        what="the yarn it took",
        model=None,
        shown=shapes.YarnUsedOut,
        taken=shapes.YarnUsedIn,
        form=forms.YarnForm,
        submit=services.yarn_submit,
        typed_as=_yarn,
        pointers=_as_named,
        example=examples.YARN,
        sends=examples.YARN_IN,
        says="Say how much yarn it took, by length, by weight, or both.",
    ),
)
"""Reports of which the place keeps the last alone."""
