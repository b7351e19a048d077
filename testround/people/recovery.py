"""Recovery codes: each lets its owner in once, in the place of a second factor that is lost.

A code is twelve letters and digits, some 59 bits, drawn by the system's own generator. It is shown once, when it is
made; kept is its hash, salted, by the hasher of passwords (OWASP ASVS 5.0, 6.5.2 to 6.5.4).
"""

from __future__ import annotations

import re
import secrets

from django.contrib.auth.hashers import check_password, make_password
from django.db import transaction
from django.utils import timezone

from testround.people.models import RecoveryCode, User
from testround.security import Event, done

HOW_MANY = 10
# Without those that are taken for one another when they are read from paper.
LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
GROUPS, GROUP = 3, 4


def codes_left(user: User) -> int:
    return RecoveryCode.objects.filter(person=user, used_at=None).count()


@transaction.atomic
def codes_make(*, user: User) -> list[str]:
    """New codes in the place of all earlier ones. They are known to nobody but the caller, and cannot be had again."""
    # Of two who ask at once, the second one's codes hold.
    User.objects.select_for_update(no_key=True).get(pk=user.pk)
    RecoveryCode.objects.filter(person=user).delete()
    codes = [_code() for _ in range(HOW_MANY)]
    RecoveryCode.objects.bulk_create(
        RecoveryCode(person=user, hash=make_password(_bare(code))) for code in codes
    )
    done(Event.RECOVERY_CODES_MADE, account=user.pk)
    return codes


def code_use(*, user: User, typed: str) -> bool:
    """Use up one code, however its groups are typed; whether there was such a one that had not been used."""
    bare = _bare(typed)
    for code in RecoveryCode.objects.filter(person=user, used_at=None).order_by("pk"):
        if check_password(bare, code.hash):
            # Of two who send it at once, one comes in.
            unused = RecoveryCode.objects.filter(pk=code.pk, used_at=None)
            return unused.update(used_at=timezone.now()) == 1
    return False


def is_like_a_code(typed: str) -> bool:
    """Whether this was meant as a recovery code, and not as the six digits of an app."""
    return len(_bare(typed)) == GROUPS * GROUP


def codes_forget(*, user: User) -> None:
    """Codes go with the last factor that they stand in for."""
    RecoveryCode.objects.filter(person=user).delete()


def _code() -> str:
    return "-".join("".join(secrets.choice(LETTERS) for _ in range(GROUP)) for _ in range(GROUPS))


def _bare(typed: str) -> str:
    return re.sub(r"[^0-9A-Z]", "", typed.upper())
