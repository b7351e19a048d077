"""A mail server of the test's own (RFC 5321, as much of it as is spoken), which may fall silent where it is told to."""

from __future__ import annotations

import socketserver
import threading
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any


class MailServer(socketserver.ThreadingTCPServer):
    """Takes every mail. ``silent`` is "at the door", "with the mail in hand", or empty; so is ``dies``."""

    allow_reuse_address = True
    daemon_threads = True
    request_queue_size = 64

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Conversation)
        self.silent = ""
        self.dies = ""
        self.is_silent = threading.Event()
        self.speak = threading.Event()
        self.taken: list[tuple[str, EmailMessage]] = []
        threading.Thread(target=self.serve_forever, args=(0.05,), daemon=True).start()

    @property
    def port(self) -> int:
        return int(self.server_address[1])

    def falls_silent(self, where: str) -> None:
        self.silent = where
        self.is_silent.clear()
        self.speak.clear()

    def speaks_again(self) -> None:
        self.silent = ""
        self.speak.set()

    def recipients(self) -> list[str]:
        return sorted(to for to, _ in self.taken)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A client that is killed goes without a word; that is what some tests are about."""


class _Conversation(socketserver.StreamRequestHandler):
    server: MailServer

    def handle(self) -> None:
        self._pause("at the door")
        self._say("220 mail.example.org")
        to = ""
        while line := self.rfile.readline():
            word = line.split(b" ")[0].strip().upper()
            if word == b"RCPT":
                to = line.decode().partition("<")[2].partition(">")[0]
            if word == b"DATA":
                self._say("354 go on")
                body = b""
                while (line := self.rfile.readline()) not in (b".\r\n", b""):
                    body += line
                message = message_from_bytes(body, policy=policy.default)
                assert isinstance(message, EmailMessage)
                self.server.taken.append((to, message))
                self._pause("with the mail in hand")
            if word == b"QUIT":
                self._say("221 bye")
                return
            self._say("250 ok")

    def _pause(self, where: str) -> None:
        if self.server.dies == where:
            raise ConnectionAbortedError
        if self.server.silent == where:
            self.server.is_silent.set()
            self.server.speak.wait(60)

    def _say(self, words: str) -> None:
        self.wfile.write(f"{words}\r\n".encode())
