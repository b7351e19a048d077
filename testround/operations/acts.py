"""Who of the support staff did what: every page of the admin that was opened and every press, kept."""

from __future__ import annotations

import datetime as dt

from django.db import models
from django.http import HttpRequest
from django.utils import timezone

from testround.operations.models import Act
from testround.outbox.services import regularly

KEPT_FOR = dt.timedelta(days=730)


def act_record(
    request: HttpRequest,
    *,
    view: str,
    about: models.Model | None = None,
    object_id: str = "",
    status: int = 200,
) -> Act:
    """Keep that this person opened a page or pressed a button, with what they searched for."""
    return Act.objects.create(
        person=request.user,
        name=str(request.user.email)[:254],
        view=view[:100],
        method=request.method or "",
        object_id=str(about.pk) if about is not None else object_id[:100],
        query=request.META.get("QUERY_STRING", "")[:300],
        status=status,
    )


def may_operate(request: HttpRequest) -> bool:
    """Whether this is somebody who answers for the server: of the staff, with the right to operate it."""
    from django.contrib.admin import site

    return site.has_permission(request) and request.user.has_perm("operations.operate")


@regularly
def acts_forget(*, now: dt.datetime | None = None) -> int:
    """Delete what is long past. Returns how many."""
    return Act.objects.filter(at__lt=(now or timezone.now()) - KEPT_FOR).delete()[0]
