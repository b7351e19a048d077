from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from testround.people.models import User
from testround.rounds.models import Place


@pytest.fixture
def as_tester(signed_in: Callable[[User], Client], tester: User) -> Client:
    return signed_in(tester)


@pytest.fixture
def address(place: Place) -> Callable[..., str]:
    """The address of one of the tester's pages."""

    def of(page: str, *args: Any) -> str:
        return reverse(f"reports:{page}", args=[place.pk, *args])

    return of


@pytest.fixture
def good_swatch() -> dict[str, Any]:
    """The stated gauge exactly: 22 stitches and 30 rows in 10 cm."""
    return {
        "key": str(uuid.uuid4()),
        "gauge": "body",
        "state": "blocked",
        "tool": "4 mm",
        "width": "10",
        "stitches": "22",
        "height": "10",
        "rows": "30",
    }
