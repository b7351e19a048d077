"""What the owner of a pattern says to the world: which editions readers have, and who may frame the errata."""

from __future__ import annotations

from collections.abc import Iterable

from django.db import transaction
from django.utils import timezone

from testround.patterns.access import Right, require
from testround.patterns.models import Edition, Pattern
from testround.patterns.services import edition_freeze
from testround.people.models import User


@transaction.atomic
def edition_release(*, edition: Edition, corrected: Iterable[int], by: User) -> Edition:
    """Say that readers have an edition, and which errata of others its text has already; for good, but for the latter.

    Its sheet is frozen: errata are held against what readers have in their hands.
    """
    locked = Edition.objects.select_for_update(of=("self",)).select_related("pattern").get(pk=edition.pk)
    require(by, Right.PUBLISH, locked.pattern)
    edition_freeze(edition=locked)
    locked.released_at = locked.released_at or timezone.now()
    locked.corrected = sorted(set(corrected))
    locked.save(update_fields=["released_at", "corrected"])
    return locked


@transaction.atomic
def frame_origins_set(*, pattern: Pattern, origins: Iterable[str], by: User) -> Pattern:
    """Let these sites show the pattern's errata in a frame, and no others. Each is one of `origins.origin_of`."""
    locked = Pattern.objects.select_for_update().get(pk=pattern.pk)
    require(by, Right.PUBLISH, locked)
    locked.frame_origins = list(dict.fromkeys(origins))
    locked.save(update_fields=["frame_origins"])
    return locked
