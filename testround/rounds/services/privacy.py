"""What is private of a round: what testers allow, and the day on which it is deleted.

Private are names, body measurements, photos, words and offers. Swatches, counts, finished measurements of the
piece, hours and yarn are what the errata rest on: they stay, as those of "a tester".
"""

from __future__ import annotations

import datetime as dt
import logging
import re
from collections.abc import Callable, Iterable, Sequence

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext_lazy

from testround.outbox.mail import mail_send
from testround.outbox.models import Mail
from testround.outbox.services import regularly
from testround.people.language import speaking_to
from testround.people.models import User
from testround.prepared import Prepared
from testround.rounds import letters
from testround.rounds.clock import local_day
from testround.rounds.models import Candidate, Consent, DiaryEntry, Invitation, Place, Round, Vacancy
from testround.rounds.refusals import Refused
from testround.rounds.services.diary import diary_write
from testround.rounds.services.places import place_move
from testround.rounds.services.vacancies import place_fell_free

logger = logging.getLogger(__name__)

# An ending of so many letters belongs to a name, unless the name is so short that it would make a word with it.
ENDING = r"[^\W\d_]{0,2}"
SHORTEST_WITH_ENDING = 3
# What a tester allows, as it is told of them in the diary.
ALLOWED = {
    Consent.Kind.SEEN: pgettext_lazy("a tester allows", "the designer sees the photos"),
    Consent.Kind.PATTERN: pgettext_lazy("a tester allows", "the published pattern shows the photos"),
    Consent.Kind.ONLINE: pgettext_lazy("a tester allows", "the photos are shown online, where the design is"),
    Consent.Kind.FACE: pgettext_lazy("a tester allows", "photos show the face"),
    Consent.Kind.NAME: pgettext_lazy("a tester allows", "the tester's name stands beside the photos"),
    Consent.Kind.STANDING: pgettext_lazy(
        "a tester allows",
        "other testers and onlookers see the tester's name where they see how the round stands",
    ),
    Consent.Kind.THANKS: pgettext_lazy("a tester allows", "thanks in public, by the name they gave for it"),
    Consent.Kind.REPORT: pgettext_lazy("a tester allows", "the report of the round calls them by their name"),
}
CHOSEN_APART = (Consent.Kind.THANKS, Consent.Kind.REPORT)

Forgetter = Callable[[Sequence[Place]], None]
Withdrawal = Callable[[Place], None]
_forgetters: list[Forgetter] = []
_withdrawals: list[Withdrawal] = []


def forgets(forgetter: Forgetter) -> Forgetter:
    """Register how a room above deletes what is private of some places. It runs in the caller's transaction, and
    again without harm."""
    _forgetters.append(forgetter)
    return forgetter


def on_unseen(withdrawal: Withdrawal) -> Withdrawal:
    """Register what becomes of a place's photos when nobody may see them any more."""
    _withdrawals.append(withdrawal)
    return withdrawal


# -- the date ----------------------------------------------------------------------------------------------


def check_kept(place: Place) -> None:
    """Refuse new private things of a place once its round's have been deleted.

    Raises
    ------
    Refused
        With the day on which it was.
    """
    # Asked anew: what the page read may be older than the deletion.
    found = _PURGED.first(pk=place.round_id)
    if found is not None:
        (purged_at,) = found
        raise Refused.because(
            _(
                "What is private of this round was deleted on {day}, as its terms say, so nothing private is "
                "taken any more."
            ).format(day=letters.day(purged_at.date()))
        )


_PURGED: Prepared[tuple[dt.datetime]] = Prepared(
    lambda pk: Round.objects.filter(pk=pk, purged_at__isnull=False).values_list("purged_at")
)


# -- consents ----------------------------------------------------------------------------------------------


@transaction.atomic
def consents_set(*, place: Place, kinds: Iterable[str], by: User | None) -> set[str]:
    """Make these, and no others, the consents that stand at a place. Returns the kinds that changed.

    What is withdrawn stays on record with its dates. Without consent to be seen, the photos are deleted, and no
    other consent about photos stands. How a tester is thanked is chosen apart (`services.credits`) and left as it is.
    """
    locked = Place.objects.select_for_update(of=("self",)).select_related("round").get(pk=place.pk)
    apart = {str(kind) for kind in CHOSEN_APART}
    wanted = set(kinds) & set(Consent.Kind.values) - apart
    if Consent.Kind.SEEN not in wanted:
        wanted &= {str(Consent.Kind.STANDING)}
    standing = set(locked.consents.filter(withdrawn_at=None).values_list("kind", flat=True)) - apart
    given, withdrawn = wanted - standing, standing - wanted
    Consent.objects.bulk_create(Consent(place=locked, kind=kind) for kind in sorted(given))
    locked.consents.filter(withdrawn_at=None, kind__in=withdrawn).update(withdrawn_at=timezone.now())
    if Consent.Kind.SEEN not in wanted:
        # Also those that came before there was such a question.
        for withdrawal in _withdrawals:
            withdrawal(locked)
    if given:
        allowance_tell(locked, by, given)
    if withdrawn:
        allowance_tell(locked, by, withdrawn, allows=False)
    return given | withdrawn


def allowance_tell(place: Place, by: User | None, kinds: set[str], *, allows: bool = True) -> None:
    """Write what a tester allows, or no longer does, into the diary."""
    # Translators: {uses} is one or several of "the designer sees the photos" and what else a tester allows.
    said = _("{name} allows: {uses}.") if allows else _("{name} no longer allows: {uses}.")
    uses = "; ".join(str(words) for kind, words in ALLOWED.items() if kind in kinds)
    diary_write(round=place.round, place=place, by=by, text=said.format(name=place.name, uses=uses))


@transaction.atomic
def consent_give(*, place: Place, kind: str, by: User | None) -> None:
    """Add one consent to those that stand."""
    locked = Place.objects.select_for_update(of=("self",)).select_related("round").get(pk=place.pk)
    _, is_new = locked.consents.get_or_create(kind=kind, withdrawn_at=None)
    if is_new:
        allowance_tell(locked, by, {kind})


# -- forgetting --------------------------------------------------------------------------------------------


def _nameless(place: Place) -> str:
    """What a place is called once its tester's name is gone: a number that stays, by the order of the places."""
    number = Place.objects.filter(round_id=place.round_id, pk__lte=place.pk).count()
    return _("a tester, no. {number}").format(number=number)


def places_forget(places: Sequence[Place], *, thanks_stay: bool = False) -> None:
    """Delete what is private of some places of one round, whose rows the caller has locked; they become nameless.

    What the kernel reads of the piece itself stays as it is. ``thanks_stay``: a name that a tester gave to be thanked
    by in public is none of what is private of the round, and stands until they take it back or erase themselves.
    """
    for forgetter in _forgetters:
        forgetter(places)
    now = timezone.now()
    for place in places:
        entries = list(DiaryEntry.objects.filter(place=place))
        names = [place.name, *(name for entry in entries for name in entry.names)]
        names += [place.tester.name, place.tester.email] if place.tester else []
        if place.forgotten_at is None:
            place.name, place.key = _nameless(place), _plain_key(place)
        _diary_nameless(entries, names, place.name)
        place.measures, place.forgotten_at = {}, now
        if not thanks_stay:
            place.thanked_as = ""
        place.save(update_fields=["name", "key", "measures", "forgotten_at", "thanked_as", "changed"])
    Candidate.objects.filter(pk__in=[place.candidate_id for place in places]).delete()
    consents = Consent.objects.filter(place__in=places)
    if thanks_stay:
        consents = consents.exclude(kind=Consent.Kind.THANKS, withdrawn_at=None)
    consents.delete()
    Invitation.objects.filter(place__in=places).update(email="")


def _plain_key(place: Place) -> str:
    """The place's key, unless it is not one of ours and may be a name."""
    if re.fullmatch(r"[a-z]\d+", place.key):
        return place.key
    taken = set(Place.objects.filter(round_id=place.round_id).values_list("key", flat=True))
    number = 1
    while f"t{number:02d}" in taken:
        number += 1
    return f"t{number:02d}"


def _diary_nameless(entries: Iterable[DiaryEntry], names: Iterable[str], nameless: str) -> None:
    """Take names out of diary entries, and the reasons that people gave: the change itself stays on record."""
    gone = {name for name in names if name}
    said = _said(gone)
    for entry in entries:
        text = entry.without_reason or entry.text
        text = said.sub(nameless, text) if said else text
        left = [name for name in entry.names if name not in gone]
        if (text, left) != (entry.text, entry.names):
            entry.text, entry.names, entry.without_reason = text, left, ""
            entry.save(update_fields=["text", "names", "without_reason"])


def _said(names: Iterable[str]) -> re.Pattern[str] | None:
    """Wherever one of these names stands, with the ending that a language may give it: Anna's, Annas."""
    known = sorted(names, key=len, reverse=True)
    if not known:
        return None
    words = "|".join(
        re.escape(name) + (ENDING if len(name) >= SHORTEST_WITH_ENDING else "") for name in known
    )
    return re.compile(rf"(?<!\w)(?:{words})(?!\w)")


@regularly
def purge(*, now: dt.datetime | None = None) -> int:
    """Delete what is private of every round whose date has come. Returns how many. Run twice it finds nothing.

    A round that cannot be purged does not keep the others from it; it is tried again the next time.
    """
    now = now or timezone.now()
    # A day wider than any zone needs: whose midnight has struck is settled per round.
    due = Round.objects.filter(purged_at=None, purge_on__lte=now.date() + dt.timedelta(days=1))
    purged = 0
    for pk in list(due.values_list("pk", flat=True)):
        try:
            purged += _purge(pk, now)
        except Exception:
            logger.exception("What is private of round %s could not be deleted", pk)
    return purged


@transaction.atomic
def _purge(pk: int, now: dt.datetime) -> bool:
    round = (
        Round.objects.select_for_update(of=("self",), no_key=True)
        .select_related("edition__pattern__owner")
        .get(pk=pk)
    )
    if round.purged_at is not None or round.purge_on is None or local_day(round, now) < round.purge_on:
        return False
    with speaking_to(round.edition.pattern.owner):
        _forget_all(round, now)
    return True


def _forget_all(round: Round, now: dt.datetime) -> None:
    places = list(round.places.select_for_update(of=("self",)).select_related("tester").order_by("pk"))
    said = [place.name for place in places]
    said += [name for names in round.diary.values_list("names", flat=True) for name in names]
    offered_by = list(round.candidates.values_list("name", "email"))
    offers = len(offered_by)
    places_forget(places, thanks_stay=True)
    _diary_nameless(round.diary.all(), [word for pair in offered_by for word in pair], _("a candidate"))
    _diary_nameless(round.diary.all(), said, _("a tester"))
    round.candidates.all().delete()
    Vacancy.objects.filter(place__round=round).update(why="")
    # They bear addresses, also of those who have no account.
    Mail.objects.filter(about=round.code, finished__isnull=False).delete()
    round.purged_at = now
    round.save(update_fields=["purged_at"])
    diary_write(round=round, text=_purged(round.purge_on, len(places), offers))


def _purged(day: dt.date, places: int, offers: int) -> str:
    deleted = ngettext(
        "names, body measurements, photos and words of {n} place deleted",
        "names, body measurements, photos and words of {n} places deleted",
        places,
    ).format(n=places)
    if offers:
        # Translators: {deleted} is "names, body measurements, photos and words of 5 places deleted".
        deleted = ngettext("{deleted}, and {n} offer", "{deleted}, and {n} offers", offers).format(
            deleted=deleted, n=offers
        )
    return _(
        "The day came on which what is private goes ({day}): {deleted}. What the errata rest on stays."
    ).format(day=letters.day(day), deleted=deleted)


# -- erasing oneself ---------------------------------------------------------------------------------------


def tester_erase(user: User) -> None:
    """Take a person out of every round: forgets their places, ends them, and deletes their offers.

    A place at which nothing was made yet is given back; one with something made is done, so that its numbers
    stay among those that are read.
    """
    places = list(
        Place.objects.select_for_update(of=("self",))
        .filter(tester=user)
        .select_related("round__edition__pattern__owner", "tester")
        .order_by("pk")
    )
    _diary_nameless(
        DiaryEntry.objects.filter(
            Q(by=user) | Q(round__edition__pattern__memberships__user=user), place__isnull=True
        ).distinct(),
        [user.name, user.email],
        _("someone who left"),
    )
    for place in places:
        places_forget([place])
        was = place.state
        _end(place)
        place.tester = None
        place.agreed_terms = ""
        place.save(update_fields=["tester", "agreed_terms", "changed"])
        diary_write(
            round=place.round,
            place=place,
            text=_(
                "{name} left for good: everything personal is erased, what the errata rest on stays."
            ).format(name=place.name),
        )
        owner = place.round.edition.pattern.owner
        if was not in (Place.State.GIVEN_BACK, Place.State.DONE) and owner.pk != user.pk:
            with speaking_to(owner):
                letter = letters.people.left_for_good(place=place, was=was)
            mail_send(to=owner.email, letter=letter, name=str(owner), about=place.round.code)
    Invitation.objects.filter(email__iexact=user.email).update(email="")
    Candidate.objects.filter(email__iexact=user.email).delete()


def _end(place: Place) -> None:
    if place.state in (Place.State.GIVEN_BACK, Place.State.MEASURED, Place.State.DONE):
        return
    to = Place.State.GIVEN_BACK if place.state == Place.State.TAKEN else Place.State.DONE
    moved = place_move(place=place, state=to, by=None, cause=_("its tester left for good"))
    if to == Place.State.DONE:
        # Nobody will measure it: the size wants somebody else, though what was sent is read on.
        place.left_at = moved.left_at = timezone.now()
        moved.save(update_fields=["left_at"])
        place_fell_free(moved)
