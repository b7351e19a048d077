"""Mail: written with what causes it, sent after commit, and never twice by itself.

A worker claims the row, opens the connection to the mail server, writes into the row that it is sending, and hands
the mail over. Whatever goes wrong before that last word has sent nothing: the mail waits and is tried again, later
each time. Whatever goes wrong after it, without the server's own yes or no, may have sent something: the mail is
*uncertain*, is shown to a person, and goes out again only by that person's press.
"""

from __future__ import annotations

import datetime as dt
import logging
import smtplib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMultiAlternatives, get_connection
from django.db import transaction
from django.db.models import Count, Q, QuerySet
from django.utils import timezone

from testround.logs import following, request_id
from testround.outbox.clock import has_come, long_since
from testround.outbox.letters import Letter, as_html, as_text, from_data, letter_from_text, to_data
from testround.outbox.mailbox import NotWritten
from testround.outbox.models import Mail, Stopped
from testround.outbox.services import LOST_AFTER, at_any_time, regularly, send_off
from testround.outbox.stopping import stop_address

logger = logging.getLogger(__name__)

Kind = Mail.Kind
# A claim is held for no longer than a mail server takes to answer. If a process dies before it hands anything over,
# another claims the mail afterwards; if it dies while handing over, the mail is uncertain from then on.
CLAIM_LASTS = dt.timedelta(minutes=5)
# Tried again after two minutes, four, and so on, then every six hours: for a good day in all.
MOST_ATTEMPTS = 12
LONGEST_WAIT = dt.timedelta(hours=6)
# So many in a row that do not leave, and the sweep lets the rest be until the next minute.
IN_VAIN = 3
KEPT_FOR = dt.timedelta(days=90)
TROUBLED = (Mail.State.UNCERTAIN, Mail.State.FAILED)

Troubled = Callable[[Mail], object]
_troubled: list[Troubled] = []


def on_trouble(told: Troubled) -> Troubled:
    """Register a function that is told, in its transaction, of a mail that failed for good or became uncertain."""
    _troubled.append(told)
    return told


def mail_send(
    *,
    to: str,
    subject: str = "",
    text: str = "",
    letter: Letter | None = None,
    labels: dict[str, str] | None = None,
    kind: str = Kind.ESSENTIAL,
    person: Any = None,
    name: str = "",
    about: str = "",
    once_key: str = "",
) -> Mail | None:
    """Write one mail in the current transaction, and send it after commit, in text and HTML.

    Parameters
    ----------
    to : str
        The address.
    subject, text : str
        What it says, where there is no ``letter``; ``labels`` names the actions behind addresses in the text.
    letter : Letter, optional
    kind : Mail.Kind
        Anything but essential mail has a link that ends its kind, and needs the ``person`` whose choice that is.
    person : User, optional
    name : str
        How those who see whether it arrived know whom it is to.
    about : str
        What it is about: a round's code.
    once_key : str
        With it, a second mail of the same key is not written.

    Returns
    -------
    Mail or None
        The row, or the one that is there already under that key; None when the person has stopped this kind.
    """
    if kind != Kind.ESSENTIAL and person is None:
        raise ValueError(f"A mail of the kind {kind} is to a person, who may stop it.")
    if kind != Kind.ESSENTIAL and Stopped.objects.filter(person=person, kind=kind).exists():
        return None
    letter = letter or letter_from_text(subject, text, labels)
    values = {
        "to": to,
        "person": person,
        "kind": kind,
        "subject": letter.subject[:300],
        "letter": to_data(letter),
        "about": about,
        "name": name,
        "request_id": request_id(),
    }
    with transaction.atomic():
        if once_key:
            mail, is_new = Mail.objects.get_or_create(once_key=once_key, defaults=values)
        else:
            mail, is_new = Mail.objects.create(**values), True
        if is_new:
            transaction.on_commit(lambda: _send_off(mail.pk))
    return mail


@dataclass(frozen=True, slots=True)
class Addressed:
    """One essential mail of many: to whom, what, what about, and the key under which it is written once."""

    to: str
    letter: Letter
    about: str
    once_key: str


def mails_send_once(many: Sequence[Addressed]) -> int:
    """Write many mails in the current transaction, and send them after commit. Returns how many are new.

    A few queries for all of them. Whoever calls this holds what keeps another from writing the same ones meanwhile.
    """
    with transaction.atomic():
        keys = [one.once_key for one in many]
        there = set(Mail.objects.filter(once_key__in=keys).values_list("once_key", flat=True))
        made = Mail.objects.bulk_create(
            Mail(
                to=one.to,
                subject=one.letter.subject[:300],
                letter=to_data(one.letter),
                about=one.about,
                once_key=one.once_key,
                request_id=request_id(),
            )
            for one in many
            if one.once_key not in there
        )
        for mail in made:
            transaction.on_commit(partial(_send_off, mail.pk))
    return len(made)


def _send_off(mail_id: int) -> None:
    send_off("mail", mail_id, lambda: mail_run(mail_id=mail_id))


def mail_run(*, mail_id: int, now: dt.datetime | None = None) -> bool:
    """Send one mail that waits. True when it has left now; False when it is not its turn, or it did not leave."""
    now = now or timezone.now()
    mail = _claim(mail_id, now)
    if mail is None:
        return False
    with following(mail.request_id):
        return _send(mail, now)


def _send(mail: Mail, now: dt.datetime) -> bool:
    connection = get_connection()
    try:
        message = message_of(mail, connection)
        message.message()  # what cannot be written as a mail is found here, before a server is asked
        connection.open()
    except Exception as error:
        _close(connection)
        _did_not_leave(mail, error, now)
        return False
    if not _goes(mail, Mail.State.CLAIMED, state=Mail.State.SENDING):
        # It took so long that somebody else has claimed it since.
        _close(connection)
        return False
    try:
        message.send()
    except Exception as error:
        if sent_nothing(error):
            _did_not_leave(mail, error, now)
        else:
            _is_uncertain(mail, f"{type(error).__name__}: {error}")
        return False
    finally:
        _close(connection)
    sent = {"state": Mail.State.SENT, "finished": timezone.now(), "problem": "", "letter": {}}
    if not _goes(mail, Mail.State.SENDING, **sent):
        # Taken for uncertain meanwhile, as by a clock that jumped ahead; it is certain now.
        _goes(mail, Mail.State.UNCERTAIN, **sent)
    return True


def _close(connection: Any) -> None:
    try:
        connection.close()
    except Exception:
        # The mail has left or not; how the server takes its leave changes nothing.
        logger.warning("The mail server did not take its leave", exc_info=True)


def _claim(mail_id: int, now: dt.datetime) -> Mail | None:
    with transaction.atomic():
        its_time = has_come("not_before", now=now, longest=LONGEST_WAIT)
        waiting = Mail.objects.filter(Q(attempts=0) | its_time, pk=mail_id, state=Mail.State.WAITING)
        if transaction.get_connection().features.has_select_for_update_skip_locked:
            waiting = waiting.select_for_update(skip_locked=True)
        mail = waiting.first()
        if mail is None:
            return None
        if mail.attempts >= MOST_ATTEMPTS:
            # Every attempt took its process down with it, so that none was left to say what went wrong.
            _fail(mail, mail.problem or f"Begun {mail.attempts} times and never ended.")
            return None
        mail.state, mail.claimed_at = Mail.State.CLAIMED, now
        mail.attempts += 1
        mail.save(update_fields=["state", "claimed_at", "attempts"])
        return mail


def _goes(mail: Mail, was: str, **becomes: Any) -> bool:
    """Change the row, unless another attempt has it by now."""
    changed = Mail.objects.filter(pk=mail.pk, state=was, attempts=mail.attempts).update(**becomes)
    if changed:
        for name, value in becomes.items():
            setattr(mail, name, value)
    return bool(changed)


def sent_nothing(error: Exception) -> bool:
    """Whether an error while handing over says for certain that the mail was not taken.

    A mail server that answers with an error has not taken it (RFC 5321, section 4.2.1); nor has one that was never
    asked. A connection that ends without an answer leaves it open.
    """
    return isinstance(
        error,
        smtplib.SMTPResponseException
        | smtplib.SMTPRecipientsRefused
        | smtplib.SMTPNotSupportedError
        | NotWritten
        | ValueError,
    )


def is_final(error: Exception) -> bool:
    """Whether trying again is in vain: the server said no for good (5yz, RFC 5321, 4.2.1), or it is no mail."""
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return all(code >= 500 for code, _ in error.recipients.values())
    # The operator mends these; the mails wait meanwhile.
    if isinstance(error, smtplib.SMTPAuthenticationError | smtplib.SMTPConnectError | smtplib.SMTPHeloError):
        return False
    if isinstance(error, smtplib.SMTPResponseException):
        return error.smtp_code >= 500
    return isinstance(error, ValueError) and not isinstance(error, OSError)


def _did_not_leave(mail: Mail, error: Exception, now: dt.datetime) -> None:
    logger.warning("Mail %s did not leave at attempt %s: %s", mail.pk, mail.attempts, error)
    problem = f"{type(error).__name__}: {error}"[:2000]
    with transaction.atomic():
        if mail.attempts < MOST_ATTEMPTS and not is_final(error):
            wait = min(LOST_AFTER * 2**mail.attempts, LONGEST_WAIT)
            _goes(mail, mail.state, state=Mail.State.WAITING, not_before=now + wait, problem=problem)
        else:
            _fail(mail, problem)


def _fail(mail: Mail, problem: str) -> None:
    logger.error("Mail %s is given up: %s", mail.pk, problem)
    if _goes(mail, mail.state, state=Mail.State.FAILED, problem=problem):
        _tell(mail)


def _is_uncertain(mail: Mail, problem: str) -> None:
    logger.error("Mail %s may or may not have left: %s", mail.pk, problem)
    with transaction.atomic():
        if _goes(mail, Mail.State.SENDING, state=Mail.State.UNCERTAIN, problem=problem[:2000]):
            _tell(mail)


def _tell(mail: Mail) -> None:
    for told in _troubled:
        told(mail)


def message_of(mail: Mail, connection: Any = None) -> EmailMultiAlternatives:
    """The mail as it goes out: both forms, and what mail programs go by."""
    letter = from_data(mail.letter)
    host = urlsplit(settings.SITE_URL).hostname or "localhost"
    headers = {
        "Message-ID": f"<{mail.message_id}@{host}>",
        # No machine is to answer it (RFC 3834).
        "Auto-Submitted": "auto-generated",
        "Content-Language": letter.language,  # RFC 3282
    }
    stop = ""
    if letter.mailing is not None:
        stop = letter.mailing.leave
        headers["List-Id"] = f"<{letter.mailing.list_id}>"  # RFC 2919
    elif mail.kind != Kind.ESSENTIAL and mail.person_id is not None:
        stop = stop_address(person_id=mail.person_id, kind=mail.kind)
    if stop:
        headers["List-Unsubscribe"] = f"<{stop}>"  # RFC 2369
        headers["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"  # RFC 8058
    message = EmailMultiAlternatives(
        subject=letter.subject,
        body=as_text(letter, stop=stop),
        to=[mail.to],
        headers=headers,
        connection=connection,
    )
    message.attach_alternative(as_html(letter, stop=stop), "text/html")
    return message


@at_any_time
def mails_sweep(*, now: dt.datetime | None = None, most: int = 500) -> int:
    """Take up every mail whose task or process was lost, and send those whose time has come.

    Returns how many left. Claims that nobody can be at any more are set free; mails that a process was handing
    over when it ended are uncertain from now on.
    """
    now = now or timezone.now()
    stale = long_since("claimed_at", now=now, ago=CLAIM_LASTS)
    Mail.objects.filter(stale, state=Mail.State.CLAIMED).update(
        state=Mail.State.WAITING,
        not_before=now,
        problem="The process that was to send it ended before it did.",
    )
    for mail in Mail.objects.filter(stale, state=Mail.State.SENDING):
        _is_uncertain(mail, "The process ended while it was handing the mail over.")
    due = Mail.objects.filter(
        Q(attempts__gt=0) | long_since("created", now=now, ago=LOST_AFTER),
        has_come("not_before", now=now, longest=LONGEST_WAIT),
        state=Mail.State.WAITING,
    ).order_by("created")
    left = in_vain = 0
    for pk in list(due.values_list("pk", flat=True)[:most]):
        if mail_run(mail_id=pk, now=now):
            left, in_vain = left + 1, 0
        else:
            in_vain += 1
        if in_vain == IN_VAIN:
            # The server is away or busy: a worker does not ask it five hundred times, each with its wait.
            break
    return left


@regularly
def mails_forget(*, now: dt.datetime | None = None) -> int:
    """Delete the rows of mails that are long past. Returns how many."""
    now = now or timezone.now()
    old = Mail.objects.filter(created__lt=now - KEPT_FOR).exclude(
        state__in=[Mail.State.WAITING, Mail.State.CLAIMED, Mail.State.SENDING]
    )
    return old.delete()[0]


def mails_in_trouble(*about: str) -> QuerySet[Mail]:
    """The mails about these that failed or may not have arrived, the newest first."""
    return Mail.objects.filter(about__in=about, state__in=TROUBLED, finished=None).order_by("-created", "-pk")


@dataclass(frozen=True, slots=True)
class Counts:
    """How many mails left, how many are still to go, and how many somebody left at that."""

    sent: int
    waiting: int
    let_be: int


def mails_counted(*about: str) -> Counts:
    """The mails about these, of the days for which their rows are kept: one query."""
    going = [Mail.State.WAITING, Mail.State.CLAIMED, Mail.State.SENDING]
    found = Mail.objects.filter(about__in=about).aggregate(
        sent=Count("pk", filter=Q(state=Mail.State.SENT)),
        waiting=Count("pk", filter=Q(state__in=going)),
        let_be=Count("pk", filter=Q(state__in=TROUBLED) & ~Q(finished=None)),
    )
    return Counts(**found)


@transaction.atomic
def mail_send_again(*, mail: Mail) -> bool:
    """Send a failed or uncertain mail once more, because a person said so. False when it is neither any more."""
    now = timezone.now()
    changed = Mail.objects.filter(pk=mail.pk, state__in=TROUBLED, finished=None).update(
        state=Mail.State.WAITING, attempts=0, not_before=now, created=now, problem=""
    )
    if changed:
        transaction.on_commit(lambda: _send_off(mail.pk))
    return bool(changed)


@transaction.atomic
def mail_let_be(*, mail: Mail) -> bool:
    """Leave a failed or uncertain mail at that, because a person said so; it is no longer shown."""
    return bool(
        Mail.objects.filter(pk=mail.pk, state__in=TROUBLED, finished=None).update(
            finished=timezone.now(), letter={}
        )
    )


@transaction.atomic
def mails_doubt() -> int:
    """Let every mail that waits be uncertain, since another server may have sent it. Returns how many.

    For rows that were restored from a copy: what waited when the copy was made has mostly left since, and nothing
    is sent twice by itself.
    """
    waiting = Mail.objects.filter(state__in=[Mail.State.WAITING, Mail.State.CLAIMED, Mail.State.SENDING])
    return waiting.update(
        state=Mail.State.UNCERTAIN,
        problem="It waited when the copy was made from which this server was restored, and may have left since.",
    )
