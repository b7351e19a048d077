from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.core.signals import request_finished, request_started
from django.db import close_old_connections

from testround.people.models import User
from tests.api.programs import Program, program_of
from tests.errata.conftest import round_of, tested
from tests.rounds.conftest import called, offered, opened
from tests.test_access import scene

__all__ = ["called", "offered", "opened", "round_of", "scene", "tested"]


@pytest.fixture
def within_the_test() -> Iterator[None]:
    """For clients that call the application themselves: a request ends without its connection, which is the test's.

    Django's own client sees to that by itself.
    """
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.fixture
def program(designer: User) -> Program:
    """A program of the designer's that may do everything."""
    return program_of(designer)
