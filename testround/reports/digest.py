"""A name for what the kernel reads of a stored round: rounds of one name are the same to it."""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from pathlib import Path

from django.core.serializers.json import DjangoJSONEncoder
from django.db.models import Model

from testround import kernel
from testround.reports.bridge import REPORTED
from testround.reports.models import Photo
from testround.rounds.models import Candidate, Place, Round, SuppliedYarn
from testround.rows import RowsDigest, rows_of

# Columns that `kernel_round` and the forecasts of a round leave alone, whatever stands in them.
UNREAD: dict[type[Model], frozenset[str]] = {
    SuppliedYarn: frozenset({"round"}),
    Candidate: frozenset(
        {"round", "typed", "email", "email_key", "units", "terms", "adult", "thanked_at", "form_hash"}
        | {"photo_pattern", "photo_online", "photo_face", "photo_name", "created", "changed"}
    ),
    Place: frozenset(
        {"round", "tester", "candidate", "offered_until", "agreed_at", "agreed_terms", "swatch_until"}
        | {"measures_until", "likely_from", "likely_until", "forgotten_at", "left_at", "changed", "created"}
        | {"thanked_as"}
    ),
}
# Of what testers send. Who supersedes a row is another row; one superseded is not read.
UNREAD_OF_REPORTS = frozenset({"submission", "typed", "sent", "superseded_at"})
UNREAD_OF_PHOTOS = frozenset(
    {"code", "dimension", "state", "problem", "incoming", "original", "width", "height"}
)
# Columns of the round itself that are read; all others are about its people and its days.
READ_OF_ROUNDS = ("title", "opens", "swatches_due", "closes", "places_plan")


_OF_ROUND = "{table}.round_id = %s"
_OF_PLACES = f"{{table}}.superseded_at IS NULL AND {{table}}.place_id IN {rows_of(Place, _OF_ROUND)}"
READ = RowsDigest(
    {
        **dict.fromkeys((SuppliedYarn, Candidate, Place), _OF_ROUND),
        **dict.fromkeys(REPORTED, _OF_PLACES),
    },
    {**dict.fromkeys(REPORTED, UNREAD_OF_REPORTS), Photo: UNREAD_OF_REPORTS | UNREAD_OF_PHOTOS, **UNREAD},
)


def round_digest(round_: Round) -> str:
    """SHA-256 of all that the kernel reads of a round, and of the kernel itself: one query.

    Round and edition count as they were loaded, since that is how they are read.
    """
    own = [getattr(round_, name) for name in READ_OF_ROUNDS]
    document = json.dumps([own, round_.edition.sheet], cls=DjangoJSONEncoder)
    return READ.of(round_.pk, program_digest(), document.encode())


@lru_cache(maxsize=1)
def program_digest() -> bytes:
    """A digest of the kernel's source: another program may say something else of the same round."""
    digest = hashlib.sha256()
    for path in sorted(Path(kernel.__path__[0]).glob("**/*.py")):
        digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.digest()
