"""People who read and send, each with a connection of their own."""

from __future__ import annotations

import http.client
import random
import time
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from urllib.parse import urlencode

from tests.load.server import HOST

# Of a hundred requests: most are of readers of errata, then of testers; designers look in now and then.
SENDS = "tester sends"
SHARES = {"reader": 45, "tester reads": 25, SENDS: 20, "designer": 10}
TOKEN = "a" * 32


@dataclass(frozen=True)
class Asked:
    """One request: by whom, whether it sends something and under which key, and how it went."""

    kind: str
    status: int
    seconds: float
    key: str = ""


@dataclass(frozen=True)
class Cast:
    """Who is there: their cookies, and the addresses that they open."""

    testers: Sequence[tuple[str, int]]
    """A session and the number of a place."""
    designers: Sequence[tuple[str, str]]
    """A session and the code of a round."""
    errata: Sequence[str]
    session_cookie: str
    token_cookie: str


@dataclass
class Person:
    """Opens and sends what somebody in the cast would, by chance, over one connection."""

    cast: Cast
    port: int
    rng: random.Random
    shares: Mapping[str, int] = field(default_factory=lambda: SHARES)
    asked: list[Asked] = field(default_factory=list)
    _connection: http.client.HTTPConnection | None = None

    def act(self) -> None:
        kind = self.rng.choices(list(self.shares), weights=list(self.shares.values()))[0]
        match kind:
            case "reader":
                self._open(kind, self.rng.choice(self.cast.errata))
            case "designer":
                session, code = self.rng.choice(self.cast.designers)
                page = self.rng.choice(["/", f"/rounds/{code}/", f"/rounds/{code}/results/", "/patterns/"])
                self._open(kind, page, session)
            case "tester reads":
                session, place = self.rng.choice(self.cast.testers)
                page = self.rng.choice(["", "worksheet/", "counts/", "sent/", "swatch/"])
                self._open(kind, f"/places/{place}/{page}", session)
            case _:
                session, place = self.rng.choice(self.cast.testers)
                self._send(session, place)

    def _send(self, session: str, place: int) -> None:
        key = str(uuid.uuid4())
        if self.rng.random() < 0.7:
            page, said = "sitting/", {"hours": f"{self.rng.randrange(2, 12) / 4}"}
        else:
            text = f"Which edge is meant here? ({self.rng.randrange(1000)})"
            page, said = "remark/", {"kind": "unclear", "remark": text}
        body = urlencode({**said, "key": key, "csrfmiddlewaretoken": TOKEN})
        self._open(SENDS, f"/places/{place}/{page}", session, body=body, key=key)

    def _open(self, kind: str, address: str, session: str = "", *, body: str = "", key: str = "") -> None:
        headers = {"Host": f"{HOST}:{self.port}", "Accept-Language": "en"}
        if session:
            headers["Cookie"] = f"{self.cast.session_cookie}={session}; {self.cast.token_cookie}={TOKEN}"
        if body:
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        began = time.perf_counter()
        try:
            if self._connection is None:
                self._connection = http.client.HTTPConnection(HOST, self.port, timeout=120)
            self._connection.request("POST" if body else "GET", address, body or None, headers)
            answer = self._connection.getresponse()
            answer.read()
            status = answer.status
        except (OSError, http.client.HTTPException):
            # Whether it was taken, nobody knows: it was not acknowledged.
            self._connection, status = None, 0
        self.asked.append(Asked(kind, status, time.perf_counter() - began, key))


def cast_of(people: int) -> Cast:
    """The first so many testers and designers of rounds under way, signed in, and errata that are out."""
    from django.conf import settings
    from django.test import Client

    from testround.errata.models import Erratum
    from testround.people.models import User
    from testround.rounds.models import Place, Round

    def session(person: User) -> str:
        client = Client()
        client.force_login(person)
        return client.cookies[settings.SESSION_COOKIE_NAME].value

    places = (
        Place.objects.filter(round__state__in=["making", "measuring"], tester__isnull=False)
        .exclude(state="given back")
        .select_related("tester")
        .order_by("pk")[:people]
    )
    rounds = Round.objects.filter(state__in=["making", "measuring"]).select_related("edition__pattern__owner")
    errata = Erratum.objects.published().select_related("pattern").order_by("pk")[: 10 * people]
    addresses = [f"/errata/{one.pattern.code}/" for one in errata]
    return Cast(
        testers=[(session(place.tester), place.pk) for place in places],
        designers=[
            (session(one.edition.pattern.owner), one.code)
            for one in rounds.order_by("pk")[: max(people // 4, 1)]
        ],
        errata=addresses + [f"/errata/{one.pattern.code}/{one.number}/" for one in errata],
        session_cookie=settings.SESSION_COOKIE_NAME,
        token_cookie=settings.CSRF_COOKIE_NAME,
    )
