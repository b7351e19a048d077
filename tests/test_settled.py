from __future__ import annotations

import gc

from testround.settled import settle


def test_what_comes_with_the_program_is_not_looked_through_again() -> None:
    try:
        settle()

        assert gc.get_freeze_count() > 100_000
    finally:
        gc.unfreeze()
