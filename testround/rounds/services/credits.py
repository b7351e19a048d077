"""How a tester is thanked: in public by the name they type, in the round's report by the name they have there, or not."""

from __future__ import annotations

import re
import unicodedata

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from testround.people.models import User
from testround.rounds.models import Consent, Place
from testround.rounds.refusals import Refused
from testround.rounds.services.diary import diary_write
from testround.rounds.services.privacy import CHOSEN_APART, allowance_tell

LONGEST_NAME = 60
# What joins letters of Persian and Indic scripts, and parts of emoji, belongs to a name though it cannot be seen.
_JOINERS = "\u200c\u200d"
# An address with its scheme, one of mail, or a word with a full stop before what may be the end of a domain.
_ADDRESS = re.compile(r"\S*://\S*|\bwww\.\S+|\S+@\S+\.\S+|(?:[\w-]+\.)+[^\W\d_]{2,}(?:/\S*)?", re.IGNORECASE)


def name_to_thank_by(typed: str) -> str:
    """A name as it is shown: every run of spaces one, letters with marks joined. Empty for nobody.

    Raises
    ------
    Refused
        It is longer than `LONGEST_NAME`, holds signs that cannot be seen, the address of a page or of mail, or no
        letter; each with what to type instead. The problem's path is ``thanked_as``.
    """
    name = unicodedata.normalize("NFC", typed.strip())
    unseen = next((k for k, sign in enumerate(name, 1) if _unseen(sign)), None)
    if unseen is not None:
        raise _refused(
            _("Sign {n} of the name cannot be seen, such as a line break. Type the name afresh.").format(
                n=unseen
            )
        )
    name = " ".join(name.split())
    if len(name) > LONGEST_NAME:
        raise _refused(
            _("A name of at most {most} characters, please: this one has {n}. Shorten it.").format(
                most=LONGEST_NAME, n=len(name)
            )
        )
    address = _ADDRESS.search(name)
    if address is not None:
        raise _refused(
            _(
                "“{address}” looks like the address of a page or of mail, and a name is all that can stand here. "
                "Leave it out; if it is part of the name, put a space after the full stop."
            ).format(address=address.group())
        )
    if name and not any(sign.isalnum() for sign in name):
        raise _refused(
            _("A name has at least one letter. Type one, or leave it empty so as not to be named.")
        )
    return name


def _unseen(sign: str) -> bool:
    return unicodedata.category(sign) in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp") and sign not in _JOINERS


def _refused(sentence: str) -> Refused:
    return Refused.because(sentence, "thanked_as")


@transaction.atomic
def credit_choose(*, place: Place, thanked_as: str, in_report: bool, by: User | None) -> bool:
    """Set how the tester of a place is thanked. Returns whether anything changed.

    An empty name is none: nobody is named in public. Both can be changed as often as one likes, during the round and
    after; what was taken back stays on record with its dates, the name itself does not.

    Raises
    ------
    Refused
        See :func:`name_to_thank_by`.
    """
    name = name_to_thank_by(thanked_as)
    locked = Place.objects.select_for_update(of=("self",)).select_related("round").get(pk=place.pk)
    wanted = {str(Consent.Kind.THANKS)} if name else set()
    wanted |= {str(Consent.Kind.REPORT)} if in_report else set()
    standing = set(
        locked.consents.filter(withdrawn_at=None, kind__in=CHOSEN_APART).values_list("kind", flat=True)
    )
    given, withdrawn = wanted - standing, standing - wanted
    Consent.objects.bulk_create(Consent(place=locked, kind=kind) for kind in sorted(given))
    locked.consents.filter(withdrawn_at=None, kind__in=withdrawn).update(withdrawn_at=timezone.now())
    renamed = name != locked.thanked_as
    if renamed:
        locked.thanked_as = name
        locked.save(update_fields=["thanked_as", "changed"])
    if given:
        allowance_tell(locked, by, given)
    if withdrawn:
        allowance_tell(locked, by, withdrawn, allows=False)
    if renamed and not given and not withdrawn:
        said = _("{name} is to be thanked by another name than before.").format(name=locked.name)
        diary_write(round=locked.round, place=locked, by=by, text=said)
    return bool(given or withdrawn or renamed)
