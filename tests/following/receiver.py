"""A program that errata are posted to: a server of this machine, reached under the name of another."""

from __future__ import annotations

import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

# Of hook.example, signed by itself, valid from 2020 to 2119: for these tests and nobody else.
CERTIFICATE = Path(__file__).with_name("hook.example.pem")


@dataclass
class Posted:
    """One message as it came in."""

    path: str
    headers: dict[str, str]
    body: bytes


@dataclass
class Receiver:
    """What came in, and how it is answered: a status, headers and a body, or a function that speaks for itself."""

    port: int = 0
    posted: list[Posted] = field(default_factory=list)
    status: int = 204
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes = b""
    speak: Callable[[Any], None] | None = None


@contextmanager
def receiver(*, tls: bool = False) -> Iterator[Receiver]:
    state = Receiver()

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_POST(self) -> None:
            length = int(self.headers["Content-Length"])
            state.posted.append(
                Posted(
                    self.path,
                    {name.lower(): value for name, value in self.headers.items()},
                    self.rfile.read(length),
                )
            )
            if state.speak is not None:
                state.speak(self)
                return
            self.send_response(state.status)
            for name, value in state.headers.items():
                self.send_header(name, value)
            self.send_header("Content-Length", str(len(state.body)))
            self.end_headers()
            self.wfile.write(state.body)
            self.close_connection = True

        def log_message(self, *_: Any) -> None:
            pass

    class Server(ThreadingHTTPServer):
        daemon_threads = True

        def handle_error(self, *_: Any) -> None:
            """Who posts hangs up early in some tests."""

    server = Server(("127.0.0.1", 0), Handler)
    if tls:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(CERTIFICATE)
        server.socket = context.wrap_socket(server.socket, server_side=True, do_handshake_on_connect=False)
    state.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    try:
        yield state
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
