"""Testers with a place each; made inside an installation."""

from __future__ import annotations

import json
from importlib import import_module

from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY

from testround.patterns.models import Edition, Pattern
from testround.people.models import User
from testround.rounds.models import Place, Round
from tests.conftest import LITTLE_TOP


def testers(n: int) -> None:
    """Say as JSON the round's code, and for each of so many testers a session and the address of their place."""
    number = User.objects.count()
    owner = User.objects.create_user(f"owner{number}@example.org", name="Fen Designer")
    pattern = Pattern.objects.create(owner=owner, title="Little top")
    edition = Edition.objects.create(pattern=pattern, label="1.0", sheet=LITTLE_TOP)
    round_ = Round.objects.create(edition=edition, title="Broken things", state=Round.State.SWATCHING)
    people = []
    for i in range(n):
        person = User.objects.create_user(f"tester{number}x{i}@example.org", name=f"Tester {i}")
        place = Place.objects.create(
            round=round_, key=f"t{i}", name=person.name, tester=person, size="S", state=Place.State.TAKEN
        )
        people.append({"session": _session(person), "place": place.get_absolute_url()})
    print(json.dumps({"round": round_.pk, "testers": people}))  # noqa: T201


def _session(person: User) -> str:
    store = import_module(settings.SESSION_ENGINE).SessionStore()
    store[SESSION_KEY] = str(person.pk)
    store[BACKEND_SESSION_KEY] = settings.AUTHENTICATION_BACKENDS[0]
    store[HASH_SESSION_KEY] = person.get_session_auth_hash()
    store.create()
    return str(store.session_key)
