from __future__ import annotations

import pytest

from testround.people.models import User
from tests.api.programs import Program, program_of
from tests.errata.conftest import round_of, tested
from tests.rounds.conftest import called, offered, opened
from tests.test_access import scene

__all__ = ["called", "offered", "opened", "round_of", "scene", "tested"]


@pytest.fixture
def program(designer: User) -> Program:
    """A program of the designer's that may do everything."""
    return program_of(designer)
