"""The diary of a round: dated entries, and the words they share."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from testround.people.models import User
from testround.rounds import letters
from testround.rounds.models import DiaryEntry, Place, Round


def diary_write(
    *,
    round: Round,
    text: str,
    by: User | None = None,
    place: Place | None = None,
    reason: str = "",
    names: Iterable[str] = (),
) -> DiaryEntry:
    """Write one dated entry; a text longer than the column is cut with an ellipsis.

    Parameters
    ----------
    text : str
        A whole sentence, in the language of whoever acts.
    reason : str
        What somebody gave as their reason, without a full stop; it stands behind the sentence, and goes with the
        names.
    names : iterable of str
        Who is named in it, beside the tester of the place.
    """
    reason = reason.strip().rstrip(".")
    whole = text
    if reason:
        # Translators: a sentence of a diary without its full stop, and the reason that somebody gave.
        whole = _("{sentence}: {reason}.").format(sentence=text.rstrip("."), reason=reason)
    named = dict.fromkeys([*([place.name] if place is not None else []), *names])
    return DiaryEntry.objects.create(
        round=round,
        place=place,
        by=by,
        text=_cut(whole),
        without_reason=_cut(text) if reason else "",
        names=[name for name in named if name],
    )


def _cut(text: str) -> str:
    most = DiaryEntry._meta.get_field("text").max_length
    return text if len(text) <= most else text[: most - 1] + "…"


def said(value: object) -> str:
    """A value in an entry: "from {} to {}"."""
    if value is None or value == "":
        return pgettext("a value in a diary", "none")
    if isinstance(value, dt.date):
        return letters.day(value)
    return _("“{value}”").format(value=value)


def changed(what: str, before: object, after: object) -> str:
    """One change in an entry that lists several."""
    return _("{what} from {before} to {after}").format(what=what, before=said(before), after=said(after))
