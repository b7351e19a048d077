"""Following the errata of a pattern by mail: asking, saying yes, leaving, and what is sent."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import get_language

from testround.errata.heard import when_published
from testround.errata.models import Erratum
from testround.following import letters
from testround.following.models import Follower
from testround.outbox.letters import Letter
from testround.outbox.mail import Addressed, mail_send, mails_send_once
from testround.outbox.models import Mail
from testround.outbox.services import handles, regularly, work_add
from testround.patterns.models import Pattern
from testround.people.language import speaking

# One mail a day asks the same address about the same pattern, and no more than a few about all patterns: whoever
# types a stranger's address cannot fill their mailbox.
ASKED_AGAIN_AFTER = dt.timedelta(days=1)
MOST_QUESTIONS_A_DAY = 5
# Who has not said yes by then is forgotten.
FORGOTTEN_AFTER_DAYS = 3
# Followers written to in one transaction and one piece of work; the next batch is another.
BATCH = 200


@transaction.atomic
def follow_ask(*, pattern: Pattern, address: str) -> None:
    """Ask an address by mail whether it wants to follow; nothing where it does, or was asked of late.

    It answers nothing, so that nobody learns from it who follows what.
    """
    now = timezone.now()
    # Two forms at once write one row, and the second waits for the first.
    pattern = Pattern.objects.select_for_update(no_key=True).get(pk=pattern.pk)
    # And one that is being forgotten at this moment is either gone by now or stays.
    follower = Follower.objects.select_for_update().filter(pattern=pattern, address__iexact=address).first()
    if follower is not None and (
        follower.confirmed_at is not None or follower.asked_at > now - ASKED_AGAIN_AFTER
    ):
        return
    asked_of_late = Follower.objects.filter(address__iexact=address, asked_at__gt=now - ASKED_AGAIN_AFTER)
    if asked_of_late.count() >= MOST_QUESTIONS_A_DAY:
        return
    language = get_language() or ""
    if follower is None:
        follower = Follower.objects.create(pattern=pattern, address=address, language=language, asked_at=now)
    else:
        follower.language, follower.asked_at = language, now
        follower.save(update_fields=["language", "asked_at"])
    mail_send(
        to=follower.address,
        letter=letters.confirm(follower=follower, days=FORGOTTEN_AFTER_DAYS),
        about=follower.about,
    )


def follow_confirm(*, follower: Follower) -> None:
    """Follow from now on. Twice is as good as once."""
    Follower.objects.filter(pk=follower.pk, confirmed_at__isnull=True).update(confirmed_at=timezone.now())


@transaction.atomic
def follower_leave(*, follower: Follower) -> None:
    """Delete the address, and with it every mail to it that has not left or is still on record."""
    # Whoever is writing a mail to it holds the row: this waits for them, and takes that mail along.
    Follower.objects.select_for_update().filter(pk=follower.pk).first()
    Mail.objects.filter(about=follower.about).delete()
    Follower.objects.filter(pk=follower.pk).delete()


@regularly
def followers_forget(*, now: dt.datetime | None = None, most: int = 500) -> int:
    """Delete the addresses that were asked and have not said yes. Returns how many."""
    now = now or timezone.now()
    silent = Follower.objects.filter(
        confirmed_at__isnull=True, asked_at__lt=now - dt.timedelta(days=FORGOTTEN_AFTER_DAYS)
    )
    gone = 0
    for follower in list(silent.order_by("asked_at")[:most]):
        with transaction.atomic():
            # Not who says yes, or is asked once more, at this very moment.
            deleted, _rows = silent.filter(pk=follower.pk).delete()
            if deleted:
                Mail.objects.filter(about=follower.about).delete()
                gone += 1
    return gone


# What is sent ---------------------------------------------------------------------------------------------


@when_published
def erratum_tell(erratum: Erratum) -> None:
    """Have every follower told, in work that begins after the erratum is out."""
    _batch_add(erratum.pk, after=0)


def _batch_add(erratum: int, *, after: int) -> None:
    work_add(
        kind="tell-followers",
        subject={"erratum": erratum, "after": after},
        once_key=f"{erratum} after {after}",
    )


@handles("tell-followers")
@transaction.atomic
def _tell_batch(subject: Mapping[str, Any]) -> None:
    """Write the mails of one batch and the work of the next one; a mail that is written already is not written again.

    Who said yes after the publication has read it on the page and is not told.
    """
    erratum = (
        Erratum.objects.published()
        .select_related("pattern", "edition__pattern", "corrects")
        .filter(pk=subject["erratum"])
        .first()
    )
    if erratum is None:
        return
    batch = list(
        # Held until the mails are written: who leaves meanwhile waits, and takes their mail along.
        Follower.objects.select_for_update(of=("self",))
        .select_related("pattern")
        .filter(
            pattern_id=erratum.pattern_id, confirmed_at__lte=erratum.published_at, pk__gt=subject["after"]
        )
        .order_by("pk")[:BATCH]
    )
    written: dict[str, Letter] = {}
    for language in sorted({follower.language for follower in batch}):
        with speaking(language):
            written[language] = letters.published(erratum=erratum)
    mails_send_once(
        [
            Addressed(
                to=follower.address,
                letter=letters.to_follower(written[follower.language], follower),
                about=follower.about,
                once_key=f"erratum {erratum.pk} to {follower.key}",
            )
            for follower in batch
        ]
    )
    if len(batch) == BATCH:
        _batch_add(erratum.pk, after=batch[-1].pk)
