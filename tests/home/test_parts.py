"""The page of parts, for whoever writes a page."""

from __future__ import annotations

from typing import Any

from django.test import Client


def test_the_page_of_parts_is_there_only_while_developing(client: Client, settings: Any, db: None) -> None:
    assert client.get("/parts/").status_code == 404

    settings.DEBUG = True

    page = client.get("/parts/")
    assert page.status_code == 200
    # What a page calls by a name that does not exist stays empty in silence; here it would show.
    assert "A: Chest, half of it. B: Hem to underarm" in page.text
    assert 'aria-labelledby="measures-title"' in page.text
    for word in ("amend", "look closer", "holds", "open", "swatching", "5 of 9", "122", "Was", "Now"):
        assert word in page.text
