from __future__ import annotations

from allauth.mfa.models import Authenticator
from django.db import transaction
from django.utils.translation import gettext as _

from testround.outbox.letters import letter
from testround.outbox.mail import mail_send
from testround.outbox.stopping import choices_save
from testround.people.language import speaking_to
from testround.people.models import User
from testround.people.readers import Reader
from testround.people.recovery import codes_forget
from testround.people.sealed import CannotOpen, reseal
from testround.people.sessions import sessions_end
from testround.security import Event, done

SHOWN = ("units", "tools", "terms", "language")


@transaction.atomic
def preferences_save(
    *, user: User, name: str, time_zone: str, shown: Reader, mails: set[str] | None = None
) -> User:
    """Keep how a person is called, where their clock stands, how they like things shown and which mails they want.

    ``mails`` are the kinds that are wanted, of those that can be stopped; None leaves them as they are.
    """
    user.name = name
    user.time_zone = time_zone
    _shown_keep(user, shown)
    user.save(update_fields=["name", "time_zone", *SHOWN])
    if mails is not None:
        choices_save(person=user, wanted=mails)
    return user


@transaction.atomic
def newcomer_introduce(*, user: User, name: str, shown: Reader) -> User:
    """What someone said of themselves at sign-up; what they chose to see before stays chosen."""
    user.name = name
    _shown_keep(user, shown)
    user.save(update_fields=["name", *SHOWN])
    return user


def _shown_keep(user: User, shown: Reader) -> None:
    """Put into the fields of an account how its person likes things shown; the caller saves them."""
    for field in SHOWN:
        setattr(user, field, getattr(shown, field))


@transaction.atomic
def factors_remove(*, user: User) -> int:
    """Take all second factors from an account whose owner has lost them, and sign it out everywhere.

    The owner hears of it by mail. Returns how many factors there were; without any, nothing happens.
    """
    count, _rows = Authenticator.objects.filter(user=user).delete()
    if not count:
        return 0
    codes_forget(user=user)
    done(Event.FACTOR_REMOVED, account=user.pk, kind="all", reason="lost")
    sessions_end(user=user)
    with speaking_to(user):
        said = letter(
            _("Your second factors were removed"),
            _(
                "Whoever runs this installation has removed the second factors of your account and signed it out everywhere."
            ),
            _(
                "Your password is enough to sign in. Add a new second factor when you have. If you did not ask for this, choose a new password at once, and write to whoever runs the installation."
            ),
        )
        mail_send(to=user.email, letter=said, person=user)
    return count


@transaction.atomic
def sessions_end_for(*, user: User, by: User) -> int:
    """Sign somebody out everywhere on behalf of whoever runs the installation; the account stays open.

    The owner hears of it by mail. Returns how many sessions there were; without any, nothing happens.
    """
    count = sessions_end(user=user, by=by)
    if not count:
        return 0
    with speaking_to(user):
        said = letter(
            _("You were signed out everywhere"),
            _(
                "Whoever runs this installation has ended all sessions of your account. Nothing else of it has changed: sign in again as you always do."
            ),
            _(
                "If you do not know why, ask them. If somebody else may know your password, choose a new one once you have signed in."
            ),
        )
        mail_send(to=user.email, letter=said, person=user)
    return count


@transaction.atomic
def factors_reseal() -> tuple[int, list[int]]:
    """Seal the keys of all authenticator apps with the present key.

    Returns how many were, and the accounts of those that no key opens, which stay as they are.
    """
    sealed, lost = 0, []
    for app in Authenticator.objects.select_for_update().filter(type=Authenticator.Type.TOTP).order_by("pk"):
        try:
            app.data["secret"] = reseal(app.data["secret"])
        except CannotOpen:
            lost.append(app.user_id)
            continue
        app.save(update_fields=["data"])
        sealed += 1
    return sealed, lost
