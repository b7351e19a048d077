from __future__ import annotations

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
    missing = models.PositiveIntegerField(
        default=0, help_text="Files that the database names and the storage had not."
    )
    problem = models.TextField(blank=True, help_text="Empty when there is a copy.")

    class Meta:
        ordering = ["-finished", "-pk"]

    def __str__(self) -> str:
        return f"{self.file} ({'failed' if self.problem else 'complete'})"
