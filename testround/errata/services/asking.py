"""Asking testers about what they sent, in a private word; the desk keeps that it was asked, and of what."""

from __future__ import annotations

import uuid
from collections.abc import Sequence

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.errata.models import Asked
from testround.errata.selectors import Read
from testround.errata.services.drafting import standing_remarks
from testround.errata.wording import names_of, title_of
from testround.kernel.problems import Problem
from testround.patterns.access import Right, require
from testround.people.models import User
from testround.reports.models import Remark
from testround.rounds.models import Round
from testround.rounds.refusals import Refused
from testround.rounds.services import diary_write
from testround.talk.services import word_write


@transaction.atomic
def asking_send(
    *,
    round: Round,
    read: Read,
    key: uuid.UUID,
    by: User,
    text: str,
    place_ids: Sequence[int],
    finding_id: str = "",
    remark_ids: Sequence[int] = (),
) -> list[Asked]:
    """Ask testers about a finding, or about their remarks: each gets a private word, and is told by mail.

    A form that is sent twice asks once, by its ``key``. It decides nothing: the finding or remark stays where it is.

    Raises
    ------
    Refused
        No tester is ticked, nothing is asked, or what it is about is gone.
    PermissionDenied
        Private words are between the owner of the pattern and a tester.
    """
    require(by, Right.PUBLISH, round.edition.pattern)
    text = text.strip()
    remarks = list(standing_remarks(round).filter(pk__in=remark_ids).select_related("place"))
    finding = next((each for each in read.document["findings"] if each["id"] == finding_id), None)
    if finding is None and not remarks:
        raise Refused.because(
            _(
                "What you want to ask about is no longer there: a report came in meanwhile. Look at the desk again."
            )
        )
    about: dict[int, list[Remark | None]] = {remark.place_id: [] for remark in remarks}
    for remark in remarks:
        about[remark.place_id].append(remark)
    places = list(
        round.places.filter(pk__in=place_ids, tester__isnull=False)
        .select_related("round__edition__pattern__owner", "tester")
        .order_by("pk")
    )
    if finding is None:
        places = [place for place in places if place.pk in about]
    problems = []
    if not places:
        problems.append(Problem("place", _("Whom to ask: nobody is ticked; tick one tester or more.")))
    if not text:
        problems.append(Problem("text", _("Question: nothing is written here; ask what you want to know.")))
    if problems:
        raise Refused(problems)
    asked = []
    for place in places:
        word = word_write(place=place, key=uuid.uuid5(key, str(place.pk)), by=by, text=text)
        for remark in about.get(place.pk, [None]) if finding is None else [None]:
            row, _is_new = Asked.objects.get_or_create(
                round=round, word=word, finding_id=finding_id if finding else "", remark=remark
            )
            asked.append(row)
    subject = (
        title_of(finding, names_of(read.sheet))
        if finding
        else ", ".join(dict.fromkeys(remark.where or _("no place named") for remark in remarks))
    )
    # Whom, and what was asked, is between the two: others read the diary.
    said = ngettext(
        "{n} tester was asked in private about {subject}.",
        "{n} testers were asked in private about {subject}.",
        len(places),
    )
    diary_write(round=round, by=by, text=said.format(n=len(places), subject=subject))
    return asked
