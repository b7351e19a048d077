"""Phones that report until they are told that it has arrived, as the page's own script does; and many of them at once."""

from __future__ import annotations

import http.client
import queue
import threading
import time
import urllib.parse
import uuid
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from types import TracebackType

from tests.served.browser import PATIENCE, Page

# Seconds between a report that did not get through and the next attempt.
AGAIN = 0.1
REPORTS_A_PAGE = 5
# So long nothing may be out of order for good.
GIVEN_UP = 120.0


class Phone:
    """One person's phone: signed in, on one connection that is kept, and patient."""

    def __init__(self, address: str, session: str) -> None:
        self.host = urllib.parse.urlsplit(address).netloc
        self.address = address
        self.cookies = {"sessionid": session}
        self.statuses: Counter[int] = Counter()
        self.broken = 0
        self._form: dict[str, str] = {}
        self._reports = 0
        self._connection: http.client.HTTPConnection | None = None

    def ask(self, method: str, path: str, fields: dict[str, str] | None = None) -> Page:
        """One request. Raises OSError or HTTPException where no whole answer came."""
        headers = {"Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())}
        body = None
        if fields is not None:
            body = urllib.parse.urlencode(fields)
            headers |= {
                "Content-Type": "application/x-www-form-urlencoded",
                "Accept": "application/json",
                "X-CSRFToken": self.cookies.get("csrftoken", ""),
            }
        begun = time.monotonic()
        try:
            if self._connection is None:
                self._connection = http.client.HTTPConnection(self.host, timeout=PATIENCE)
            self._connection.request(method, path, body, headers)
            answer = self._connection.getresponse()
            said = answer.read()
        except (OSError, http.client.HTTPException):
            self.broken += 1
            self.close()
            raise
        for line in answer.headers.get_all("Set-Cookie") or []:
            name, _, value = line.partition(";")[0].partition("=")
            self.cookies[name] = value
        self.statuses[answer.status] += 1
        return Page(
            urllib.parse.urljoin(self.address, path),
            answer.status,
            {name.lower(): value for name, value in answer.headers.items()},
            said,
            time.monotonic() - begun,
        )

    def until_taken(self, method: str, path: str, fields: dict[str, str] | None = None) -> Page:
        """The same request again and again until it is answered with 200."""
        deadline = time.monotonic() + GIVEN_UP
        while True:
            try:
                page = self.ask(method, path, fields)
            except (OSError, http.client.HTTPException) as error:
                trouble = repr(error)
            else:
                if page.status == 200:
                    return page
                assert page.status in (502, 503), f"{method} {path}: {page.status}\n{page.text[:2000]}"
                assert page.headers["retry-after"].isdigit(), page.headers
                trouble = str(page.status)
            assert time.monotonic() < deadline, f"{method} {path} got no answer, at last {trouble}"
            time.sleep(AGAIN)

    def remark(self, place: str, words: str) -> None:
        """Write a remark into the page's form, and send it until it is told to have arrived.

        The page is opened again now and then, as what is sent meanwhile makes it another. In between a report has
        a key that the phone makes for it, as what waits there has.
        """
        if self._reports % REPORTS_A_PAGE == 0:
            self._form = self.until_taken("GET", f"{place}remark/").form("remark").fields
        else:
            self._form["key"] = str(uuid.uuid4())
        self._reports += 1
        taken = self.until_taken(
            "POST", f"{place}remark/", {**self._form, "kind": "unclear", "remark": words}
        )
        assert taken.headers["content-type"] == "application/json", taken.text[:2000]

    def close(self) -> None:
        if self._connection is not None:
            self._connection.close()
            self._connection = None


@dataclass
class Crowd:
    """Several testers who send what is in the queue, each from a thread of their own; ``taken`` is what arrived."""

    phones: Sequence[tuple[Phone, str]]
    words: Sequence[str]
    taken: list[str] = field(default_factory=list)
    under_way: int = 0

    def __post_init__(self) -> None:
        self._queue: queue.SimpleQueue[str] = queue.SimpleQueue()
        for words in self.words:
            self._queue.put(words)
        self._changed = threading.Condition()
        self._faults: list[BaseException] = []
        self._threads = [
            threading.Thread(target=self._send, args=phone, daemon=True) for phone in self.phones
        ]

    def __enter__(self) -> Crowd:
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: object, trace: TracebackType | None) -> None:
        if kind is not None:
            while not self._queue.empty():
                self._queue.get()
        for thread in self._threads:
            thread.join(GIVEN_UP * 2)
        if kind is None and self._faults:
            raise self._faults[0]

    def once_taken(self, n: int) -> None:
        """Return as soon as so many have arrived."""
        with self._changed:
            done = self._changed.wait_for(lambda: len(self.taken) >= n or self._faults, GIVEN_UP)
        assert done, f"only {len(self.taken)} of {n} arrived"
        assert not self._faults, self._faults[0]

    def statuses(self) -> Counter[int]:
        return sum((phone.statuses for phone, _ in self.phones), Counter())

    def broken(self) -> int:
        """How many requests ended without a whole answer."""
        return sum(phone.broken for phone, _ in self.phones)

    def _send(self, phone: Phone, place: str) -> None:
        try:
            while not self._faults:
                try:
                    words = self._queue.get_nowait()
                except queue.Empty:
                    return
                with self._changed:
                    self.under_way += 1
                phone.remark(place, words)
                with self._changed:
                    self.under_way -= 1
                    self.taken.append(words)
                    self._changed.notify_all()
        except BaseException as fault:
            with self._changed:
                self._faults.append(fault)
                self._changed.notify_all()
