"""Who may do what with a pattern, its rounds, what their testers sent, and its errata: said here alone.

A person is the owner of a pattern, holds a membership of it, or has no part in it. Every selector of designers'
pages starts from `patterns_open_to`, and every service that not each of them may use asks `require`. Testers
come in by another door: what they see follows from the places they hold.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from testround.patterns.models import Membership, Pattern
from testround.people.factors import designs
from testround.people.models import User

# One of its members is the name as stored: owner, editor or onlooker.
Role: Any = Membership.Role


class Right(Enum):
    """What someone may do."""

    LOOK = "look"
    SEE = "see"
    EDIT = "edit"
    PUBLISH = "publish"
    INVITE = "invite"
    OWN = "own"


RIGHTS: Mapping[str, frozenset[Right]] = {
    Role.OWNER: frozenset(Right),
    Role.EDITOR: frozenset({Right.LOOK, Right.SEE, Right.EDIT}),
    Role.ONLOOKER: frozenset({Right.LOOK}),
}


# What is said to somebody who has not the right: to a member of the pattern, by what they are, and to anybody else.
_REFUSALS: Mapping[Right, tuple[Any, Any]] = {
    Right.LOOK: (
        _("As {role} of this pattern you cannot see how its rounds stand: its owner can."),
        _("As you have no part in this pattern you cannot see how its rounds stand: its owner can."),
    ),
    Right.SEE: (
        _(
            "As {role} of this pattern you cannot see its numbers, its rounds and what their testers sent: its owner can."
        ),
        _(
            "As you have no part in this pattern you cannot see its numbers, its rounds and what their testers sent: its owner can."
        ),
    ),
    Right.EDIT: (
        _("As {role} of this pattern you cannot change its numbers, rounds and errata: its owner can."),
        _(
            "As you have no part in this pattern you cannot change its numbers, rounds and errata: its owner can."
        ),
    ),
    Right.PUBLISH: (
        _("As {role} of this pattern you cannot publish its errata: its owner can."),
        _("As you have no part in this pattern you cannot publish its errata: its owner can."),
    ),
    Right.INVITE: (
        _("As {role} of this pattern you cannot invite people to it or to its rounds: its owner can."),
        _(
            "As you have no part in this pattern you cannot invite people to it or to its rounds: its owner can."
        ),
    ),
    Right.OWN: (
        _("As {role} of this pattern you cannot delete it or hand it over: its owner can."),
        _("As you have no part in this pattern you cannot delete it or hand it over: its owner can."),
    ),
}
_ROLES: Mapping[str, Any] = {
    Role.OWNER: _("owner"),
    Role.EDITOR: _("editor"),
    Role.ONLOOKER: _("onlooker"),
}


@dataclass(frozen=True, slots=True)
class Rights:
    """A person's rights on one pattern, for templates: ``may.publish``."""

    role: str | None

    def has(self, right: Right) -> bool:
        return self.role is not None and right in RIGHTS[self.role]

    @property
    def see(self) -> bool:
        return self.has(Right.SEE)

    @property
    def edit(self) -> bool:
        return self.has(Right.EDIT)

    @property
    def publish(self) -> bool:
        return self.has(Right.PUBLISH)

    @property
    def invite(self) -> bool:
        return self.has(Right.INVITE)

    @property
    def own(self) -> bool:
        return self.has(Right.OWN)


def patterns_open_to(user: User, right: Right) -> QuerySet[Pattern]:
    """The patterns with which a person has this right: one query, also inside another one."""
    roles = [role for role, rights in RIGHTS.items() if right in rights and role != Role.OWNER]
    owned = Pattern.objects.filter(owner_id=user.pk)
    if not roles:
        return owned
    held = Membership.objects.filter(user_id=user.pk, role__in=roles, ended_at__isnull=True)
    # The keys of the one and of the other, each by its index: asked for the one or the other, a database reads every
    # pattern there is, and plans all that hangs on it as if half of them were this person's.
    keys = owned.order_by().values("pk").union(held.order_by().values("pattern_id"))
    return Pattern.objects.filter(pk__in=keys)


def people_with(right: Right, pattern: Pattern) -> list[User]:
    """Who has this right on a pattern: its owner first, then its members in the order they were invited."""
    roles = [role for role, rights in RIGHTS.items() if right in rights]
    held = Membership.objects.filter(
        pattern=pattern, role__in=roles, user__isnull=False, user__is_active=True, ended_at__isnull=True
    )
    found = [pattern.owner] if Role.OWNER in roles else []
    return found + [one.user for one in held.select_related("user").order_by("pk") if one.user is not None]


def rights_on(pattern: Pattern, user: User) -> Rights:
    """What a person may do with a pattern; nothing where they have no part in it."""
    if pattern.owner_id == user.pk:
        return Rights(Role.OWNER)
    held = Membership.objects.filter(pattern=pattern, user_id=user.pk, ended_at__isnull=True).first()
    return Rights(held.role if held else None)


def may(user: User, right: Right, pattern: Pattern) -> bool:
    return rights_on(pattern, user).has(right)


def require(user: User | None, right: Right, pattern: Pattern) -> None:
    """Refuse who has not this right. Nobody (None) is the program itself, which dates have set to work.

    Raises
    ------
    PermissionDenied
        With a sentence for the page.
    """
    if user is None:
        return
    rights = rights_on(pattern, user)
    if not rights.has(right):
        to_members, to_others = _REFUSALS[right]
        said = to_others if rights.role is None else to_members
        raise PermissionDenied(str(said).format(role=_ROLES.get(rights.role or "", "")))


@designs
def runs_a_pattern(user: User) -> bool:
    """Whether somebody is a designer: owns a pattern or edits one, and so sees what testers sent in private."""
    return patterns_open_to(user, Right.SEE).exists()
