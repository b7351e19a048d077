"""Two editors save one sheet in the same moment: one wins, the other keeps what was typed and reads what changed."""

from __future__ import annotations

import threading
from typing import Any

import pytest
from django.db import connection
from django.test import Client

from testround.patterns.models import Edition, Membership, SheetState
from testround.people.models import User
from tests.outbox.databases import shared_by_threads
from tests.patterns.test_views import fields_of, page_of

__all__ = ["shared_by_threads"]

ROUNDS = 5


@pytest.fixture
def editors(shared_by_threads: None, edition: Edition, designer: User, stranger: User) -> list[Client]:
    Membership.objects.create(
        pattern=edition.pattern,
        user=stranger,
        role=Membership.Role.EDITOR,
        email=stranger.email,
        secret_hash="a",
        invited_by=designer,
        expires=edition.created,
        joined_at=edition.created,
    )
    clients = [Client(), Client()]
    for client, person in zip(clients, (designer, stranger), strict=True):
        client.force_login(person)
    return clients


def save_at_once(editors: list[Client], edition: Edition, words: list[str]) -> list[Any]:
    """What each editor is answered; they press together, each with other words in the same place."""
    fields = fields_of(edition)
    start = threading.Barrier(len(editors))
    answers: list[Any] = [None] * len(editors)

    def press(i: int) -> None:
        try:
            connection.ensure_connection()
            start.wait(30)
            answers[i] = editors[i].post(page_of(edition), {**fields, "numbers-0-place": words[i]})
        finally:
            connection.close()

    threads = [threading.Thread(target=press, args=[i]) for i in range(len(editors))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return answers


def test_of_two_who_save_at_once_one_wins_and_the_other_loses_nothing(
    editors: list[Client], edition: Edition
) -> None:
    for n in range(ROUNDS):
        edition.refresh_from_db()
        before = edition.revision
        words = [f"Typed by the first, {n}", f"Typed by the second, {n}"]

        answers = save_at_once(editors, edition, words)

        edition.refresh_from_db()
        assert sorted(answer.status_code for answer in answers) == [302, 422]
        winner, loser = sorted((0, 1), key=lambda i: answers[i].status_code)
        assert edition.sheet["numbers"][0]["place"] == words[winner]
        assert edition.revision == before + 1
        assert SheetState.objects.filter(edition=edition).count() == edition.revision
        page = answers[loser].content.decode()
        assert f'value="{words[loser]}"' in page
        assert "saved from another window" in page
        # What was saved meanwhile, by whom, and which place of the sheet it changed.
        assert f"Saved by {('Designer', 'Stranger')[winner]}" in page
        assert words[winner] in page

        again = editors[loser].post(
            page_of(edition),
            {
                **fields_of(edition),
                "numbers-0-place": words[loser],
                "revision": str(answers[loser].context["edition"].revision),
            },
        )
        edition.refresh_from_db()
        assert (again.status_code, edition.sheet["numbers"][0]["place"]) == (302, words[loser])
