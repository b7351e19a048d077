from __future__ import annotations

import uuid
from typing import Any

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models.functions import Upper
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy, pgettext_lazy

from testround.patterns.models import Edition, new_code
from testround.people.models import User

# What may be done with photos of the work: each asked and answered by itself.
PHOTO_USES = {
    "pattern": gettext_lazy("in the published pattern"),
    "online": gettext_lazy("online, where the designer shows the design"),
    "face": gettext_lazy("with the face in the picture"),
    "name": gettext_lazy("with the tester's name beside it"),
}

# How states are said; what is stored are their keys.
ROUND_STATES = {
    "planned": pgettext_lazy("state of a round", "planned"),
    "gathering": pgettext_lazy("state of a round", "gathering"),
    "swatching": pgettext_lazy("state of a round", "swatching"),
    "making": pgettext_lazy("state of a round", "making"),
    "measuring": pgettext_lazy("state of a round", "measuring"),
    "closed": pgettext_lazy("state of a round", "closed"),
}
PLACE_STATES = {
    "offered": pgettext_lazy("state of a place", "offered"),
    "taken": pgettext_lazy("state of a place", "taken"),
    "swatch sent": pgettext_lazy("state of a place", "swatch sent"),
    "gauge agreed": pgettext_lazy("state of a place", "gauge agreed"),
    "making": pgettext_lazy("state of a place", "making"),
    "measured": pgettext_lazy("state of a place", "measured"),
    "done": pgettext_lazy("state of a place", "done"),
    "given back": pgettext_lazy("state of a place", "given back"),
}
AWAITED = {
    "swatch": pgettext_lazy("what is awaited from a tester", "swatch"),
    "finished measurements": pgettext_lazy("what is awaited from a tester", "finished measurements"),
}


class Round(models.Model):
    """One test of one edition."""

    class State(models.TextChoices):
        PLANNED = "planned"
        GATHERING = "gathering"
        SWATCHING = "swatching"
        MAKING = "making"
        MEASURING = "measuring"
        CLOSED = "closed"

        @property
        def label(self) -> Any:
            return ROUND_STATES[str(self.value)]

    edition = models.ForeignKey(Edition, on_delete=models.PROTECT, related_name="rounds")
    code = models.CharField(max_length=16, unique=True, default=new_code, editable=False)
    title = models.CharField(max_length=200)
    state = models.CharField(max_length=10, choices=State, default=State.PLANNED)
    opens = models.DateField(null=True, blank=True)
    swatches_due = models.DateField(null=True, blank=True)
    closes = models.DateField(null=True, blank=True)
    # {"least": {size: n}, "most": {size: n}}, as in the round file; null where nothing was said.
    places_plan: models.JSONField[Any, Any] = models.JSONField(null=True, blank=True)
    terms = models.TextField(
        blank=True, help_text="What testers agree to, in plain words; shown before they say yes."
    )
    allow_several = models.BooleanField(default=False, help_text="One person may hold several places.")
    invite_next = models.BooleanField(
        default=False, help_text="When a place falls free, the next in reserve is invited at once."
    )
    offer_days = models.PositiveSmallIntegerField(
        default=7,
        validators=[MinValueValidator(1), MaxValueValidator(90)],
        help_text="How long an offer to the next in reserve stands.",
    )
    purge_on = models.DateField(
        null=True,
        blank=True,
        help_text="From this day on measurements, photos, words and offers are deleted.",
    )
    purged_at = models.DateTimeField(null=True, blank=True)
    shows_standing = models.BooleanField(
        default=False, help_text="Testers may see how the round stands, without anyone's measurements."
    )
    # The call for testers. Its address has a code of its own, made when the call is first opened.
    call_code = models.CharField(max_length=16, unique=True, null=True, blank=True, editable=False)
    call_opens = models.DateField(null=True, blank=True)
    call_closes = models.DateField(null=True, blank=True)
    # When the call ended before it was full: its last day passed, or the designer closed it.
    call_closed_at = models.DateTimeField(null=True, blank=True)
    asked = models.TextField(blank=True, help_text="What is asked of testers, and by when.")
    given = models.TextField(blank=True, help_text="What testers get.")
    # Of PHOTO_USES: what the designer would like to do with photos. Each is a question of its own.
    photo_uses: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    for_child = models.BooleanField(
        default=False, help_text="A children's garment: the adult offers and gives the child's measurements."
    )
    offers_wanted = models.PositiveIntegerField(
        null=True, blank=True, help_text="The call is full with so many offers; null for the usual number."
    )
    # When the state last changed; a date moves the round on only if it passed after that.
    moved_at = models.DateTimeField(null=True, blank=True)
    # When the likely days of finishing were last worked out; see `dates.likely_days_keep`.
    foretold_at = models.DateTimeField(null=True, blank=True)
    created = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-created", "-pk"]
        indexes = [models.Index(fields=["state", "closes"])]

    def __str__(self) -> str:
        return f"{self.edition.pattern.title}: {self.title}"

    def get_absolute_url(self) -> str:
        return reverse("rounds:detail", args=[self.code])


class YarnFields(models.Model):
    """A yarn as the round file describes it."""

    label = models.CharField(max_length=200)
    weight = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(7)]
    )
    fibre = models.CharField(max_length=200, null=True, blank=True)
    metres_per_ball = models.FloatField(null=True, blank=True)
    grams_per_ball = models.FloatField(null=True, blank=True)

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return self.label


class SuppliedYarn(YarnFields):
    """A yarn the designer supplies; ``makers`` is how many testers it can clothe."""

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="yarns")
    key = models.CharField(max_length=60)
    makers = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["round", "key"], name="yarn_key_once")]


class Candidate(models.Model):
    """Someone who offered to test and has no place yet."""

    class State(models.TextChoices):
        OFFERED = "offered", "offered: the address is not confirmed yet"
        CONFIRMED = "confirmed"
        WAITING = "waiting", "waiting: the call was full or had closed"
        WITHDRAWN = "withdrawn"
        PLACED = "placed"

    # Those whose offer holds: one for each person and round.
    HOLDING = (State.CONFIRMED, State.WAITING, State.PLACED)

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="candidates")
    key = models.CharField(max_length=60)
    name = models.CharField(max_length=200)
    # One from a round file has offered elsewhere, and counts.
    state = models.CharField(max_length=10, choices=State, default=State.CONFIRMED)
    measures: models.JSONField[Any, Any] = models.JSONField(default=dict)
    # What was typed, by measure, as in "36 1/4 in".
    typed: models.JSONField[Any, Any] = models.JSONField(default=dict, blank=True)
    wishes: models.JSONField[Any, Any] = models.JSONField(default=list)
    yarns: models.JSONField[Any, Any] = models.JSONField(default=list)
    own_yarn = models.BooleanField(default=False)
    tests_before = models.PositiveIntegerField(null=True, blank=True)
    answered = models.DateTimeField(null=True, blank=True)
    # Never in a round file. The second is what tells that two addresses are one person's.
    email = models.EmailField(blank=True)
    email_key = models.CharField(max_length=254, blank=True)
    units = models.CharField(max_length=2, choices=User.Units, default=User.Units.CENTIMETRES)
    terms = models.CharField(max_length=2, choices=User.Terms, default=User.Terms.US)
    adult = models.BooleanField(default=False, help_text="They said that they are an adult.")
    # One for each of PHOTO_USES: no unless they said yes.
    photo_pattern = models.BooleanField(default=False)
    photo_online = models.BooleanField(default=False)
    photo_face = models.BooleanField(default=False)
    photo_name = models.BooleanField(default=False)
    # When they were told that there was no place for them; it is said once.
    thanked_at = models.DateTimeField(null=True, blank=True)
    # Of the form's key and what it held, so that a press repeated by the same page is one offer.
    form_hash = models.CharField(max_length=64, blank=True)
    created = models.DateTimeField(default=timezone.now)
    changed = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["pk"]
        indexes = [
            models.Index(fields=["round", "state"]),
            models.Index(fields=["round", "email_key"]),
            # As `email__iexact` asks.
            models.Index(Upper("email"), name="candidate_by_email_any_case"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["round", "key"], name="candidate_key_once"),
            models.UniqueConstraint(
                fields=["round", "email_key"],
                condition=models.Q(state__in=["confirmed", "waiting", "placed"]) & ~models.Q(email_key=""),
                name="candidate_person_once",
            ),
            models.UniqueConstraint(
                fields=["round", "form_hash"],
                condition=~models.Q(form_hash=""),
                name="candidate_form_once",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class OfferLink(models.Model):
    """A link mailed to a candidate, to confirm the offer or to change it. Only a hash of its secret is kept."""

    class Kind(models.TextChoices):
        CONFIRM = "confirm"
        CHANGE = "change"

    candidate = models.ForeignKey(Candidate, on_delete=models.CASCADE, related_name="links")
    kind = models.CharField(max_length=7, choices=Kind)
    secret_hash = models.CharField(max_length=64, unique=True)
    created = models.DateTimeField(default=timezone.now)
    expires = models.DateTimeField(null=True, blank=True)
    used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created", "-pk"]

    def __str__(self) -> str:
        return f"Link of {self.candidate} to {self.kind}"


class Place(models.Model):
    """One seat in a round: a size and a yarn, held by one tester."""

    class State(models.TextChoices):
        OFFERED = "offered"
        TAKEN = "taken"
        SWATCH_SENT = "swatch sent"
        GAUGE_AGREED = "gauge agreed"
        MAKING = "making"
        MEASURED = "measured"
        DONE = "done"
        GIVEN_BACK = "given back"

        @property
        def label(self) -> Any:
            return PLACE_STATES[str(self.value)]

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="places")
    # The tester's id in the round file, unique in the round.
    key = models.CharField(max_length=60)
    name = models.CharField(max_length=200, help_text="How the tester is called in this round.")
    tester = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="places"
    )
    # The offer that the place answers; a place made by hand answers none.
    candidate = models.ForeignKey(
        Candidate, null=True, blank=True, on_delete=models.SET_NULL, related_name="places"
    )
    size = models.CharField(max_length=20, null=True, blank=True)
    state = models.CharField(max_length=12, choices=State, default=State.OFFERED)
    offered_until = models.DateTimeField(
        null=True, blank=True, help_text="When an offered place that nobody took is given back."
    )
    measures: models.JSONField[Any, Any] = models.JSONField(default=dict)
    worked_out: models.JSONField[Any, Any] = models.JSONField(
        default=dict,
        blank=True,
        help_text="Made to measure: what is kept in place of body measurements that are deleted.",
    )
    yarn_label = models.CharField(max_length=200, null=True, blank=True)
    yarn_weight = models.PositiveSmallIntegerField(null=True, blank=True)
    yarn_fibre = models.CharField(max_length=200, null=True, blank=True)
    metres_per_ball = models.FloatField(null=True, blank=True)
    grams_per_ball = models.FloatField(null=True, blank=True)
    used_metres = models.FloatField(null=True, blank=True)
    used_grams = models.FloatField(null=True, blank=True)
    guess_hours = models.FloatField(null=True, blank=True)
    guess_metres = models.FloatField(null=True, blank=True)
    agreed_at = models.DateTimeField(
        null=True, blank=True, help_text="When the tester said yes to the terms."
    )
    agreed_terms = models.TextField(
        blank=True, help_text="The terms as they stood then, whatever became of the round's since."
    )
    thanked_as = models.CharField(
        max_length=60,
        blank=True,
        help_text="The name that its tester wishes to be thanked by where anybody may read it; empty for none.",
    )
    # What its tester asked for beyond the round's dates. Each counts as long as it is later than the round's.
    swatch_until = models.DateField(null=True, blank=True)
    measures_until = models.DateField(null=True, blank=True)
    # The likely days of finishing, as of `Round.foretold_at`.
    likely_from = models.DateField(null=True, blank=True)
    likely_until = models.DateField(null=True, blank=True)
    # When what is private of it was deleted: on the round's date, or because its tester erased themselves.
    forgotten_at = models.DateTimeField(null=True, blank=True)
    # When its tester left for good with the piece unmeasured. What was sent stays; the size wants somebody else.
    left_at = models.DateTimeField(null=True, blank=True)
    # When the designer left what came from it out of the results, once it was given back.
    left_out_at = models.DateTimeField(null=True, blank=True)
    changed = models.DateTimeField(auto_now=True)
    created = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["round", "key"], name="place_key_once")]
        indexes = [
            models.Index(fields=["round", "state"]),
            models.Index(
                fields=["offered_until"], condition=models.Q(state="offered"), name="place_offers_by_date"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.size})" if self.size else self.name

    def get_absolute_url(self) -> str:
        return reverse("reports:place", args=[self.pk])


class Invitation(models.Model):
    """A link that lets one person take one place. Only a hash of its secret is kept."""

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="invitations")
    secret_hash = models.CharField(max_length=64, unique=True)
    email = models.EmailField(blank=True)
    created = models.DateTimeField(default=timezone.now)
    expires = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)
    # Hash of the key of the form that used it, so that a press repeated by the same page is answered alike.
    used_key_hash = models.CharField(max_length=64, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    # When whoever followed the link said "no, thank you"; the place was given back with it.
    declined_at = models.DateTimeField(null=True, blank=True)
    # When it was said that the link is about to run out; it is said once.
    reminded_at = models.DateTimeField(null=True, blank=True)
    # When the designer was told that it ran out unanswered and nobody has the place; it is said once.
    ended_told_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created", "-pk"]

    def __str__(self) -> str:
        return f"Invitation to {self.place}"


class Proposal(models.Model):
    """Who should make what, as the designer is drafting it; or as she accepted it.

    Holds what she asked for, not the answer: that is worked out from the round whenever it is read.
    """

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="proposals")
    reach = models.FloatField(default=5.0, help_text="cm")
    # [{"candidate": key, "size": size or null, "yarn": key or null}]
    pins: models.JSONField[Any, Any] = models.JSONField(default=list)
    # [{"candidate": key, "size": size or null}]
    exclusions: models.JSONField[Any, Any] = models.JSONField(default=list)
    # {candidate's key: {"size": size or null, "yarn": key or null}, or null for no place}
    moves: models.JSONField[Any, Any] = models.JSONField(default=dict)
    # Counts the savings; who saves says which one they saw.
    revision = models.PositiveIntegerField(default=0)
    created = models.DateTimeField(default=timezone.now)
    accepted_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["round"], condition=models.Q(accepted_at=None), name="one_draft_proposal_a_round"
            )
        ]

    def __str__(self) -> str:
        return f"Who makes what in {self.round}"


class Vacancy(models.Model):
    """A place that fell free, and who in reserve is next for it."""

    class State(models.TextChoices):
        OPEN = "open"
        FILLED = "filled"
        LEFT = "left"

    place = models.OneToOneField(Place, on_delete=models.CASCADE, related_name="vacancy")
    state = models.CharField(max_length=6, choices=State, default=State.OPEN)
    # Nobody where nobody in reserve can have it; ``why`` says so.
    candidate = models.ForeignKey(
        Candidate, null=True, blank=True, on_delete=models.SET_NULL, related_name="vacancies"
    )
    size = models.CharField(max_length=20, null=True, blank=True)
    yarn = models.CharField(max_length=60, null=True, blank=True, help_text="Key of a supplied yarn.")
    why = models.CharField(max_length=500, blank=True)
    filled_by = models.OneToOneField(
        Place, null=True, blank=True, on_delete=models.SET_NULL, related_name="fills"
    )
    created = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["created", "pk"]
        verbose_name_plural = "vacancies"

    def __str__(self) -> str:
        return f"In place of {self.place}"


class DiaryEntry(models.Model):
    """One dated change of a round or a place, with who or what caused it. Written, never changed."""

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="diary")
    place = models.ForeignKey(Place, null=True, blank=True, on_delete=models.SET_NULL, related_name="diary")
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL)
    text = models.CharField(max_length=500)
    # For the day on which names go, in whatever language the text is: who is named in it, and what it says without
    # the reason that somebody gave, empty where it gives none.
    names: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    without_reason = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["-at", "-pk"]
        verbose_name_plural = "diary entries"

    def __str__(self) -> str:
        return self.text

    @property
    def says_who(self) -> bool:
        """Whether its sentence begins with whoever wrote it, so that they need not be named beside it."""
        if self.by is None:
            return False
        own = self.place.name if self.place is not None and self.place.tester_id == self.by_id else ""
        return self.text.startswith((f"{self.by} ", f"{own or self.by} "))


class Consent(models.Model):
    """One thing that a tester allows, of their own free will and apart from the terms. Each can be withdrawn."""

    # Each is said after "The designer may".
    class Kind(models.TextChoices):
        SEEN = "seen", gettext_lazy("see my photos")
        # As in PHOTO_USES: what may be done with them once the pattern is out.
        PATTERN = "pattern", gettext_lazy("show my photos in the published pattern")
        ONLINE = "online", gettext_lazy("show my photos online, where the design is shown")
        FACE = "face", gettext_lazy("show photos with my face in the picture")
        NAME = "name", gettext_lazy("put my name beside my photos")
        STANDING = (
            "standing",
            gettext_lazy("let other testers and onlookers see my name where they see how the round stands"),
        )
        # Chosen on a page of their own, with the name that is to stand there: see `services.credits`.
        THANKS = "thanks", gettext_lazy("thank me in public by the name I typed")
        REPORT = "report", gettext_lazy("call me by my name in the report of the round")

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="consents")
    kind = models.CharField(max_length=10, choices=Kind)
    given_at = models.DateTimeField(default=timezone.now)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["place", "kind"],
                condition=models.Q(withdrawn_at__isnull=True),
                name="consent_stands_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.place} {self.get_kind_display()}"


class MailDay(models.Model):
    """A day, in a tester's own zone, on which they got their one gathered mail of reminders."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="mail_days")
    day = models.DateField()
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["person", "day"], name="one_reminding_mail_a_day")]

    def __str__(self) -> str:
        return f"{self.person}, {self.day}"


class Reminder(models.Model):
    """A tester was reminded of a date, once before it and once after. Another date is reminded of anew."""

    class What(models.TextChoices):
        SWATCH = "swatch"
        MEASURES = "finished measurements"

        @property
        def label(self) -> Any:
            return AWAITED[str(self.value)]

    class When(models.TextChoices):
        BEFORE = "before"
        AFTER = "after"

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="reminders")
    what = models.CharField(max_length=21, choices=What)
    due = models.DateField()
    when = models.CharField(max_length=6, choices=When)
    day = models.ForeignKey(MailDay, on_delete=models.CASCADE, related_name="reminders")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["place", "what", "due", "when"], name="reminded_once_of_a_date")
        ]

    def __str__(self) -> str:
        return f"{self.what} {self.when} {self.due}"


class Nudge(models.Model):
    """A friendly word of the designer's to one tester; not more than one a tester and day."""

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="nudges")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="nudges")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+")
    # The tester's own day.
    day = models.DateField()
    at = models.DateTimeField(default=timezone.now)
    # Of the form that sent it, so that a press repeated by the same page sends it once.
    key = models.UUIDField(default=uuid.uuid4)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["person", "day"], name="one_nudge_a_day")]

    def __str__(self) -> str:
        return f"{self.place}, {self.day}"
