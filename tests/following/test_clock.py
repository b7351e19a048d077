"""Messages to other programs, and a clock that jumps."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator

import pytest

from testround.errata.models import Erratum
from testround.following import posting
from testround.following.posting import Ways
from testround.following.webhooks import deliveries_sweep, webhook_add
from testround.patterns.models import Edition
from testround.people.models import User
from tests.conftest import WallClock
from tests.following.receiver import Receiver, receiver

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def program(monkeypatch: pytest.MonkeyPatch) -> Iterator[Receiver]:
    monkeypatch.setattr(
        posting, "ways", Ways(resolve=lambda host, port: ["127.0.0.1"], allowed=lambda address: True)
    )
    with receiver() as state:
        yield state


def test_a_message_refused_while_the_clock_was_ahead_is_posted_once_it_is_put_back(
    edition: Edition,
    designer: User,
    program: Receiver,
    publish: Callable[..., Erratum],
    wall_clock: WallClock,
) -> None:
    url = f"http://hook.example:{program.port}/errata"
    webhook, _ = webhook_add(pattern=edition.pattern, url=url, key=uuid.uuid4(), by=designer)
    program.status = 500
    wall_clock.jumps(days=400)
    publish()
    program.status = 200
    wall_clock.jumps(days=-400)

    assert (deliveries_sweep(), deliveries_sweep()) == (1, 0)
    assert webhook.deliveries.get().state == "delivered"
    assert len(program.posted) == 2
