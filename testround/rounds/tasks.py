"""Rounds that dates move on, as periodic work."""

from __future__ import annotations

from celery import shared_task

from testround.rounds.services import rounds_follow_dates


@shared_task(name="testround.rounds.tasks.follow_dates")
def follow_dates() -> None:
    rounds_follow_dates()
