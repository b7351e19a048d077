"""The web process is killed at random moments while testers report: what they were told had arrived is there, once."""

from __future__ import annotations

import logging
import os
import random
import signal

import psutil
import pytest

from tests.failures.conftest import RoundOfTesters
from tests.served.browser import eventually
from tests.served.conftest import Installation

pytestmark = [pytest.mark.failures, pytest.mark.postgres, pytest.mark.redis]

logger = logging.getLogger(__name__)

REPORTS = 1000
SEED = 20_270_124
# How often one of the processes that answer is killed, and how often all of the web at once.
ONE, ALL = 10, 3


def one_of_the_web(installation: Installation, chance: random.Random) -> None:
    """Kill one process that answers; the one that watches over them starts another."""
    answering = eventually(lambda: psutil.Process(installation.web.pid).children())
    os.kill(chance.choice(answering).pid, signal.SIGKILL)


def all_of_the_web(installation: Installation, _: random.Random) -> None:
    """Kill the whole of it, and start it again, as an operating system's supervisor does."""
    installation.web.kill()
    installation.web.start()


def test_of_a_thousand_reports_every_one_that_was_acknowledged_is_there_once(
    installation: Installation, testers: RoundOfTesters
) -> None:
    chance = random.Random(SEED)
    words = [f"Row {n}: which side faces me?" for n in range(REPORTS)]
    moments = sorted(chance.sample(range(20, REPORTS - 20), ONE + ALL))
    deeds = [one_of_the_web] * ONE + [all_of_the_web] * ALL
    chance.shuffle(deeds)
    during = 0

    with installation.without_worker(), testers.crowd(words) as crowd:
        for moment, deed in zip(moments, deeds, strict=True):
            crowd.once_taken(moment)
            during += crowd.under_way > 0
            deed(installation, chance)

    logger.info("%s kills during requests, %s requests without an answer", during, crowd.broken())
    assert during == ONE + ALL
    assert crowd.broken() >= during
    assert sorted(crowd.taken) == sorted(words)
    assert testers.kept() == sorted(words)
    assert (testers.count("reports_submission"), testers.count("rounds_diaryentry")) == (REPORTS, REPORTS)
    # And the work that follows them is done, though its tasks and its processes were cut down.
    installation.a_minute_passes()
    installation.do_chores()
    eventually(lambda: installation.query("SELECT 1 FROM outbox_work WHERE state <> 'done'") == [], within=60)
