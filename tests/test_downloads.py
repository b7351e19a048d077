"""Titles that would be more than a name: in the headers of downloads, and of mails."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from testround.kernel.round import Pattern
from testround.outbox.letters import letter, to_data
from testround.outbox.mail import message_of
from testround.outbox.models import Mail
from testround.patterns.services import pattern_create
from testround.people.models import User
from testround.rounds.services import round_open

ODD = [
    'a"; filename="evil.html',
    "a\r\nSet-Cookie: sessionid=1",
    "../../etc/passwd",
    "a\\b/c:d|e",
    "Größe ½ 毛衣 🧶",
    ";;;",
    "con.exe\u202egpj.",
    "%0d%0aX: y",
]
# What a name is made of (RFC 6266 leaves more; these need no quoting anywhere).
PLAIN = re.compile(r'attachment; filename="[a-z0-9_-]+\.(json|csv|xlsx|zip)"')


@pytest.mark.django_db
@pytest.mark.parametrize("title", ODD)
def test_no_title_whatever_gets_into_the_header_that_names_a_file(
    title: str, designer: User, signed_in: Callable[[User], Client], little_top: dict[str, Any]
) -> None:
    made = pattern_create(
        owner=designer, document=Pattern.model_validate_json(json.dumps({**little_top, "title": title}))
    )
    round = round_open(edition=made, by=designer, title=title)
    client = signed_in(designer)
    code = made.pattern.code

    for address in (
        reverse("patterns:edition_file", args=[code, made.pk]),
        reverse("patterns:values_file", args=[code, made.pk, "csv"]),
        reverse("patterns:values_file", args=[code, made.pk, "xlsx"]),
        reverse("round_export", args=[round.code]),
        reverse("round_export", args=[round.code]) + "?photos=1",
    ):
        assert PLAIN.fullmatch(client.get(address).headers["Content-Disposition"])


@pytest.mark.parametrize("title", ODD)
def test_no_title_whatever_gets_a_line_of_its_own_into_a_mails_head(title: str) -> None:
    mail = Mail(
        to="a@example.org", letter=to_data(letter(f"Errata to {title}", "…")), subject=f"Errata to {title}"
    )

    sent = message_of(mail).message()

    assert "Set-Cookie" not in sent
    assert "\n" not in str(sent["Subject"]).replace("\n ", " ")
    assert "X" not in sent


def test_an_odd_title_is_odd(client: Client) -> None:
    """Each of them would do something, written as it is."""
    assert all(not re.fullmatch(r"[a-z0-9_-]+", title) for title in ODD)
