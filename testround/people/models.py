from __future__ import annotations

from typing import Any, ClassVar

from django.conf import settings
from django.contrib.auth.models import AbstractBaseUser, BaseUserManager, PermissionsMixin
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _


class UserManager(BaseUserManager["User"]):
    use_in_migrations = True

    def create_user(self, email: str, password: str | None = None, **extra: Any) -> User:
        user = self.model(email=self.normalize_email(email).lower(), **extra)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(self, email: str, password: str | None = None, **extra: Any) -> User:
        return self.create_user(email, password, is_staff=True, is_superuser=True, **extra)

    def get_by_natural_key(self, email: str | None) -> User:
        return self.get(email__iexact=email)


def servers_zone() -> str:
    """Where somebody's clock stands until they choose: where the server's does."""
    return settings.TIME_ZONE


class User(AbstractBaseUser, PermissionsMixin):
    """A person: designer, tester or both. What is shown in which unit is a choice of the person's own."""

    class Units(models.TextChoices):
        CENTIMETRES = "cm", _("Centimetres")
        INCHES = "in", _("Inches")

    class Tools(models.TextChoices):
        METRIC = "metric", _("Metric (4 mm)")
        US = "us", _("US (G-6, 6)")
        UK = "uk", _("Old UK (8)")

    class Terms(models.TextChoices):
        US = "us", _("US (single crochet)")
        UK = "uk", _("UK (double crochet)")

    email = models.EmailField(unique=True)
    name = models.CharField(max_length=120, blank=True)
    units = models.CharField(max_length=2, choices=Units, default=Units.CENTIMETRES)
    tools = models.CharField(max_length=6, choices=Tools, default=Tools.METRIC)
    terms = models.CharField(max_length=2, choices=Terms, default=Terms.US)
    language = models.CharField(
        max_length=12,
        blank=True,
        help_text="Code of the language chosen; empty for what the browser asks for.",
    )
    time_zone = models.CharField(max_length=64, default=servers_zone)
    is_staff = models.BooleanField(default=False)
    is_active = models.BooleanField(default=True)
    joined = models.DateTimeField(default=timezone.now)

    objects: ClassVar[UserManager] = UserManager()

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = []

    class Meta:
        constraints = [models.UniqueConstraint(models.functions.Lower("email"), name="user_email_any_case")]
        # As `email__iexact` asks.
        indexes = [models.Index(models.functions.Upper("email"), name="user_by_email_any_case")]

    def __str__(self) -> str:
        return self.name or self.email

    def get_full_name(self) -> str:
        return str(self)


class RecoveryCode(models.Model):
    """A code that lets its owner in once where a second factor is lost. Kept is its hash."""

    person = models.ForeignKey(User, on_delete=models.CASCADE, related_name="recovery_codes")
    hash = models.CharField(max_length=128)
    made_at = models.DateTimeField(default=timezone.now)
    used_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"{self.person_id}: {'used' if self.used_at else 'not used'}"
