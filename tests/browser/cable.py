"""A cable between a browser and the server that a test can pull and plug in again.

A browser's own "offline" spares what its service workers and pages that are being left fetch. This spares nothing.
"""

from __future__ import annotations

import contextlib
import select
import socket
import socketserver
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from urllib.parse import urlsplit

from tests.browser.conftest import Window

PIECE = 65536
# What Chromium writes on the console of a page whose cable is pulled.
CUT_OFF = "net::ERR_"


class _Pass(socketserver.BaseRequestHandler):
    server: Cable

    def handle(self) -> None:
        if self.server.is_pulled:
            return
        with contextlib.suppress(OSError), socket.create_connection(self.server.far_end) as far:
            ends = {self.request: far, far: self.request}
            self.server.ends.update(ends)
            is_asked = False
            try:
                while not self.server.is_pulled:
                    for end in select.select(list(ends), [], [], 0.05)[0]:
                        piece = end.recv(PIECE)
                        if not piece:
                            return
                        if end is not far:
                            is_asked = is_asked or (
                                self.server.is_deaf and self.server.loses_the_answer_to in piece
                            )
                        elif is_asked and self.server.is_deaf:
                            # What the server says is lost on the way.
                            self.server.pull()
                            return
                        ends[end].sendall(piece)
            finally:
                self.server.ends.difference_update(ends)


class Cable(socketserver.ThreadingTCPServer):
    """``url`` is what the browser opens instead of the server."""

    daemon_threads = True
    allow_reuse_address = True

    def __init__(self, to: str) -> None:
        there = urlsplit(to)
        self.far_end = (there.hostname, there.port)
        self.ends: set[Any] = set()
        self.is_pulled = False
        self.is_deaf = False
        self.loses_the_answer_to = b""
        super().__init__(("127.0.0.1", 0), _Pass)
        self.url = f"http://127.0.0.1:{self.server_address[1]}"
        threading.Thread(target=self.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True).start()

    def pull(self) -> None:
        self.is_pulled = True
        for end in list(self.ends):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def pull_on_the_answer(self, to: str) -> None:
        """The next request to an address reaches the server, whose answer gets lost; others pass until then."""
        self.loses_the_answer_to = f"POST {to} ".encode()
        self.is_deaf = True

    def plug_in(self) -> None:
        self.is_deaf = self.is_pulled = False

    def close(self) -> None:
        self.pull()
        self.shutdown()
        self.server_close()


class Line:
    """A phone on a cable."""

    def __init__(self, window: Window, cable: Cable) -> None:
        self.window = window
        self.cable = cable

    def pull(self) -> None:
        self.cable.pull()
        self.window.context.set_offline(True)

    def plug_in(self) -> None:
        self.cable.plug_in()
        self.window.context.set_offline(False)
        # The browser's own, where it had not noticed that the line was cut.
        self.window.page.evaluate("window.dispatchEvent(new Event('online'))")

    def forgive(self) -> None:
        """Pulling the cable is no fault of a page."""
        self.window.faults = [fault for fault in self.window.faults if CUT_OFF not in fault]


@contextmanager
def cable_to(url: str) -> Iterator[Cable]:
    cable = Cable(url)
    try:
        yield cable
    finally:
        cable.close()
