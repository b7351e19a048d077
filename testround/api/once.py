"""Every POST is done once, however often it is sent: by the key that its sender gave it.

After draft-ietf-httpapi-idempotency-key-header. The key's row and the work are one transaction, so that a process
may die at any moment: either both are there or neither. Of two at once the second waits for the first to commit.
What is refused leaves no row, and the same key may be sent again with it mended.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Iterable
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.http import QueryDict
from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.models import Answered
from testround.api.problems import KEY_MISSING, KEY_REUSED, ApiProblem
from testround.api.rendering import rendered
from testround.api.sealing import opened, sealed

HEADER = "Idempotency-Key"
REPLAYED = "Idempotency-Replayed"
KEY = re.compile(r"[\x21-\x7e]{1,255}")


def answered_once(request: Request, work: Callable[[], Response]) -> Response:
    """Do the work, or answer as it was answered before under the same key."""
    key = request.headers.get(HEADER, "").strip()
    if not KEY.fullmatch(key):
        raise ApiProblem(
            KEY_MISSING,
            _(
                "Send an Idempotency-Key of 1 to 255 printable characters without spaces; a new UUID does well."
            ),
        )
    fingerprint = fingerprint_of(request)
    # Those without an account share their keys; the fingerprint tells one request from another.
    user = request.user if request.user.is_authenticated else None
    bearer = request.headers.get("Authorization", "")
    with transaction.atomic():
        # On PostgreSQL the second of two waits here for the first; on SQLite it did so at the transaction's start.
        row, is_new = Answered.objects.get_or_create(
            user=user, key=key, defaults={"fingerprint": fingerprint}
        )
        if not is_new:
            return _as_before(row, fingerprint, bearer)
        response = work()
        if response.status_code >= 400:
            raise RuntimeError("A refusal is raised, so that nothing of the work is kept.")
        row.status = response.status_code
        row.body = "" if response.data is None else rendered(response.data).decode()
        if getattr(response, "tells_secret", False):
            row.is_sealed, row.body = True, sealed(row.body, bearer=bearer, key=key)
        row.location = response.headers.get("Location", "")
        row.save(update_fields=["status", "body", "location", "is_sealed"])
    return response


def _as_before(row: Answered, fingerprint: str, bearer: str) -> Response:
    if row.fingerprint != fingerprint:
        raise ApiProblem(
            KEY_REUSED,
            _("This Idempotency-Key was sent before with another request. Give this one a key of its own."),
        )
    body: str | None = row.body
    if row.is_sealed:
        body = opened(row.body, bearer=bearer, key=row.key)
    if body is None:
        raise ApiProblem(
            KEY_REUSED,
            _("This was asked with another token, and the secret in its answer is told to that one alone."),
        )
    headers = {REPLAYED: "true"}
    if row.location:
        headers["Location"] = row.location
    return Response(json.loads(body) if body else None, status=row.status, headers=headers)


def fingerprint_of(request: Request) -> str:
    """What makes two requests the same: method, address, and body as it is read, whatever its spaces and boundaries."""
    told = hashlib.sha256()
    for part in (request.method or "", request.get_full_path(), *_parts(request.data)):
        encoded = part.encode() if isinstance(part, str) else part
        told.update(f"{len(encoded)}:".encode() + encoded)
    return told.hexdigest()


def _parts(data: Any) -> Iterable[str | bytes]:
    if isinstance(data, bytes):
        yield data
    elif isinstance(data, QueryDict):
        for name in sorted(data):
            for value in data.getlist(name):
                yield name
                yield _digest(value) if isinstance(value, UploadedFile) else str(value)
    else:
        yield json.dumps(data, sort_keys=True, ensure_ascii=False)


def _digest(file: UploadedFile) -> str:
    told = hashlib.sha256()
    for chunk in file.chunks():
        told.update(chunk)
    file.seek(0)
    return told.hexdigest()
