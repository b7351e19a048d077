"""Two people publish at the same moment."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.db import connection, connections

from testround.errata.models import Erratum
from testround.errata.services import erratum_publish
from testround.people.models import User
from testround.rounds.models import Round


def draft(round_: Round) -> Erratum:
    return Erratum.objects.create(
        pattern=round_.edition.pattern, edition=round_.edition, round=round_, place="Back", text="Words."
    )


@pytest.fixture
def own_database(transactional_db: None, tmp_path: Path) -> Iterator[None]:
    """A database that several connections share the way a server's do.

    The test database of SQLite lives in memory, where connections lock tables in a way of their own; a copy of
    it in a file locks as a real one does.
    """
    if connection.vendor != "sqlite":
        yield
        return
    name = connection.settings_dict["NAME"]
    connection.ensure_connection()
    file = tmp_path / "race.sqlite3"
    with connection.cursor() as cursor:
        cursor.execute("VACUUM INTO %s", [str(file)])
    kept = connection.connection
    connection.connection = None
    connection.settings_dict["NAME"] = str(file)
    try:
        yield
    finally:
        connection.connection.close()
        connection.connection = kept
        connection.settings_dict["NAME"] = name


def test_two_who_publish_at_once_get_two_numbers_in_a_row(
    own_database: None, designer: User, a_round: Round
) -> None:
    drafts = [draft(a_round) for _ in range(6)]
    start = threading.Barrier(len(drafts))
    failures: list[BaseException] = []

    def publish(erratum: Erratum) -> None:
        try:
            start.wait(timeout=10)
            erratum_publish(erratum=erratum, by=designer)
        except BaseException as error:
            failures.append(error)
        finally:
            connections["default"].close()

    at_once = [threading.Thread(target=publish, args=[erratum]) for erratum in drafts]
    for thread in at_once:
        thread.start()
    for thread in at_once:
        thread.join(timeout=60)

    assert failures == []
    assert sorted(Erratum.objects.values_list("number", flat=True)) == [1, 2, 3, 4, 5, 6]
    assert a_round.diary.count() == 6
