"""What every address of the API is made of: a class of operations, each said once with all that is to be known of it.

An operation checks its scope; a POST is done once by its key; a change names what it was made from, and that is held
against the row while the row is locked; a reading is answered by its tag where that is known already.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import wraps
from typing import Any, cast

from django.db import transaction
from django.db.models import QuerySet
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone, translation
from django.utils.translation import gettext as _
from drf_spectacular.utils import (
    OpenApiExample,
    OpenApiParameter,
    OpenApiRequest,
    OpenApiResponse,
    extend_schema,
)
from rest_framework.exceptions import AuthenticationFailed, NotAuthenticated
from rest_framework.generics import GenericAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import ListSerializer, Serializer

from testround.api import limits
from testround.api.authentication import BearerToken
from testround.api.etags import etag_of, if_match_needed, is_known, must_match
from testround.api.filtering import filtered, parameters_of
from testround.api.models import Token
from testround.api.once import answered_once
from testround.api.paging import PARAMETERS as PAGING
from testround.api.paging import Pages
from testround.api.parsing import JsonParser
from testround.api.problems import SCOPE_MISSING, ApiProblem, Kind
from testround.api.rendering import JsonRenderer
from testround.api.scopes import Scope
from testround.people.clock import zone_of_person
from testround.people.language import speaking
from testround.people.models import User
from testround.rounds.throttle import network_of

POLICY = "default-src 'none'; frame-ancestors 'none'"
JSON = "application/json"


@dataclass(frozen=True, slots=True)
class Operation:
    """One method of one address, as its view runs it and as the document tells it."""

    name: str
    scope: Scope | None
    refusals: tuple[Kind, ...]
    answers_media: str = JSON


def operation(
    name: str,
    summary: str,
    *,
    tag: str,
    scope: Scope | None,
    answers: Any = None,
    example: Any = None,
    status: int = 200,
    takes: Any = None,
    sends: Any = None,
    media: str = JSON,
    bodies: Mapping[str, OpenApiRequest] | None = None,
    answers_media: str = JSON,
    filters: Any = None,
    parameters: Sequence[OpenApiParameter] = (),
    refusals: Iterable[Kind] = (),
    description: str = "",
    deprecated: bool = False,
) -> Callable[[Callable[..., HttpResponse]], Callable[..., HttpResponse]]:
    """Make a method of an `Endpoint` an operation of the API.

    Parameters
    ----------
    name : str
        The operationId, as in ``patterns_create``: resource, then act.
    scope : Scope or None
        What the token needs; None for what anybody may read.
    answers, example, status
        The serializer (``many=True`` makes it a paged list) or raw schema of the answer, an example of one entry in
        the invented scenario, and the status of success.
    takes, sends
        The serializer or raw schema of the body, and an example of it.
    media, answers_media : str
        Media types of the body and the answer.
    bodies : mapping, optional
        Of several media types, in place of ``takes``, ``sends`` and ``media``.
    filters : FilterSet class, optional
        Of a list.
    refusals : iterable of Kind
        Kinds of problem beyond those that every operation of the method has.
    """
    asked = OpenApiRequest(takes, examples=_examples(sends)) if takes is not None else None
    is_list = isinstance(answers, ListSerializer)
    given = OpenApiResponse(answers, description=summary, examples=_examples(example))

    def made(method: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
        @wraps(method)
        def run(self: Endpoint, request: Request, **named: Any) -> HttpResponse:
            return self.run(lambda: method(self, request, **named))

        run.operation = Operation(name, scope, tuple(refusals), answers_media)  # type: ignore[attr-defined]
        described = extend_schema(
            operation_id=name,
            summary=summary,
            description=description or (method.__doc__ or summary),
            tags=[tag],
            request=dict(bodies) if bodies else {media: asked} if asked is not None else None,
            responses={(status, answers_media): given} if answers is not None else {status: given},
            parameters=[*parameters_of(filters), *parameters, *(PAGING if is_list else ())],
            auth=[] if scope is None else None,
            deprecated=deprecated,
            extensions={
                "x-scope": str(scope) if scope else None,
                "x-refusals": sorted({kind.name for kind in refusals}),
            },
        )
        return cast(Callable[..., HttpResponse], described(run))

    return made


def _examples(value: Any) -> list[OpenApiExample]:
    return [] if value is None else [OpenApiExample("Example", value=value)]


class Endpoint(GenericAPIView):
    """An address of the API. Its methods are made by `operation`."""

    authentication_classes = [BearerToken]
    renderer_classes = [JsonRenderer]
    parser_classes = [JsonParser]
    pagination_class = Pages
    filter_backends: list[Any] = []
    metadata_class = None
    serializer_class = Serializer

    limit: limits.Counted | None = None
    _held_against: bool = False

    @classmethod
    def as_view(cls, **initial: Any) -> Callable[..., HttpResponse]:
        view: Callable[..., HttpResponse] = super().as_view(**initial)
        view.takes_no_cookies = True  # type: ignore[attr-defined]
        return view

    # -- on the way in ---------------------------------------------------------------------------------------

    def perform_authentication(self, request: Request) -> None:
        """Who asks, counted: a token by itself, and everybody else by their network, so that guesses are too."""
        try:
            token = cast("Token | None", request.auth)
        except AuthenticationFailed:
            self._count("network", network_of(request._request))
            raise
        if token is None:
            self._count("network", network_of(request._request))
            return
        self._count("token", str(token.pk))
        user = cast(User, request.user)
        timezone.activate(zone_of_person(user))
        # A program seldom says which language its reader speaks; the person has said it.
        if "Accept-Language" not in request.headers:
            with speaking(user.language):
                spoken = translation.get_language()
            translation.activate(spoken or "en-gb")

    def _count(self, policy: str, who: str) -> None:
        self.limit = limits.count(policy, who)
        limits.refuse_beyond(self.limit)

    def _operation(self, request: Request | None) -> Operation | None:
        handler = getattr(self, ((request and request.method) or "").lower(), None)
        found: Operation | None = getattr(handler, "operation", None)
        return found

    def get_renderers(self) -> list[Any]:
        """JSON, and what the operation answers besides, so that it may be asked for by name. Problems are JSON."""
        wanted = self._operation(getattr(self, "request", None))
        made: list[Any] = super().get_renderers()
        if wanted is not None and wanted.answers_media != JSON:
            made.append(JsonRenderer(wanted.answers_media))
        return made

    def check_permissions(self, request: Request) -> None:
        wanted = self._operation(request)
        if wanted is None or wanted.scope is None:
            return
        if request.auth is None:
            raise NotAuthenticated(_("Send a personal token, as Authorization: Bearer TOKEN."))
        if wanted.scope not in request.auth.scopes:
            raise ApiProblem(
                SCOPE_MISSING,
                _("This token has not the scope {scope}. Make another that has it.").format(
                    scope=wanted.scope
                ),
                more={"scope": str(wanted.scope)},
            )

    def run(self, work: Callable[[], HttpResponse]) -> HttpResponse:
        """An operation in the way of its method."""
        request: Request = self.request
        match request.method:
            case "POST":
                return answered_once(request, cast(Callable[[], Response], work))
            case "PUT" | "PATCH" | "DELETE":
                if_match_needed(request.headers.get("If-Match"))
                with transaction.atomic():
                    response = work()
                    if not self._held_against:
                        raise RuntimeError(f"{request.path}: what was changed was not held against If-Match.")
                return response
        return self._if_not_known(work())

    def _if_not_known(self, response: HttpResponse) -> HttpResponse:
        if isinstance(response, Response):
            response.headers["ETag"] = etag_of(response.data)
        tag = response.headers.get("ETag", "")
        if tag and is_known(self.request.headers.get("If-None-Match", ""), tag):
            return HttpResponse(status=304, headers={"ETag": tag})
        return response

    # -- for those who write operations ----------------------------------------------------------------------

    @property
    def user(self) -> User:
        """Whose token it is."""
        return cast(User, self.request.user)

    def here(self, among: QuerySet[Any], **named: Any) -> Any:
        """The one object of these that the address names, or 404; locked where the request changes something."""
        found = get_object_or_404(among, **named)
        if self.request.method in ("GET", "HEAD"):
            return found
        # By itself, as a query that counts or joins cannot be locked; then read as it is now.
        type(found)._base_manager.select_for_update().filter(pk=found.pk).first()
        now = among.filter(pk=found.pk).first()
        if now is None:
            raise Http404
        return now

    def body(self, serializer: type[Serializer[Any]], **context: Any) -> dict[str, Any]:
        """What was sent, as that serializer takes it. Raises with every fault."""
        taken = serializer(data=self.request.data, context={**self.get_serializer_context(), **context})
        taken.is_valid(raise_exception=True)
        return cast(dict[str, Any], taken.validated_data)

    def hold_against(self, representation: Mapping[str, Any]) -> None:
        """Refuse the change unless If-Match names this, the representation as it is now: of a row locked by `here`."""
        must_match(if_match_needed(self.request.headers.get("If-Match")), representation)
        self._held_against = True

    def paged(
        self, rows: QuerySet[Any], represent: Callable[[Any], Mapping[str, Any]], filters: Any = None
    ) -> Response:
        """A page of these rows, filtered as the address says; ``rows`` load all that ``represent`` reads."""
        asked = filtered(filters, rows, self.request.query_params)
        page = self.paginator.paginate_queryset(asked, self.request, view=self)
        response: Response = self.paginator.get_paginated_response([represent(row) for row in page])
        return response

    def shown(self, representation: Mapping[str, Any]) -> Response:
        """The answer to a reading or a change: the representation as it is now, with its tag."""
        return Response(representation, headers={"ETag": etag_of(representation)})

    def made(self, representation: Mapping[str, Any], location: str) -> Response:
        """The answer to a POST that made something: 201, what it is, and where it is to be read."""
        return Response(
            representation, status=201, headers={"ETag": etag_of(representation), "Location": location}
        )

    def told(self, response: Response) -> Response:
        """The same answer, marked as one that tells a secret: it is kept under its key so that only the token that
        asked can read it, and by nobody on the way."""
        response.tells_secret = True
        response.headers["Cache-Control"] = "no-store"
        return response

    def gone(self) -> Response:
        """The answer to a DELETE: 204."""
        return Response(status=204)

    # -- on the way out --------------------------------------------------------------------------------------

    def finalize_response(
        self, request: Request, response: HttpResponse, *args: Any, **kwargs: Any
    ) -> HttpResponse:
        answer: HttpResponse = super().finalize_response(request, response, *args, **kwargs)
        if self.limit is not None:
            for name, value in self.limit.headers.items():
                answer.headers[name] = value
        answer.headers.setdefault(
            "Cache-Control", "private, no-cache" if request.method == "GET" else "no-store"
        )
        answer.headers.setdefault("Content-Security-Policy", POLICY)
        answer.headers["Content-Language"] = translation.get_language() or "en-gb"
        return answer
