"""Who comes to the results and the desk of a round, and what is kept ready for them; for the views of both."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast

from django.conf import settings
from django.core.cache import cache
from django.http import Http404, HttpRequest

from testround.errata.models import Erratum
from testround.errata.selectors import (
    drafts_of,
    judged_by,
)
from testround.patterns.access import Rights, rights_on
from testround.people.kept import Kept, kept
from testround.people.models import User
from testround.prepared import Prepared
from testround.reports.digest import round_digest
from testround.rounds.models import Round


def user_of(request: HttpRequest) -> User:
    return cast(User, request.user)


def judged(request: HttpRequest, code: str) -> Round:
    """A round whose results this person may read and decide on; anybody else gets 404."""
    round = _JUDGED.first(user=user_of(request), code=code)
    if round is None:
        raise Http404
    return round


_JUDGED: Prepared[Round] = Prepared(lambda user, code: judged_by(user).filter(code=code))


def rights_of(request: HttpRequest, round: Round) -> Rights:
    return rights_on(round.edition.pattern, user_of(request))


def draft_of(request: HttpRequest, code: str, pk: int) -> tuple[Round, Erratum]:
    round = judged(request, code)
    erratum = _DRAFT.first(round=round, pk=pk)
    if erratum is None:
        raise Http404
    return round, erratum


_DRAFT: Prepared[Erratum] = Prepared(
    lambda round, pk: drafts_of(round).select_related("pattern", "edition", "corrects").filter(pk=pk)
)


def kept_of(request: HttpRequest, part: str, round: Round, digest: str, *rests_on: Any) -> Kept:
    """The place of a part that rests on all that is read of a round, by its digest. What it needs is given lazily."""
    edition = round.edition
    said = (round.code, round.title, edition.label, edition.pattern.code, edition.pattern.title)
    return kept(request, part, digest, said, rests_on, holds=lambda: round_digest(round) == digest)


def kept_file(place: Kept, make: Callable[[], bytes]) -> bytes:
    """A file that is kept as a part of a page would be, or what ``make`` gives, which then is."""
    data: bytes | None = cache.get(place.name)
    if data is None:
        data = make()
        # Whoever is changing the program sees what it makes now.
        if not settings.DEBUG and place.holds():
            cache.set(place.name, data, place.seconds)
    return data
