"""One post to another program's address: to public networks only, briefly, and reading little of the answer."""

from __future__ import annotations

import email.utils
import http.client
import ipaddress
import socket
import ssl
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import urllib3
from django.utils import timezone
from urllib3.connection import HTTPConnection, HTTPSConnection

from testround import __version__
from testround.following.models import Attempt
from testround.following.targets import Target, is_ours, is_public

CONNECT_SECONDS = 5.0
# From the first word to the last of one post; the specification recommends 15 to 30.
WHOLE_SECONDS = 15.0
# Of the answer's body: enough to see what is the matter.
KEPT_BYTES = 300

Problem: Any = Attempt.Problem
Resolve = Callable[[str, int], Sequence[str]]


@dataclass(frozen=True, slots=True)
class Answer:
    """How a post was answered: a status, or a problem where there was none."""

    milliseconds: int
    status: int | None = None
    problem: str = ""
    text: str = ""
    retry_after: int | None = None
    """Seconds for which the receiver asks to be left alone."""


def resolved(host: str, port: int) -> list[str]:
    """The addresses that a host's name leads to, each once, in the system's order.

    Raises
    ------
    OSError
        It leads nowhere.
    """
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return list(dict.fromkeys(str(entry[4][0]) for entry in found))


@dataclass(frozen=True, slots=True)
class Ways:
    """How the network is reached; tests put their own in its place."""

    resolve: Resolve = resolved
    allowed: Callable[[ipaddress.IPv4Address | ipaddress.IPv6Address], bool] = is_public
    tls: Callable[[], ssl.SSLContext] = ssl.create_default_context
    whole_seconds: float = WHOLE_SECONDS


ways = Ways()


class _Failed(Exception):
    def __init__(self, problem: str) -> None:
        super().__init__(problem)
        self.problem = problem


def post(target: Target, body: bytes, headers: Mapping[str, str]) -> Answer:
    """Post a body, once. Whatever goes wrong is in the answer; redirects are answers like any other.

    The name is looked up here, every address it leads to is looked at, and the connection goes to the very address
    that was: a name that leads elsewhere a moment later changes nothing.
    """
    began = time.monotonic()

    def took() -> int:
        return round(1000 * (time.monotonic() - began))

    try:
        address = _address_of(target)
        status, text, retry_after = _exchange(target, address, body, headers)
    except _Failed as failed:
        return Answer(took(), problem=failed.problem)
    return Answer(took(), status=status, text=text, retry_after=retry_after)


def _address_of(target: Target) -> str:
    try:
        found = ways.resolve(target.host, target.port)
        addresses = [ipaddress.ip_address(one) for one in found]
    except (OSError, ValueError, UnicodeError):
        raise _Failed(Problem.NO_ADDRESS) from None
    if not addresses:
        raise _Failed(Problem.NO_ADDRESS)
    # One that is not public is one too many: whoever answers for the name could choose which is taken.
    if not is_ours(target.host) and not all(ways.allowed(address) for address in addresses):
        raise _Failed(Problem.NOT_PUBLIC)
    return str(addresses[0])


class _Watched:
    """A connection that can be ended from another thread, in the middle of a handshake too."""

    _twin: socket.socket | None = None

    def _new_conn(self) -> socket.socket:
        made: socket.socket = super()._new_conn()  # type: ignore[misc]
        # TLS takes the socket over; its twin stays ours and leads to the same connection.
        self._twin = made.dup()
        return made

    def end(self) -> None:
        if self._twin is not None:
            with suppress(OSError):
                self._twin.shutdown(socket.SHUT_RDWR)

    def leave(self) -> None:
        if self._twin is not None:
            self._twin.close()


class _Plain(_Watched, HTTPConnection):
    pass


class _Secure(_Watched, HTTPSConnection):
    pass


def _exchange(
    target: Target, address: str, body: bytes, headers: Mapping[str, str]
) -> tuple[int, str, int | None]:
    """The status, the first bytes and the wish to be left alone of an answer. Raises _Failed without one."""
    connection: Any
    if target.is_secure:
        # The certificate is to be the host's, whatever address it has.
        connection = _Secure(
            address, target.port, timeout=CONNECT_SECONDS, ssl_context=ways.tls(), server_hostname=target.host
        )
    else:
        connection = _Plain(address, target.port, timeout=CONNECT_SECONDS)
    late = threading.Event()

    def end() -> None:
        late.set()
        connection.end()

    # Timeouts of a socket begin anew with every byte: who sends one now and then would hold a worker for hours.
    watch = threading.Timer(ways.whole_seconds, end)
    watch.daemon = True
    watch.start()
    try:
        try:
            connection.connect()
            connection.sock.settimeout(ways.whole_seconds)
            connection.request(
                "POST",
                target.path,
                body=body,
                headers={
                    "Host": target.host_header,
                    "User-Agent": f"Testround/{__version__}",
                    "Content-Type": "application/json",
                    "Accept-Encoding": "identity",
                    **headers,
                },
                preload_content=False,
                decode_content=False,
            )
            response = connection.getresponse()
        except Exception as error:
            raise _Failed(Problem.TOO_SLOW if late.is_set() else _problem_of(error)) from None
        text = b""
        # Its status has come, and that is what counts.
        with suppress(OSError, http.client.HTTPException, urllib3.exceptions.HTTPError):
            text = response.read(KEPT_BYTES, decode_content=False)
        return response.status, _readable(text), _seconds(response.headers.get("Retry-After"))
    finally:
        watch.cancel()
        connection.close()
        connection.leave()


def _problem_of(error: Exception) -> str:
    match error:
        case ssl.SSLError():
            return Problem.NOT_TRUSTED
        # One of the timeouts by its class, though nobody was waited for.
        case urllib3.exceptions.NewConnectionError():
            return Problem.NO_CONNECTION
        case urllib3.exceptions.ConnectTimeoutError() | TimeoutError() | urllib3.exceptions.TimeoutError():
            return Problem.TOO_SLOW
        case OSError() | http.client.HTTPException() | urllib3.exceptions.HTTPError():
            return Problem.BROKEN
        case _:
            raise error


def _readable(data: bytes) -> str:
    """What of an answer can be shown and kept: text, with a mark for whatever is none."""
    text = data[:KEPT_BYTES].decode("utf-8", errors="replace")
    return "".join(
        sign if sign.isprintable() or sign in "\n\t" else "\N{REPLACEMENT CHARACTER}" for sign in text
    )


def _seconds(retry_after: str | None) -> int | None:
    """Retry-After as seconds from now (RFC 9110, section 10.2.3): a number, or a date; None for anything else."""
    if not retry_after:
        return None
    if retry_after.isascii() and retry_after.isdigit():
        return int(retry_after[:9])
    try:
        at = email.utils.parsedate_to_datetime(retry_after)
    except ValueError:
        return None
    if at.tzinfo is None:
        return None
    return max(0, round((at - timezone.now()).total_seconds()))
