"""What this room holds about a person, and what becomes of it when they erase themselves."""

from __future__ import annotations

from typing import Any

from django.db.models import Q, Value
from django.db.models.functions import Upper
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.kernel.words import commas
from testround.patterns.models import Membership, Pattern
from testround.people.held import Shelf, erases, hinders, keeps
from testround.people.models import User
from testround.prepared import Prepared
from testround.rounds.models import Candidate, DiaryEntry, Nudge, Place, Reminder
from testround.rounds.services.privacy import tester_erase

TITLES_NAMED = 5


_PATTERNS: Prepared[Pattern] = Prepared(lambda user: Pattern.objects.filter(owner=user).order_by("pk"))
_PLACES: Prepared[Place] = Prepared(
    lambda user: (
        Place.objects.filter(tester=user)
        .select_related("round__edition__pattern")
        .prefetch_related("consents")
        .order_by("pk")
    )
)
_MEMBERSHIPS: Prepared[Membership] = Prepared(
    lambda user, address: (
        Membership.objects.alias(any_case=Upper("email"))
        .filter(Q(user=user) | Q(any_case=Upper(Value(address)), user__isnull=True))
        .select_related("pattern")
        .order_by("pk")
    )
)
_OFFERS: Prepared[Candidate] = Prepared(
    lambda address: (
        Candidate.objects.alias(any_case=Upper("email"))
        .filter(any_case=Upper(Value(address)))
        .select_related("round__edition__pattern")
        .order_by("pk")
    )
)
_REMINDERS: Prepared[Reminder] = Prepared(
    lambda user: Reminder.objects.filter(day__person=user).select_related("day").order_by("pk")
)
_NUDGES: Prepared[Nudge] = Prepared(lambda user: Nudge.objects.filter(person=user).order_by("pk"))
_ENTRIES: Prepared[DiaryEntry] = Prepared(
    lambda user: DiaryEntry.objects.filter(by=user).select_related("round__edition__pattern").order_by("pk")
)


@keeps
def patterns_held(user: User) -> Shelf:
    rows = [{"title": pattern.title, "created": pattern.created} for pattern in _PATTERNS.rows(user=user)]
    return Shelf("patterns", _("Patterns you own"), _("their editors; of a round, its testers"), rows)


@keeps
def memberships_held(user: User) -> Shelf:
    """Parts held, and invitations to one that were mailed to the person's address."""
    rows = [
        {
            "pattern": row.pattern.title,
            "role": row.role,
            "invited": row.invited_at,
            "joined": row.joined_at,
            "ended": row.ended_at,
        }
        for row in _MEMBERSHIPS.rows(user=user, address=user.email)
    ]
    return Shelf(
        "roles", _("Your part in others' patterns"), _("the owner of the pattern and its editors"), rows
    )


@keeps
def places_held(user: User) -> Shelf:
    places = _PLACES.rows(user=user)
    rows = [
        {
            "place": place.pk,
            "pattern": place.round.edition.pattern.title,
            "round": place.round.title,
            "called": place.name,
            "size": place.size,
            "state": place.state,
            "body_measurements_cm": place.measures,
            "yarn": place.yarn_label,
            "yarn_fibre": place.yarn_fibre,
            "used_metres": place.used_metres,
            "used_grams": place.used_grams,
            "guess_hours": place.guess_hours,
            "guess_metres": place.guess_metres,
            "needs_for_swatch_until": place.swatch_until,
            "needs_for_measurements_until": place.measures_until,
            "thanked_in_public_as": place.thanked_as,
            "agreed": place.agreed_at,
            "agreed_terms": place.agreed_terms,
            "consents": [
                {"to": consent.kind, "given": consent.given_at, "withdrawn": consent.withdrawn_at}
                for consent in place.consents.all()
            ],
            "private_data_deleted_on": place.round.purge_on,
            "private_data_deleted": place.forgotten_at,
        }
        for place in places
    ]
    return Shelf(
        "places",
        _("Your places, with body measurements"),
        _(
            "the designer of the round and the pattern's editors; a name that you wish to be thanked by, whoever reads "
            "the errata"
        )
        if any(place.thanked_as for place in places)
        else _("the designer of the round and the pattern's editors"),
        rows,
    )


@keeps
def offers_held(user: User) -> Shelf:
    rows = [
        {
            "pattern": offer.round.edition.pattern.title,
            "round": offer.round.title,
            "called": offer.name,
            "email": offer.email,
            "state": offer.state,
            "offered": offer.created,
            "body_measurements_cm": offer.measures,
            "typed": offer.typed,
            "wishes": offer.wishes,
            "yarns": offer.yarns,
            "own_yarn": offer.own_yarn,
            "tests_before": offer.tests_before,
            "adult": offer.adult,
            "photos_in_pattern": offer.photo_pattern,
            "photos_online": offer.photo_online,
            "photos_with_face": offer.photo_face,
            "photos_with_name": offer.photo_name,
            "told_that_there_was_no_place": offer.thanked_at,
            "private_data_deleted_on": offer.round.purge_on,
        }
        for offer in _OFFERS.rows(address=user.email)
    ]
    return Shelf(
        "offers", _("Your offers to test"), _("the designer of the round and the pattern's editors"), rows
    )


@keeps
def reminders_held(user: User) -> Shelf:
    """Of which dates the person was reminded, by the program or by the designer's friendly word."""
    rows: list[dict[str, Any]] = [
        {"place": row.place_id, "of": row.what, "due": row.due, "when": row.when, "at": row.day.at}
        for row in _REMINDERS.rows(user=user)
    ]
    rows += [
        {"place": row.place_id, "of": "a word from the designer", "at": row.at}
        for row in _NUDGES.rows(user=user)
    ]
    return Shelf(
        "reminders",
        _("What you were reminded of"),
        _("the designer of the round and the pattern's editors"),
        rows,
    )


@keeps
def diary_held(user: User) -> Shelf:
    rows = [
        {
            "pattern": entry.round.edition.pattern.title,
            "round": entry.round.title,
            "at": entry.at,
            "text": entry.text,
        }
        for entry in _ENTRIES.rows(user=user)
    ]
    return Shelf(
        "diary", _("What the diaries say you did"), _("the designer of the round and its editors"), rows
    )


@hinders
def patterns_need_an_owner(user: User) -> str:
    titles = list(Pattern.objects.filter(owner=user).order_by("pk").values_list("title", flat=True))
    if not titles:
        return ""
    more = len(titles) - TITLES_NAMED
    if more > 0:
        return ngettext(
            "You own {titles} and {n} more. Hand each pattern over to someone else, or delete it while it has no "
            "round: testers and readers of errata rely on it.",
            "You own {titles} and {n} more. Hand each pattern over to someone else, or delete it while it has no "
            "round: testers and readers of errata rely on it.",
            more,
        ).format(titles=commas(titles[:TITLES_NAMED]), n=more)
    return _(
        "You own {titles}. Hand each pattern over to someone else, or delete it while it has no round: testers and "
        "readers of errata rely on it."
    ).format(titles=commas(titles))


@erases
def rounds_erase(user: User) -> None:
    tester_erase(user)
    Membership.objects.filter(email__iexact=user.email, user__isnull=True).delete()
