"""Publishing an erratum, for good."""

from __future__ import annotations

from django.db import transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.translation import gettext as _

from testround.errata.heard import tell_published
from testround.errata.models import Erratum
from testround.errata.services.values import problems_of_numbers
from testround.kernel.problems import Problem
from testround.patterns.access import Right, require
from testround.patterns.models import Pattern
from testround.patterns.services import edition_freeze
from testround.people.models import User
from testround.rounds.refusals import Refused
from testround.rounds.services import diary_write


def problems_before_publishing(erratum: Erratum) -> list[Problem]:
    """What a draft still lacks."""
    problems = []
    if not erratum.place.strip():
        problems.append(
            Problem("place", _("Place in the text: nothing is written here; name the section and step."))
        )
    if not erratum.text.strip():
        problems.append(
            Problem("text", _("Correction: nothing is written here; say what a reader has to change."))
        )
    return [*problems, *problems_of_numbers(erratum)]


@transaction.atomic
def erratum_publish(*, erratum: Erratum, by: User) -> Erratum:
    """Give a draft the pattern's next number and publish it, for good.

    Whoever publishes holds the pattern's row until done, so that two at once get two numbers in a row.

    Raises
    ------
    Refused
        It is published already, lacks its place or its words, or the sheet would not stand with its numbers.
    PermissionDenied
        Only the owner publishes.
    """
    Pattern.objects.select_for_update().only("pk").get(pk=erratum.pattern_id)
    locked = (
        Erratum.objects.select_for_update(of=("self",))
        .select_related("pattern", "edition", "round")
        .get(pk=erratum.pk)
    )
    require(by, Right.PUBLISH, locked.pattern)
    if locked.is_published:
        said = _("This is published already, as erratum {number}.")
        raise Refused.because(said.format(number=locked.number))
    problems = problems_before_publishing(locked)
    if problems:
        raise Refused(problems)
    # What it corrects stays as readers have it before them.
    edition_freeze(edition=locked.edition)
    last = Erratum.objects.filter(pattern_id=locked.pattern_id).aggregate(last=Max("number"))["last"]
    locked.number = (last or 0) + 1
    locked.published_at = timezone.now()
    locked.published_by = by
    locked.save(update_fields=["number", "published_at", "published_by"])
    if locked.round is not None:
        said = _("Erratum {number} published: {place}.").format(number=locked.number, place=locked.place)
        diary_write(round=locked.round, by=by, text=said)
    tell_published(locked)
    return locked
