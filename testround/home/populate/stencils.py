"""Patterns with their rounds, made once as people would make them, and read out as rows to be copied."""

from __future__ import annotations

import datetime as dt
import json
import random
import uuid
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.db import models, transaction
from django.utils import timezone

from testround.errata.models import Decision, Erratum
from testround.errata.services import erratum_publish, finding_accept
from testround.following.models import Follower
from testround.home.populate.documents import Course, Design, document_for
from testround.patterns.models import Edition, Pattern, SheetState
from testround.people.models import User
from testround.reports.exchange import round_import
from testround.reports.models import (
    Count,
    Finished,
    Fit,
    Photo,
    Remark,
    Reported,
    Sitting,
    Submission,
    Swatch,
)
from testround.rounds.forms.rounds import DEFAULT_TERMS
from testround.rounds.models import (
    Candidate,
    Consent,
    DiaryEntry,
    Invitation,
    Place,
    Round,
    SuppliedYarn,
)
from testround.talk.models import Answer, Note, Question, Word

# What there is of a pattern, each before what names it, and how it is found.
TABLES: dict[type[models.Model], str] = {
    Pattern: "pk",
    Edition: "pattern",
    SheetState: "edition__pattern",
    Round: "edition__pattern",
    SuppliedYarn: "round__edition__pattern",
    Candidate: "round__edition__pattern",
    Place: "round__edition__pattern",
    Consent: "place__round__edition__pattern",
    Invitation: "place__round__edition__pattern",
    DiaryEntry: "round__edition__pattern",
    Submission: "place__round__edition__pattern",
    **dict.fromkeys((Swatch, Count, Finished, Sitting, Fit, Remark, Photo), "place__round__edition__pattern"),
    Note: "round__edition__pattern",
    Question: "round__edition__pattern",
    Answer: "question__round__edition__pattern",
    Word: "place__round__edition__pattern",
    Erratum: "pattern",
    Decision: "round__edition__pattern",
    Follower: "pattern",
}
# What a submission is made of, what the diary says of it, and on which day after the opening it comes.
SAID: dict[type[Reported], tuple[str, str, int]] = {
    Swatch: ("swatch", "sent a swatch", 6),
    Count: ("counts", "sent 10 counts", 22),
    Sitting: ("sitting", "logged a sitting", 30),
    Finished: ("finished", "sent 12 finished measurements", 66),
    Fit: ("fit", "said how it fits", 67),
    Remark: ("remark", "sent a remark", 40),
    Photo: ("photo", "sent a photo", 68),
}
# Sent one by one; the others all in one form.
ALONE = (Swatch, Sitting, Remark, Photo)


@dataclass(frozen=True, slots=True)
class Stencil:
    """The rows of a pattern and all that hangs on it, by table."""

    rows: Mapping[type[models.Model], list[models.Model]]
    owner: int
    testers: Mapping[int, int]
    """By the key of a place, the number of whoever holds it among the testers of its round."""
    live: bool
    """Whether a round of it is under way, so that its dates stay where they are."""


def stencil_of(design: Design, rng: random.Random) -> Stencil:
    """Make it, read it, and leave nothing of it behind."""
    with transaction.atomic():
        owner = User.objects.create_user(f"{uuid.uuid4()}@example.org", name="Designer")
        for number, course in enumerate(design.courses):
            document = document_for(design, number, rng)
            _dress(round_import(data=json.dumps(document).encode(), owner=owner), course, owner, rng)
        pattern = owner.patterns.get()
        _errata(pattern, owner, design.errata)
        rows = {
            model: list(model._default_manager.filter(**{path: pattern.pk}).order_by("pk"))
            for model, path in TABLES.items()
        }
        transaction.set_rollback(True)
    seats: dict[int, int] = {}
    taken: dict[int, int] = defaultdict(int)
    place: Any
    for place in rows[Place]:
        seats[place.pk] = taken[place.round_id]
        taken[place.round_id] += 1
    return Stencil(
        rows=rows,
        owner=owner.pk,
        testers=seats,
        live=any(course.state != "closed" for course in design.courses),
    )


def _dress(round_: Round, course: Course, owner: User, rng: random.Random) -> None:
    """Give an imported round what a file does not carry: who sent what and when, and what was said."""
    opened = timezone.now() - dt.timedelta(days=course.opened_days_ago)
    Round.objects.filter(pk=round_.pk).update(
        state=course.state,
        terms=str(DEFAULT_TERMS),
        created=opened - dt.timedelta(days=20),
        moved_at=timezone.now() - dt.timedelta(days=1),
        foretold_at=timezone.now() + dt.timedelta(seconds=1),
    )
    places = list(round_.places.order_by("pk"))
    round_.diary.update(at=opened - dt.timedelta(days=20))
    for place in places:
        place.created = opened - dt.timedelta(days=2)
        place.agreed_at = opened - dt.timedelta(days=1)
        # As long as what anybody agrees to; each place has its own copy.
        place.agreed_terms = str(DEFAULT_TERMS)
        if course.state == "closed" and place.state == Place.State.MEASURED:
            place.state = Place.State.DONE
    Place.objects.bulk_update(places, ["created", "agreed_at", "agreed_terms", "state"])
    Consent.objects.bulk_create(
        Consent(place=place, kind=kind, given_at=opened)
        for place in places
        for kind in (Consent.Kind.SEEN, Consent.Kind.ONLINE)[: rng.choice((1, 1, 2))]
    )
    Invitation.objects.bulk_create(
        Invitation(
            place=place,
            secret_hash=uuid.uuid4().hex,
            email="tester@example.org",
            created=opened - dt.timedelta(days=2),
            expires=opened + dt.timedelta(days=12),
            used_at=opened - dt.timedelta(days=1),
        )
        for place in places
    )
    for place in places:
        _submissions(place, opened, rng)
    if places:
        _talk(round_, places, owner, opened)


def _submissions(place: Place, opened: dt.datetime, rng: random.Random) -> None:
    """A submission and an entry of the diary for all that a tester sent."""
    said: list[tuple[Submission, str]] = []

    def sent(kind: str, text: str, day: float) -> Submission:
        at = min(opened + dt.timedelta(days=day + 4 * rng.random()), timezone.now())
        submission = Submission(place=place, kind=kind, sent=at, digest=uuid.uuid4().hex * 2)
        said.append((submission, text))
        return submission

    sent("measures", "gave their body measurements", 1)
    if place.guess_hours is not None:
        sent("guess", "said what they expect it to take", 2)
    rows = list(_sent_rows(place))
    for model, (kind, text, day) in SAID.items():
        own = [row for row in rows if isinstance(row, model)]
        submission = None
        for number, row in enumerate(own):
            if submission is None or model in ALONE:
                submission = sent(kind, text, day + number)
            row.submission, row.sent = submission, submission.sent
            if isinstance(row, Sitting):
                row.day = submission.sent.date()
    if place.used_metres is not None or place.used_grams is not None:
        sent("yarn", "said how much yarn it took", 68)
    Submission.objects.bulk_create(submission for submission, _ in said)
    for model in SAID:
        own = [row for row in rows if isinstance(row, model)]
        model._default_manager.bulk_update(
            own, ["submission", "sent", *(["day"] if model is Sitting else [])]
        )
    DiaryEntry.objects.bulk_create(
        DiaryEntry(
            round_id=place.round_id,
            place=place,
            at=submission.sent,
            text=f"{place.name} {text}.",
            names=[place.name],
        )
        for submission, text in said
    )


def _sent_rows(place: Place) -> Iterator[Reported]:
    for model in SAID:
        yield from model._default_manager.filter(place=place).order_by("pk")


def _talk(round_: Round, places: list[Place], owner: User, opened: dt.datetime) -> None:
    week = dt.timedelta(days=7)
    for number in range(2):
        text = "Please measure after blocking, when the piece has dried flat for a day."
        Note.objects.create(round=round_, by=owner, text=text, at=opened + number * week)
    for number, place in enumerate(places[:3]):
        question = Question.objects.create(
            round=round_,
            place=place,
            text="Are both decreases worked in the same row, or one after the other?",
            where=f"Back, step {number + 1}",
            at=opened + week,
        )
        if number < 2:
            Answer.objects.create(question=question, by=owner, text="In the same row.", at=opened + 2 * week)
    for place in places[:4]:
        Word.objects.create(
            place=place, to=owner, text="My yarn comes on Friday. Is that all right?", at=opened
        )
        Word.objects.create(place=place, by=owner, text="Of course.", at=opened + dt.timedelta(hours=3))


def _errata(pattern: Pattern, owner: User, count: int) -> None:
    """Errata of its first round: as many, from what printed numbers have wrong, the last of them a draft."""
    if not count:
        return
    round_ = Round.objects.filter(edition__pattern=pattern).earliest("pk")
    document = round_.edition.document
    Edition.objects.filter(pattern=pattern).update(released_at=timezone.now() - dt.timedelta(days=30))
    if any(number.key == "sleeve_sts" for number in document.numbers):
        finding = finding_accept(round=round_, finding_ids=["printed-count:sleeve_sts"], by=owner)
        erratum_publish(erratum=finding, by=owner)
    for number in document.numbers[:count]:
        erratum = Erratum.objects.create(
            pattern=pattern,
            edition=round_.edition,
            round=round_,
            place=number.place,
            text=f"{number.label}: work to the measurement given in the schematic.",
            why="Nine testers’ pieces came out 2.5 cm longer than their own gauge explains.",
        )
        if number is not document.numbers[:count][-1]:
            erratum_publish(erratum=erratum, by=owner)
    Follower.objects.bulk_create(
        Follower(
            pattern=pattern,
            address=f"reader{number}@example.org",
            language="en-gb",
            confirmed_at=timezone.now(),
        )
        for number in range(5)
    )
