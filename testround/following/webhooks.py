"""Posting published errata to other programs: the addresses of a pattern, and what is delivered to them."""

from __future__ import annotations

import datetime as dt
import json
import secrets
import uuid
from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from testround.errata.heard import when_published
from testround.errata.models import Erratum
from testround.errata.published import Addresses
from testround.errata.published.document import errata_document
from testround.errata.selectors import public_errata
from testround.following import letters, posting, signing
from testround.following.models import Attempt, Delivery, Webhook
from testround.following.posting import Answer
from testround.following.targets import BadTarget, target_of
from testround.kernel.errata import errata_json
from testround.outbox.clock import has_come
from testround.outbox.mail import mail_send
from testround.outbox.services import at_any_time, handles, regularly, work_add
from testround.patterns.access import Right, require
from testround.patterns.models import Pattern
from testround.people.language import speaking_to
from testround.people.models import User
from testround.rounds.refusals import Refused

MOST_OF_A_PATTERN = 10
# Between one attempt and the next: three days in all, each a tenth more or less, so that those who failed together
# do not all come back together.
WAITS = tuple(
    dt.timedelta(minutes=minutes)
    for minutes in (1, 5, 30, 2 * 60, 5 * 60, 10 * 60, 14 * 60, 20 * 60, 20 * 60)
)
JITTER = 0.1
MOST_ATTEMPTS = len(WAITS) + 1
# Of a receiver's own wish to be left alone.
LONGEST_WAIT = dt.timedelta(days=1)
# Nothing delivered for so long when a message is given up, and the address is paused.
FAILING_FOR_LONG = dt.timedelta(days=2)
FORMER_SECRET_LASTS = dt.timedelta(days=1)
# A post is over in much less; afterwards whoever was at it is taken for lost.
CLAIM_LASTS = dt.timedelta(minutes=2)
KEPT_FOR = dt.timedelta(days=90)
GONE = 410

Paused: Any = Webhook.Paused
State: Any = Delivery.State
Kind: Any = Delivery.Kind
_random = secrets.SystemRandom()


# The addresses -------------------------------------------------------------------------------------------


@transaction.atomic
def webhook_add(*, pattern: Pattern, url: str, key: uuid.UUID, by: User) -> tuple[Webhook, bool]:
    """Add an address. Its secret is on the row; True with it when it is new, False on a second press.

    Raises
    ------
    Refused
        The address cannot be posted to, is there already, or is one too many.
    """
    require(by, Right.PUBLISH, pattern)
    Pattern.objects.select_for_update(no_key=True).only("pk").get(pk=pattern.pk)
    there = Webhook.objects.filter(pattern=pattern, key=key).first()
    if there is not None:
        return there, False
    try:
        url = target_of(url).url
    except BadTarget as bad:
        raise Refused.because(str(bad), "url") from None
    if Webhook.objects.filter(pattern=pattern, url=url).exists():
        raise Refused.because(_("Errata are posted to this address already."), "url")
    if Webhook.objects.filter(pattern=pattern).count() >= MOST_OF_A_PATTERN:
        said = _("A pattern posts to {n} addresses at most; remove one first.")
        raise Refused.because(said.format(n=MOST_OF_A_PATTERN), "url")
    # A key that stands on another pattern's form already is not taken over.
    key = uuid.uuid4() if Webhook.objects.filter(key=key).exists() else key
    return Webhook.objects.create(pattern=pattern, key=key, url=url, secret=signing.new_secret()), True


@transaction.atomic
def webhook_secret_renew(*, webhook: Webhook, by: User) -> Webhook:
    """Make a new secret. Messages are signed by both for a day, then by the new one alone."""
    locked = _locked(webhook, by)
    locked.former_secret, locked.secret = locked.secret, signing.new_secret()
    locked.former_until = timezone.now() + FORMER_SECRET_LASTS
    locked.save(update_fields=["former_secret", "former_until", "secret"])
    return locked


@transaction.atomic
def webhook_pause(*, webhook: Webhook, by: User) -> None:
    """Post nothing more until it is taken up again; what is published meanwhile is held back."""
    locked = _locked(webhook, by)
    if not locked.paused:
        _pause(locked, Paused.BY_OWNER)


@transaction.atomic
def webhook_resume(*, webhook: Webhook, by: User) -> int:
    """Post again, what was held back first. Returns how many messages that is."""
    locked = _locked(webhook, by)
    locked.paused, locked.failing_since = "", None
    locked.save(update_fields=["paused", "failing_since"])
    held = list(locked.deliveries.filter(state=State.HELD).order_by("pk"))
    for delivery in held:
        _send_anew(delivery)
    return len(held)


@transaction.atomic
def webhook_remove(*, webhook: Webhook, by: User) -> None:
    """Forget an address, its secret and all its deliveries. Gone already is as good."""
    require(by, Right.PUBLISH, webhook.pattern)
    Webhook.objects.filter(pk=webhook.pk).delete()


@transaction.atomic
def webhook_test(*, webhook: Webhook, by: User) -> Delivery:
    """Post a message that says it is a trial: once, and while the address is paused, too."""
    locked = _locked(webhook, by)
    delivery = Delivery(webhook=locked, kind=Kind.TEST)
    delivery.body = _body(delivery, {"pattern": _pattern(locked.pattern)})
    delivery.save()
    _set_to_work(delivery)
    return delivery


@transaction.atomic
def delivery_send_again(*, delivery: Delivery, by: User) -> bool:
    """Post a message at once, under the same id: again, or before its time. False when it is about to be anyway."""
    _locked(delivery.webhook, by)
    locked = Delivery.objects.select_for_update(of=("self",)).get(pk=delivery.pk)
    being_posted = locked.claimed_until is not None and locked.claimed_until > timezone.now()
    if locked.state == State.WAITING and (being_posted or not locked.attempts_made):
        return False
    _send_anew(locked)
    return True


def _locked(webhook: Webhook, by: User) -> Webhook:
    require(by, Right.PUBLISH, webhook.pattern)
    return Webhook.objects.select_for_update(of=("self",)).select_related("pattern__owner").get(pk=webhook.pk)


def _pause(webhook: Webhook, why: str) -> None:
    webhook.paused = why
    webhook.save(update_fields=["paused"])
    webhook.deliveries.filter(state=State.WAITING).exclude(kind=Kind.TEST).update(state=State.HELD)


def _send_anew(delivery: Delivery) -> None:
    delivery.state, delivery.attempts_made, delivery.finished = State.WAITING, 0, None
    delivery.not_before, delivery.claimed_until = timezone.now(), None
    delivery.save(update_fields=["state", "attempts_made", "finished", "not_before", "claimed_until"])
    _set_to_work(delivery)


def _set_to_work(delivery: Delivery) -> None:
    work_add(kind="deliver-webhook", subject={"delivery": delivery.pk}, once_key=f"delivery {delivery.pk}")


# What is posted ------------------------------------------------------------------------------------------


@when_published
def erratum_post(erratum: Erratum) -> None:
    """Have an erratum posted to the pattern's addresses, in work that begins after it is out."""
    if Webhook.objects.filter(pattern_id=erratum.pattern_id).exists():
        work_add(kind="tell-webhooks", subject={"erratum": erratum.pk}, once_key=f"erratum {erratum.pk}")


@handles("tell-webhooks")
@transaction.atomic
def _tell(subject: Mapping[str, Any]) -> None:
    """Write a message for each address; one that is written already is not written again."""
    erratum = (
        Erratum.objects.published()
        .select_related("pattern")
        .filter(pk=subject["erratum"], published_at__isnull=False)
        .first()
    )
    if erratum is None:
        return
    data = _data(erratum)
    # Locked, so that nobody pauses or removes one meanwhile.
    for webhook in Webhook.objects.select_for_update().filter(
        pattern_id=erratum.pattern_id, created__lte=erratum.published_at
    ):
        made = Delivery(webhook=webhook, erratum=erratum, kind=Kind.PUBLISHED)
        delivery, is_new = Delivery.objects.get_or_create(
            webhook=webhook,
            erratum=erratum,
            defaults={
                "kind": made.kind,
                "message_id": made.message_id,
                "body": _body(made, data, at=erratum.published_at),
                "state": State.HELD if webhook.paused else State.WAITING,
            },
        )
        if is_new and not webhook.paused:
            _set_to_work(delivery)


def _data(erratum: Erratum) -> dict[str, Any]:
    """The pattern and the erratum as the published document of the pattern has them."""
    public = public_errata(erratum.pattern.code)
    if public is None:
        raise LookupError(
            f"Nothing of {erratum.pattern.code} is public, though an erratum of it is published."
        )
    document = json.loads(errata_json(errata_document(public, Addresses(erratum.pattern.code))))
    (entry,) = (entry for entry in document["errata"] if entry["number"] == erratum.number)
    return {"pattern": document["pattern"], "erratum": entry}


def _pattern(pattern: Pattern) -> dict[str, str]:
    return {"title": pattern.title, "address": Addresses(pattern.code).list}


def _body(delivery: Delivery, data: Mapping[str, Any], *, at: dt.datetime | None = None) -> str:
    """A message as the Standard Webhooks specification recommends it: what, when, and the data; and its id."""
    message = {
        "id": delivery.message_id,
        "type": str(delivery.kind),
        "timestamp": (at or timezone.now()).isoformat(),
        "data": data,
    }
    return json.dumps(message, ensure_ascii=False, separators=(",", ":"))


# Delivering ----------------------------------------------------------------------------------------------


@handles("deliver-webhook")
def _deliver(subject: Mapping[str, Any]) -> None:
    delivery_run(delivery_id=subject["delivery"])


def delivery_run(*, delivery_id: int, now: dt.datetime | None = None) -> bool:
    """Post a message whose turn it is. True when it was taken; a failure is on record, with when to try again."""
    now = now or timezone.now()
    delivery = _claim(delivery_id, now)
    if delivery is None:
        return False
    webhook, body = delivery.webhook, delivery.body.encode()
    known = [webhook.secret]
    if webhook.former_secret and webhook.former_until is not None and webhook.former_until > now:
        known.append(webhook.former_secret)
    try:
        target = target_of(webhook.url)
    except BadTarget:
        # What was allowed when it was added is so no more.
        answer = Answer(0, problem=posting.Problem.NOT_PUBLIC)
    else:
        # The time of this attempt, by which a receiver turns away what somebody recorded and posts again.
        signed = signing.headers(known, delivery.message_id, int(timezone.now().timestamp()), body)
        answer = posting.post(target, body, signed)
    return _keep(delivery, answer, now)


def _claim(delivery_id: int, now: dt.datetime) -> Delivery | None:
    with transaction.atomic():
        waiting = _due(now).filter(pk=delivery_id)
        if transaction.get_connection().features.has_select_for_update_skip_locked:
            waiting = waiting.select_for_update(skip_locked=True, of=("self",))
        delivery = waiting.select_related("webhook__pattern__owner").first()
        if delivery is None:
            return None
        if delivery.webhook.paused and delivery.kind != Kind.TEST:
            Delivery.objects.filter(pk=delivery.pk).update(state=State.HELD)
            return None
        delivery.attempts_made += 1
        delivery.claimed_until = now + CLAIM_LASTS
        delivery.save(update_fields=["attempts_made", "claimed_until"])
        return delivery


@transaction.atomic
def _keep(delivery: Delivery, answer: Answer, now: dt.datetime) -> bool:
    """Put an attempt on record, and what follows from it."""
    webhook = (
        Webhook.objects.select_for_update(of=("self",))
        .select_related("pattern__owner")
        .filter(pk=delivery.webhook_id)
        .first()
    )
    ours = Delivery.objects.select_for_update().filter(
        pk=delivery.pk,
        # Paused or sent again meanwhile: that stands, and the attempt is on record all the same.
        attempts_made=delivery.attempts_made,
        claimed_until=delivery.claimed_until,
    )
    if webhook is None:
        return False
    attempt = Attempt.objects.create(
        delivery=delivery,
        at=now,
        status=answer.status,
        problem=answer.problem,
        milliseconds=answer.milliseconds,
        answer=answer.text,
    )
    if attempt.is_taken:
        ours.update(state=State.DELIVERED, finished=now, claimed_until=None)
        Webhook.objects.filter(pk=webhook.pk).update(failing_since=None)
        return True
    if delivery.kind == Kind.TEST:
        ours.update(state=State.GIVEN_UP, finished=now, claimed_until=None)
        return False
    if webhook.failing_since is None:
        webhook.failing_since = now
        webhook.save(update_fields=["failing_since"])
    if answer.status != GONE and delivery.attempts_made < MOST_ATTEMPTS:
        ours.update(not_before=now + _wait(delivery.attempts_made, answer), claimed_until=None)
        return False
    if ours.update(state=State.GIVEN_UP, finished=now, claimed_until=None):
        if answer.status == GONE:
            _pause(webhook, Paused.GONE)
        elif webhook.failing_since <= now - FAILING_FOR_LONG and not webhook.paused:
            _pause(webhook, Paused.FAILING)
        _tell_owner(webhook, delivery, attempt)
    return False


def _wait(attempts: int, answer: Answer) -> dt.timedelta:
    """How long to let a receiver be after so many attempts: by the schedule, or as it asks."""
    scheduled = WAITS[attempts - 1] * _random.uniform(1 - JITTER, 1 + JITTER)
    asked = min(dt.timedelta(seconds=answer.retry_after or 0), LONGEST_WAIT)
    return max(scheduled, asked)


def _tell_owner(webhook: Webhook, delivery: Delivery, attempt: Attempt) -> None:
    owner = webhook.pattern.owner
    with speaking_to(owner):
        letter = letters.given_up(webhook=webhook, delivery=delivery, attempt=attempt)
    mail_send(to=owner.email, letter=letter, name=str(owner))


def _due(now: dt.datetime) -> QuerySet[Delivery]:
    """The messages whose time has come and that nobody is posting."""
    return Delivery.objects.filter(
        Q(claimed_until__isnull=True) | has_come("claimed_until", now=now, longest=CLAIM_LASTS),
        has_come("not_before", now=now, longest=LONGEST_WAIT * (1 + JITTER)),
        state=State.WAITING,
    )


@at_any_time
def deliveries_sweep(*, now: dt.datetime | None = None, most: int = 200) -> int:
    """Set to work every message whose time has come, or whose work was lost. Returns how many."""
    now = now or timezone.now()
    due = _due(now).order_by("not_before")
    # Each is work of its own, so that a receiver that lets its callers wait holds up no chore.
    found = list(due[:most])
    for delivery in found:
        _set_to_work(delivery)
    return len(found)


@regularly
def deliveries_forget(*, now: dt.datetime | None = None) -> int:
    """Delete messages that are long done with, and secrets that are valid no more. Returns how many messages."""
    now = now or timezone.now()
    Webhook.objects.filter(former_until__lte=now).update(former_secret="", former_until=None)
    old = Delivery.objects.filter(state__in=[State.DELIVERED, State.GIVEN_UP], finished__lt=now - KEPT_FOR)
    return old.delete()[1].get("following.Delivery", 0)
