"""The outbox on Celery."""

from __future__ import annotations

from testround.celery import app
from testround.outbox.mail import mail_run
from testround.outbox.services import chores_run, work_run

# Of our application by name: a shared task would be sent by whatever application the process happens to have,
# and a web process has none.


@app.task(name="testround.outbox.tasks.run")
def run(work_id: int) -> None:
    work_run(work_id=work_id)


@app.task(name="testround.outbox.tasks.mail")
def mail(mail_id: int) -> None:
    mail_run(mail_id=mail_id)


@app.task(name="testround.outbox.tasks.chores")
def chores() -> None:
    chores_run()
