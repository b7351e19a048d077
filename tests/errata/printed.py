"""Published errata of the little top, made by hand: what each says can be read off here."""

from __future__ import annotations

import datetime as dt
from typing import Any

from testround.errata.models import Erratum
from testround.patterns.models import Edition

FIRST_DAY = dt.datetime(2026, 3, 2, 9, 30, tzinfo=dt.UTC)


def change(subject: str, unit: str, was: dict[str, float], now: dict[str, float]) -> dict[str, Any]:
    label, place = {
        "back_sts": ("Back, cast on", "Back, step 1"),
        "body_length": ("Hem to underarm", "Finished measurements"),
        "body": ("Stockinette, blocked", "Gauge"),
    }[subject]
    return {
        "subject": subject,
        "label": label,
        "place": place,
        "unit": unit,
        "was": was,
        "now": now,
        "finding": "",
    }


def published(edition: Edition, number: int, **said: Any) -> Erratum:
    """An erratum with this number, out since that many days after the first one."""
    return Erratum.objects.create(
        pattern=edition.pattern,
        edition=edition,
        number=number,
        published_at=FIRST_DAY + dt.timedelta(days=number - 1),
        **{"place": "Back, step 1", "text": "Cast on with these.", "why": "", **said},
    )


def misprint(edition: Edition, number: int = 1, **said: Any) -> Erratum:
    """Size M's cast-on is 118 in print and 114 by its formula."""
    return published(
        edition,
        number,
        sizes=["M"],
        changes=[change("back_sts", "st", {"M": 118}, {"M": 114})],
        text="Back, cast on: 114 stitches in size M, not 118.",
        **said,
    )


def unclear(edition: Edition, number: int = 2, **said: Any) -> Erratum:
    """A change of words alone, with a term that the dialects say otherwise, and a length."""
    words = {
        "place": "Edge",
        "text": "Work 1 single crochet in each stitch.\nThen bind off.",
        "why": "It is 2.5 cm short.",
    }
    return published(edition, number, **{**words, **said})


def next_edition(edition: Edition, label: str, *, cast_on_m: float, **said: Any) -> Edition:
    """Another edition, made after the first, that prints this many stitches in size M."""
    sheet = {**edition.sheet, "edition": label, "numbers": [dict(each) for each in edition.sheet["numbers"]]}
    sheet["numbers"][0]["printed"] = {**sheet["numbers"][0]["printed"], "M": cast_on_m}
    created = edition.created + dt.timedelta(days=1)
    return Edition.objects.create(
        pattern=edition.pattern, label=label, sheet=sheet, terms=edition.terms, created=created, **said
    )
