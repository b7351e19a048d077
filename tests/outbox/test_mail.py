from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.core import mail

from testround.outbox.mail import mail_send
from testround.outbox.mailbox import mails


@pytest.fixture
def folder(settings: Any) -> Path:
    """The folder that mail goes to where there is no server."""
    settings.EMAIL_BACKEND = "testround.outbox.mailbox.FolderBackend"
    settings.DEFAULT_FROM_EMAIL = "Testround <testround@example.org>"
    return Path(settings.MAIL_FOLDER)


@pytest.mark.django_db(transaction=True)
def test_a_mail_leaves_by_the_mail_server_that_is_set() -> None:
    mail_send(to="willow@example.org", subject="Your place", text="It is yours.\n")

    assert [(sent.to, sent.subject, sent.body) for sent in mail.outbox] == [
        (["willow@example.org"], "Your place", "It is yours.\n\n-- \nTestround\n")
    ]


@pytest.mark.django_db(transaction=True)
def test_a_mail_in_the_folder_reads_as_it_was_written(folder: Path) -> None:
    text = (
        "Größe S, 36¼ in.\n\nhttps://rounds.example.org/rounds/join/"
        + "x" * 60
        + "/\n\nA line that goes on and on and on, longer than any mail reader of old would have taken in one go.\n"
    )

    mail_send(to="willow@example.org", subject="Ein Platz für dich: größer", text=text)

    read = mails()
    assert [(one.sender, one.to, one.subject, one.text) for one in read] == [
        (
            "Testround <testround@example.org>",
            "willow@example.org",
            "Ein Platz für dich: größer",
            f"{text}\n-- \nTestround\n",
        )
    ]
    assert [path.name for path in folder.iterdir()] == [read[0].name]


@pytest.mark.django_db(transaction=True)
def test_the_newest_mail_comes_first_and_only_so_many(folder: Path) -> None:
    for number in range(5):
        mail_send(to="willow@example.org", subject=f"Mail {number}", text="…")

    assert [one.subject for one in mails(most=3)] == ["Mail 4", "Mail 3", "Mail 2"]


def test_a_folder_that_is_not_there_yet_holds_no_mail(folder: Path) -> None:
    assert not folder.exists()
    assert mails() == []


def test_half_written_and_foreign_files_are_not_read(folder: Path) -> None:
    folder.mkdir()
    (folder / ".20270101T000000000000-1-0.eml.part").write_bytes(b"half")
    (folder / "notes.txt").write_text("not a mail")

    assert mails() == []
