from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils import timezone


class Backup(models.Model):
    """One run of ``manage.py backup``, so that whoever answers for the server sees when there was a copy last.

    Written when it ends: a copy never holds a row of itself.
    """

    started = models.DateTimeField()
    finished = models.DateTimeField(default=timezone.now)
    file = models.CharField(max_length=500, help_text="Where it was written, as the command was told.")
    # Of the archive, of the rows and of the photos' files in it.
    size = models.PositiveBigIntegerField(default=0, help_text="In bytes.")
    rows = models.PositiveBigIntegerField(default=0)
    files = models.PositiveBigIntegerField(default=0)
    file_bytes = models.PositiveBigIntegerField(default=0)
    missing = models.PositiveIntegerField(
        default=0, help_text="Files that the database names and the storage had not."
    )
    problem = models.TextField(blank=True, help_text="Empty when there is a copy.")

    class Meta:
        ordering = ["-finished", "-pk"]
        permissions = [("operate", "Can see how the server stands, and try again what failed")]

    def __str__(self) -> str:
        return f"{self.file} ({'failed' if self.problem else 'complete'})"


class Act(models.Model):
    """One page that somebody of the support staff opened, or one press. Written by the program alone."""

    at = models.DateTimeField(default=timezone.now, db_index=True)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="support_acts"
    )
    # Who it was stays when the account goes.
    name = models.CharField(max_length=254)
    view = models.CharField(max_length=100, help_text="Name of the page's address.")
    method = models.CharField(max_length=10)
    object_id = models.CharField(max_length=100, blank=True)
    query = models.CharField(max_length=300, blank=True, help_text="What was searched or filtered by.")
    status = models.PositiveSmallIntegerField(default=200)

    class Meta:
        ordering = ["-at", "-pk"]

    def __str__(self) -> str:
        return f"{self.method} {self.view} {self.object_id}".strip()
