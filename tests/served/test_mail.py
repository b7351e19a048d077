"""Mail as it is really sent: workers that are killed, tasks that come twice, and no Redis to hear of any."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator

import pytest

from tests.served.browser import Browser, eventually
from tests.served.conftest import ROOT, Installation, Process
from tests.served.mail_server import MailServer

pytestmark = [pytest.mark.postgres, pytest.mark.redis]

MANY = 200
SEND = (
    "from testround.outbox.mail import mail_send; from testround.outbox.letters import letter; "
    "mail_send(to='{to}', letter=letter('Your place', 'It is yours.'), once_key='{to}')"
)


class Post:
    """A mail server, and workers that hand their mail to it instead of putting it into the folder."""

    def __init__(self, installation: Installation) -> None:
        self.installation = installation
        self.server = MailServer()
        self.workers: list[Process] = []

    def start_worker(self) -> Process:
        n = len(self.workers)
        # One process each, which can be killed in the middle of its work.
        command = [
            sys.executable,
            "-m",
            "celery",
            "-A",
            "testround.celery",
            "worker",
            "--pool=solo",
            f"--hostname=post{n}@here",
        ]
        env = {
            **self.installation.env,
            "EMAIL_HOST": "127.0.0.1",
            "EMAIL_PORT": str(self.server.port),
            "EMAIL_USE_TLS": "false",
        }
        worker = Process([*command, "--loglevel=INFO"], self.installation.folder / f"post{n}.log", env)
        worker.start()
        self.workers.append(worker)
        eventually(lambda: " ready." in worker.said(), within=60)
        return worker

    def send(self, to: str) -> None:
        self.installation.python(SEND.format(to=to))

    def send_task_again(self, to: str) -> None:
        self.installation.python(
            "from testround.outbox.models import Mail; from testround.outbox import tasks; "
            f"tasks.mail.delay(Mail.objects.get(to='{to}').pk)"
        )

    def state_of(self, to: str) -> str:
        ((state,),) = self.installation.query('SELECT state FROM outbox_mail WHERE "to" = %s', to)
        return str(state)

    def close(self) -> None:
        self.server.speaks_again()
        for worker in self.workers:
            worker.stop()
        self.server.shutdown()
        self.server.server_close()


@pytest.fixture
def post(installation: Installation) -> Iterator[Post]:
    with installation.without_worker():
        post = Post(installation)
        try:
            yield post
        finally:
            post.close()


# -- a process is killed -------------------------------------------------------------------------------------


def test_a_process_killed_between_the_cause_and_its_task_loses_nothing(
    installation: Installation, post: Post
) -> None:
    code = (
        "import django, os; django.setup(); from django.db import transaction; "
        # After the commit, and before the task is sent.
        "at = transaction.atomic(); at.__enter__(); transaction.on_commit(lambda: os.kill(os.getpid(), 9)); "
        + SEND.format(to="ash@example.org")
        + "; at.__exit__(None, None, None)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=installation.env, check=False)
    post.start_worker()
    waiting = post.state_of("ash@example.org")

    installation.a_minute_passes()
    installation.do_chores()

    assert (done.returncode, waiting) == (-9, "waiting")
    eventually(lambda: post.state_of("ash@example.org") == "sent")
    assert post.server.recipients() == ["ash@example.org"]


def test_a_worker_killed_before_it_hands_the_mail_over_loses_nothing(
    installation: Installation, post: Post
) -> None:
    post.server.falls_silent("at the door")
    worker = post.start_worker()
    post.send("elm@example.org")
    assert post.server.is_silent.wait(30)
    worker.kill()
    claimed = post.state_of("elm@example.org")
    post.server.speaks_again()

    post.start_worker()
    installation.a_minute_passes()
    installation.do_chores()

    assert claimed == "claimed"
    eventually(lambda: post.state_of("elm@example.org") == "sent")
    assert post.server.recipients() == ["elm@example.org"]


def test_a_worker_killed_with_the_mail_in_the_servers_hand_doubles_nothing_and_says_so(
    installation: Installation, post: Post
) -> None:
    post.server.falls_silent("with the mail in hand")
    worker = post.start_worker()
    post.send("yew@example.org")
    assert post.server.is_silent.wait(30)
    worker.kill()
    sending = post.state_of("yew@example.org")
    post.server.speaks_again()

    post.start_worker()
    post.send_task_again("yew@example.org")
    installation.a_minute_passes()
    for _ in range(2):
        installation.do_chores()
    eventually(lambda: post.state_of("yew@example.org") == "uncertain")
    # Whatever else the worker had to do is done once this one, sent after it, has arrived.
    post.send("oak@example.org")
    eventually(lambda: post.state_of("oak@example.org") == "sent")

    assert sending == "sending"
    assert post.server.recipients() == ["oak@example.org", "yew@example.org"]


# -- many at once --------------------------------------------------------------------------------------------


def test_two_workers_send_every_reminder_once_though_it_was_asked_for_twice(
    installation: Installation, post: Post
) -> None:
    installation.python(f"from tests.served.many import testers_with_a_date; testers_with_a_date({MANY})")
    remind = "import django; django.setup(); from tests.served.many import remind; remind()"
    # Two clock processes in the same moment, and every task a second time.
    both = [
        subprocess.Popen([sys.executable, "-c", remind], cwd=ROOT, env=installation.env) for _ in range(2)
    ]
    for _ in range(2):
        post.start_worker()
    assert [process.wait(120) for process in both] == [0, 0]
    installation.python(
        "from testround.outbox.models import Mail; from testround.outbox import tasks; "
        "[tasks.mail.delay(mail.pk) for mail in Mail.objects.filter(kind='reminders')]"
    )

    # The installation has other people, who may be reminded as well.
    done = """SELECT count(*) FROM outbox_mail WHERE kind = 'reminders' AND state = 'sent' AND "to" LIKE %s"""
    eventually(lambda: installation.query(done, "many%") == [(MANY,)], within=120)
    post.send("last@example.org")
    eventually(lambda: post.state_of("last@example.org") == "sent")

    ours = [address for address in post.server.recipients() if address.startswith(("last", "many"))]
    assert ours == ["last@example.org", *sorted(f"many{n}@example.org" for n in range(MANY))]
    said = [worker.said().count("testround.outbox.tasks.mail[") for worker in post.workers]
    assert min(said) > 0, "one worker did it all"
    _, mail = post.server.taken[0]
    assert mail.get_content_type() == "multipart/alternative"
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"


# -- Redis is gone -------------------------------------------------------------------------------------------


def test_without_redis_a_place_is_taken_and_its_mail_goes_out_when_redis_is_back(
    installation: Installation, designer_browser: Browser, round_code: str
) -> None:
    page = designer_browser.get(f"/rounds/{round_code}/places/new/")
    page = designer_browser.send(page, holding="names", names="Rowan", size="2X")
    page = designer_browser.send(page, holding="email", email="")
    link = re.search(r"http://\S+?/rounds/join/[^\s\"<]+", page.text)
    assert link, page.text
    tester = installation.browser()
    joined = tester.get(link[0])

    with installation.without_redis():
        taken = tester.send(joined, holding="name", name="Rowan", email="rowan@example.org", agree="on")
        waiting = installation.query("SELECT state FROM outbox_mail WHERE \"to\" = 'rowan@example.org'")

    assert re.search(r"/places/\d+/$", taken.url), taken.text
    assert waiting == [("waiting",)]
    installation.a_minute_passes()
    installation.do_chores()
    (mail,) = eventually(lambda: installation.mails_to("rowan@example.org"), within=60)
    assert mail["Subject"].startswith("Your place in Fenlight")
