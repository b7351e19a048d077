"""What is written down of the program's work: each line with its request, and nothing in it of a person."""

from __future__ import annotations

import io
import json
import logging
import logging.config
import re
import smtplib
import uuid
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from testround.logs import configuration, following, id_of_header, request_id, without_persons
from testround.outbox import mail as outbox_mail
from testround.outbox.mail import mail_run, mail_send
from testround.outbox.models import Mail, Work
from testround.outbox.services import _handlers, work_add, work_run
from testround.outbox.stopping import stop_address
from testround.people.models import User
from testround.rounds.models import Place, Round
from testround.rounds.services import invitation_create

REQUEST = "0123456789abcdef"


class Written:
    """What the log holds."""

    def __init__(self) -> None:
        self.stream = io.StringIO()

    @property
    def text(self) -> str:
        return self.stream.getvalue()

    def lines(self, **holding: Any) -> list[dict[str, Any]]:
        found = [json.loads(line) for line in self.text.splitlines()]
        return [line for line in found if holding.items() <= line.items()]


@pytest.fixture
def written() -> Iterator[Written]:
    """The log of a served installation, while the test runs."""
    written = Written()
    settled = configuration(level="INFO", form="json")
    settled["handlers"]["console"]["stream"] = written.stream
    root = logging.getLogger()
    before = root.handlers[:], root.level
    logging.config.dictConfig({**settled, "loggers": {}})
    yield written
    root.handlers[:], root.level = before


def test_the_line_of_a_request_names_its_route_and_what_it_took(
    written: Written, place: Place, tester: User
) -> None:
    client = Client()
    client.force_login(tester)

    client.get(reverse("reports:place", args=[place.pk]), {"q": "hem"}, headers={"X-Request-ID": REQUEST})

    (line,) = written.lines(logger="testround.request")
    assert line["milliseconds"] > 0
    assert line["queries"] > 0
    del line["milliseconds"], line["queries"], line["time"]
    assert line == {
        "level": "INFO",
        "logger": "testround.request",
        "message": "GET reports:place 200",
        "request_id": REQUEST,
        "method": "GET",
        "route": "reports:place",
        "status": 200,
    }


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("said", "taken"),
    [
        (REQUEST, True),
        ("req_1.a-b", True),
        ("short", False),
        ("x" * 65, False),
        ("with space in it", False),
        ("willow@example.org", False),
        ("line\nbreak-in-it", False),
        (None, False),
    ],
)
def test_a_request_keeps_a_sane_id_and_gets_one_otherwise(said: str | None, taken: bool) -> None:
    got = id_of_header(said)

    assert (got == said) is taken
    assert re.fullmatch(r"[A-Za-z0-9._-]{8,64}", got)


@pytest.mark.django_db
def test_every_answer_says_its_id(client: Client) -> None:
    taken = client.get("/healthz", headers={"X-Request-ID": REQUEST})
    made = [client.get("/no-such-page").headers["X-Request-ID"] for _ in range(2)]

    assert taken.headers["X-Request-ID"] == REQUEST
    assert len(set(made)) == 2
    assert request_id() == ""


def test_the_work_and_the_mail_that_follow_bear_the_id_of_their_request(
    written: Written, db: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(_handlers, "shout", lambda _: logging.getLogger("testround.shout").info("Done"))
    with following(REQUEST):
        work = work_add(kind="shout", subject={})
        letter = mail_send(to="willow@example.org", subject="Hello", text="Hello.")
    monkeypatch.setattr(outbox_mail, "get_connection", lambda: pytest.fail("the server is away"))
    assert letter is not None

    work_run(work_id=work.pk)
    with pytest.raises(pytest.fail.Exception):
        mail_run(mail_id=letter.pk)

    assert written.lines(logger="testround.shout")[0]["request_id"] == REQUEST
    assert (Work.objects.get().request_id, Mail.objects.get().request_id) == (REQUEST, REQUEST)


# -- nothing of a person -----------------------------------------------------------------------------------


class _Refusing:
    """A mail server that takes nobody's mail and names whom it was to."""

    def open(self) -> None: ...
    def close(self) -> None: ...
    def send_messages(self, messages: list[Any]) -> int:
        raise smtplib.SMTPRecipientsRefused({messages[0].to[0]: (550, b"no such user willow@example.org")})


def test_a_day_of_requests_leaves_nothing_of_a_person_in_the_log(
    written: Written,
    a_round: Round,
    place: Place,
    designer: User,
    tester: User,
    monkeypatch: pytest.MonkeyPatch,
    django_capture_on_commit_callbacks: Callable[..., Any],
) -> None:
    monkeypatch.setattr(outbox_mail, "get_connection", _Refusing)
    monkeypatch.setitem(_handlers, "photo", lambda _: 1 / 0)
    network, password = "203.0.113.77", "seven-grey-sheep"
    client = Client(REMOTE_ADDR=network, raise_request_exception=False)
    offered = Place.objects.create(round=a_round, key="t77", name="Willow", size="S")
    _, link = invitation_create(place=offered, by=designer)
    secret = link.rstrip("/").rsplit("/", 1)[-1]
    stop = stop_address(person_id=tester.pk, kind="reminders").removeprefix("http://127.0.0.1:8000")
    with django_capture_on_commit_callbacks(execute=True):
        client.get("/", {"next": "willow@example.org"})
        client.post("/account/login/", {"login": "willow@example.org", "password": "wrong-wool"})
        client.post("/account/password/reset/", {"email": tester.email})
        client.post(
            "/account/signup/",
            {"name": "Willow Weaver", "email": "ww@example.org", "password1": password},
        )
        client.get(f"/rounds/join/{secret}/")
        client.get(f"/rounds/join/{secret}x/")
        client.get(stop)
        client.get(f"{stop[:-1]}x/", {"token": secret})
        client.get("/", headers={"Host": "evil.example"})
        client.force_login(designer)
        client.post(reverse("rounds:invite", args=[a_round.code, offered.pk]), {"email": "ash@example.org"})
        client.post(reverse("reports:sitting", args=[place.pk]), {"hours": "2"})
        monkeypatch.setattr(
            "testround.home.views.today_of",
            lambda _: (_ for _ in ()).throw(ValueError(f"{tester.email} came from {network}")),
        )
        client.get("/", {"q": secret})
        mail_send(to="willow@example.org", subject="A place", text="Come in.")
    with pytest.raises(IntegrityError), transaction.atomic():
        User.objects.create_user(tester.email, password)
    try:
        with transaction.atomic():
            User.objects.create_user(tester.email, password)
    except IntegrityError:
        logging.getLogger("testround.people").exception("The account was not made")

    log = written.text
    assert len(written.lines(logger="testround.request")) >= 11
    assert written.lines(level="ERROR"), "nothing broke"
    assert "Mail" in log
    token = stop.split("/")[-2]
    of_persons = [
        *re.findall(r"[\w.+-]+@[\w-]+\.[\w.]+", log),
        *[said for said in (secret, token, network, "wrong-wool", password, "Willow Weaver") if said in log],
    ]
    assert of_persons == []


@pytest.mark.parametrize(
    ("said", "kept"),
    [
        ("to willow@example.org: no", "to [address]: no"),
        ("GET /rounds/?q=willow HTTP", "GET /rounds/?[…] HTTP"),
        ("from 203.0.113.77 port 1", "from [network] port 1"),
        ("from 2001:db8::7:1 port 1", "from [network] port 1"),
        ("at 12:30:07 it was 3.11.7", "at 12:30:07 it was 3.11.7"),
        (f"/photos/{uuid.UUID(int=7)}/320/ is gone", f"/photos/{uuid.UUID(int=7)}/320/ is gone"),
        ("/rounds/join/kJ3-hd_92jfHHs8fhsUUw2/ is no more", "/rounds/join/[secret]/ is no more"),
        (
            "duplicate key\nDETAIL:  Key (email)=(x) already exists.\nline 3",
            "duplicate key\nDETAIL: […]\nline 3",
        ),
    ],
)
def test_what_a_message_tells_of_a_person_is_taken_out_of_it(said: str, kept: str) -> None:
    assert without_persons(said) == kept


def test_an_embedded_installation_writes_lines_for_a_person() -> None:
    settled = configuration(level="INFO", form="lines")
    formatter = logging.config.DictConfigurator(settled).configure_formatter(settled["formatters"]["chosen"])
    record = logging.makeLogRecord(
        {"name": "testround.x", "levelname": "INFO", "msg": "to willow@example.org"}
    )

    assert re.fullmatch(
        r"\d{4}-\d\d-\d\d [\d:,]+ INFO testround\.x: to \[address\]", formatter.format(record)
    )
