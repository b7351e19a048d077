"""The outbox on Celery."""

from __future__ import annotations

from celery import shared_task

from testround.outbox.services import chores_run, work_run


@shared_task(name="testround.outbox.tasks.run", acks_late=True)
def run(work_id: int) -> None:
    work_run(work_id=work_id)


@shared_task(name="testround.outbox.tasks.chores")
def chores() -> None:
    chores_run()
