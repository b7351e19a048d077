"""The outbox on Celery."""

from __future__ import annotations

from celery import shared_task

from testround.outbox.services import work_run, work_sweep


@shared_task(name="testround.outbox.tasks.run", acks_late=True)
def run(work_id: int) -> None:
    work_run(work_id=work_id)


@shared_task(name="testround.outbox.tasks.sweep")
def sweep() -> None:
    work_sweep()
