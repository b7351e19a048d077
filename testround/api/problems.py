"""What is answered to a program when something is wrong: problem details (RFC 9457), each of a kind that is explained.

``title`` and ``type`` are of the kind and always in English; ``detail`` and the sentences of ``errors`` are for people,
in their language. ``errors`` names every place: as a JSON pointer (RFC 6901) into the body, or as a parameter.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.core.exceptions import ValidationError as FormError
from django.http import Http404, HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from rest_framework import exceptions
from rest_framework.response import Response

from testround.kernel.problems import InputProblems

MEDIA_TYPE = "application/problem+json"


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of problem: ``name`` ends its address in the documentation, ``explained`` is what stands there."""

    name: str
    status: int
    title: str
    explained: str

    @property
    def type(self) -> str:
        return f"{settings.SITE_URL}/api/#problem-{self.name}"


MALFORMED = Kind(
    "malformed", 400, "The request cannot be read", "The body is no JSON, or a header is not of its form."
)
KEY_MISSING = Kind(
    "idempotency-key-missing",
    400,
    "Idempotency-Key is missing",
    "Every POST carries a key of its own, 1 to 255 printable ASCII characters; a UUID does well.",
)
SIGN_IN = Kind(
    "sign-in",
    401,
    "A token is needed",
    "Send a personal token that is neither revoked nor run out, as Authorization: Bearer TOKEN.",
)
SCOPE_MISSING = Kind(
    "scope-missing",
    403,
    "The token lacks a scope",
    "`scope` names what lacks. The scopes of a token are fixed: make another with that one.",
)
IN_THE_CLEAR = Kind(
    "in-the-clear",
    403,
    "HTTPS is needed",
    "The request came by HTTP. Nothing was done; a token that it brought should be revoked.",
)
NOT_ALLOWED = Kind(
    "not-allowed",
    403,
    "You may not do this",
    "You may see it and not do this with it, as the pages would tell you; `detail` says who can.",
)
NOT_FOUND = Kind(
    "not-found",
    404,
    "There is no such thing",
    "There is no such address or object, or it is not yours to know of; the two are answered alike.",
)
METHOD = Kind(
    "method-not-allowed", 405, "This address does not take that method", "`Allow` says which it takes."
)
NOT_ACCEPTABLE = Kind(
    "not-acceptable",
    406,
    "It cannot be answered in that form",
    "Accept application/json, or leave Accept out.",
)
CONFLICT = Kind(
    "conflict",
    409,
    "As things stand this cannot be done",
    "The request is in order and the state of things forbids it, such as a frozen sheet; `detail` says what to do.",
)
GONE = Kind(
    "gone",
    410,
    "It was good once and has ended",
    "A link or an offer that was used, withdrawn or has run out.",
)
CHANGED = Kind(
    "changed",
    412,
    "It has changed meanwhile",
    "The representation is no longer the one that If-Match names. Read it again, see what changed, send it again.",
)
TOO_LARGE = Kind("too-large", 413, "The body is too large", "`detail` says how much is taken.")
MEDIA = Kind(
    "media-type",
    415,
    "The body is not of a kind that is taken",
    "The documentation of each address says which.",
)
INVALID = Kind(
    "invalid",
    422,
    "What was sent has something to mend",
    "`errors` lists all of it: each with a sentence and the place, and nothing was stored.",
)
KEY_REUSED = Kind(
    "idempotency-key-reused",
    422,
    "That Idempotency-Key belongs to another request",
    "A key was used with another method, address or body. Use a new key for a new request.",
)
MATCH_MISSING = Kind(
    "if-match-missing",
    428,
    "If-Match is missing",
    "A change names the representation it was made from: send the ETag of what you read as If-Match.",
)
TOO_MANY = Kind("too-many-requests", 429, "Too many requests", "Wait as many seconds as Retry-After says.")
SERVER = Kind(
    "server-error",
    500,
    "A fault of the server",
    "Nothing was stored. The same request may be sent again with its key.",
)
UNAVAILABLE = Kind(
    "unavailable",
    503,
    "Out of order for a moment",
    "The database does not answer, or there is no room. Whether it was stored is not certain: wait as many seconds as "
    "Retry-After says, and send the same request again with its key.",
)

KINDS: tuple[Kind, ...] = (
    MALFORMED,
    KEY_MISSING,
    SIGN_IN,
    SCOPE_MISSING,
    IN_THE_CLEAR,
    NOT_ALLOWED,
    NOT_FOUND,
    METHOD,
    NOT_ACCEPTABLE,
    CONFLICT,
    GONE,
    CHANGED,
    TOO_LARGE,
    MEDIA,
    INVALID,
    KEY_REUSED,
    MATCH_MISSING,
    TOO_MANY,
    SERVER,
    UNAVAILABLE,
)


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing to mend: a sentence, and where it is in the body or which parameter of the address it is."""

    detail: str
    pointer: str | None = None
    parameter: str | None = None

    def as_json(self) -> dict[str, str]:
        found = {"detail": self.detail, "pointer": self.pointer, "parameter": self.parameter}
        return {name: value for name, value in found.items() if value is not None}


class ApiProblem(Exception):
    """Raised to answer with a problem of a kind; ``more`` are further members, ``headers`` go with the answer."""

    def __init__(
        self,
        kind: Kind,
        detail: str = "",
        *,
        faults: Iterable[Fault] = (),
        more: Mapping[str, Any] | None = None,
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(detail or kind.title)
        self.kind = kind
        self.detail = detail
        self.faults = tuple(faults)
        self.more = dict(more or {})
        self.headers = dict(headers or {})


_meanings: dict[type[Exception], Kind] = {}


def means(kind: Kind, *refusals: type[Exception]) -> None:
    """Say as which kind of problem a service's refusal is answered; its own sentence becomes the detail."""
    for refusal in refusals:
        _meanings[refusal] = kind


def pointer_of(path: str) -> str:
    """The JSON pointer to what the kernel calls ``testers[3].swatches[0].colour``."""
    return "".join(f"/{_escaped(part)}" for part in re.findall(r"[^.\[\]]+", path))


def _escaped(part: Any) -> str:
    return str(part).replace("~", "~0").replace("/", "~1")


def faults_in(detail: Any, pointer: str = "") -> Iterator[Fault]:
    """What DRF says of each field, flat."""
    if isinstance(detail, Mapping):
        for name, inner in detail.items():
            yield from faults_in(
                inner, pointer if name == "non_field_errors" else f"{pointer}/{_escaped(name)}"
            )
    elif isinstance(detail, list | tuple):
        for index, inner in enumerate(detail):
            nested = isinstance(inner, Mapping | list | tuple)
            yield from faults_in(inner, f"{pointer}/{index}" if nested else pointer)
    else:
        yield Fault(str(detail), pointer)


def problem_of(exc: Exception) -> ApiProblem | None:
    """The problem that an exception is answered with; None where it is a fault of the server."""
    for refusal in type(exc).__mro__:
        if kind := _meanings.get(refusal):
            return ApiProblem(kind, str(exc), faults=_own_faults(exc))
    match exc:
        case ApiProblem():
            return exc
        case InputProblems():
            return invalid(*_own_faults(exc))
        case exceptions.ValidationError():
            return invalid(*faults_in(exc.detail))
        case FormError():
            said = exc.message_dict if hasattr(exc, "error_dict") else {"non_field_errors": exc.messages}
            return invalid(*faults_in(said))
        case Http404():
            return ApiProblem(NOT_FOUND, _("There is no such thing here, or it is not yours to know of."))
        case PermissionDenied() | exceptions.PermissionDenied():
            return ApiProblem(NOT_ALLOWED, str(exc) or _("You may not do this."))
        case exceptions.NotAuthenticated() | exceptions.AuthenticationFailed():
            return ApiProblem(SIGN_IN, str(exc.detail))
        case exceptions.APIException():
            return _of_framework(exc)
    return None


def invalid(*faults: Fault) -> ApiProblem:
    """Input with these faults; the detail says them all for who reads only that."""
    return ApiProblem(INVALID, " ".join(fault.detail for fault in faults)[:2000], faults=faults)


def _own_faults(exc: Exception) -> tuple[Fault, ...]:
    if not isinstance(exc, InputProblems):
        return ()
    return tuple(Fault(problem.sentence, pointer_of(problem.path)) for problem in exc.problems)


_OF_STATUS = {
    kind.status: kind for kind in (MALFORMED, NOT_FOUND, METHOD, NOT_ACCEPTABLE, TOO_LARGE, MEDIA, TOO_MANY)
}


def _of_framework(exc: exceptions.APIException) -> ApiProblem | None:
    kind = _OF_STATUS.get(exc.status_code)
    return ApiProblem(kind, str(exc.detail)) if kind else None


def document_of(problem: ApiProblem, path: str) -> dict[str, Any]:
    """The problem as it is sent."""
    document: dict[str, Any] = {
        "type": problem.kind.type,
        "title": problem.kind.title,
        "status": problem.kind.status,
        "detail": problem.detail or problem.kind.title,
        "instance": path,
        **problem.more,
    }
    if problem.faults:
        document["errors"] = [fault.as_json() for fault in problem.faults]
    return document


def answered(exc: Exception, context: Mapping[str, Any]) -> Response | None:
    """DRF's handler of exceptions. None lets a fault of ours through to Django, which logs it and answers 500."""
    problem = problem_of(exc)
    if problem is None:
        return None
    request = context["request"]
    response = Response(
        document_of(problem, request.path),
        status=problem.kind.status,
        headers=problem.headers,
        content_type=MEDIA_TYPE,
    )
    # DRF's own refusals know their headers: who may ask again with which scheme, method or when.
    if wanted := getattr(exc, "auth_header", None):
        response.headers["WWW-Authenticate"] = wanted
    return response


def problem_response(request: HttpRequest, kind: Kind, detail: str = "") -> HttpResponse:
    """A problem where no view of the API was reached."""
    return HttpResponse(
        json.dumps(document_of(ApiProblem(kind, detail), request.path), ensure_ascii=False),
        status=kind.status,
        content_type=MEDIA_TYPE,
    )
