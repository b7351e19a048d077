"""Programs of a person's, and what their requests cost."""

from __future__ import annotations

import datetime as dt
import json
import uuid
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import get_resolver
from django.utils import timezone

from testround.api.endpoints import Operation
from testround.api.models import Token
from testround.api.scopes import Scope
from testround.api.services import hash_of
from testround.people.models import User

V1 = "/api/v1"


class Program:
    """A program with a personal token. Each POST has a key of its own, unless one is given."""

    def __init__(self, secret: str = "") -> None:
        self.headers = {"Authorization": f"Bearer {secret}"} if secret else {}
        self.client = Client()

    def get(self, path: str, **headers: str) -> HttpResponse:
        return self.client.get(_at(path), headers={**self.headers, **headers})

    def post(self, path: str, body: Any = None, *, key: str = "", **headers: str) -> HttpResponse:
        return self._send("POST", path, body, {"Idempotency-Key": key or str(uuid.uuid4()), **headers})

    def put(self, path: str, body: Any, *, match: str = "*") -> HttpResponse:
        return self._send("PUT", path, body, {"If-Match": match})

    def patch(self, path: str, body: Any, *, match: str = "*") -> HttpResponse:
        return self._send("PATCH", path, body, {"If-Match": match})

    def delete(self, path: str, *, match: str = "*") -> HttpResponse:
        return self._send("DELETE", path, None, {"If-Match": match})

    def send(self, method: str, path: str, body: Any = None, **headers: str) -> HttpResponse:
        """A request with these headers and the token alone."""
        return self._send(method, path, body, headers)

    def _send(self, method: str, path: str, body: Any, headers: dict[str, str]) -> HttpResponse:
        data = b"" if body is None else body if isinstance(body, bytes) else json.dumps(body).encode()
        return self.client.generic(
            method,
            _at(path),
            data,
            content_type=headers.pop("Content-Type", "application/json"),
            headers={**self.headers, **{name: value for name, value in headers.items() if value}},
        )


def _at(path: str) -> str:
    return path if path.startswith("/api/") else V1 + path


def program_of(
    person: User,
    scopes: Iterable[str] = tuple(Scope),
    *,
    expires: dt.timedelta = dt.timedelta(days=30),
) -> Program:
    """A program of a person's with a token of these scopes, which was used just now."""
    secret = f"testround_{uuid.uuid4().hex}"
    Token.objects.create(
        user=person,
        name="Program",
        hint=secret[-4:],
        secret_hash=hash_of(secret),
        scopes=list(scopes),
        expires=timezone.now() + expires,
        last_used=timezone.now(),
    )
    return Program(secret)


def queries_of(call: Callable[[], HttpResponse]) -> int:
    """How many queries a call takes that succeeds."""
    with CaptureQueriesContext(
        connection,
    ) as counted:
        response = call()
    assert response.status_code < 300, response.content
    return len(counted)


def assert_costs_the_same(call: Callable[[], HttpResponse], grow: Callable[[], Any]) -> None:
    """A call takes as many queries with more data as with less, and reads the data that was added."""
    before, few = call().content, queries_of(call)
    grow()
    many = queries_of(call)
    assert call().content != before, "what was added is not read by this call"
    assert many == few


def operations() -> Iterator[tuple[str, str, str]]:
    """Every operation of the API: its name, the name of its address, and its method."""
    for operation, address, method in _handlers():
        yield operation.name, address, method


def public_operations() -> set[str]:
    """The names of those that need no token."""
    return {operation.name for operation, _address, _method in _handlers() if operation.scope is None}


def _handlers() -> Iterator[tuple[Operation, str, str]]:
    (root,) = [entry for entry in get_resolver().url_patterns if getattr(entry, "namespace", "") == "api"]
    (v1,) = [entry for entry in root.url_patterns if hasattr(entry, "url_patterns")]
    for entry in v1.url_patterns:
        for method in ("get", "post", "put", "patch", "delete"):
            handler = getattr(entry.callback.cls, method, None)
            if handler is not None:
                yield handler.operation, f"api:{entry.name}", method
