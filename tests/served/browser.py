"""A person at a browser without JavaScript: cookies, links, and forms sent as the page gives them."""

from __future__ import annotations

import http.cookiejar
import time
import urllib.error
import urllib.parse
import urllib.request
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import TypeVar

T = TypeVar("T")

# No answer takes longer, whatever is out of order behind it.
PATIENCE = 30


@dataclass
class Form:
    """One form of a page with what its fields hold."""

    action: str
    method: str
    fields: dict[str, str] = field(default_factory=dict)


class _Forms(HTMLParser):
    def __init__(self, html: str) -> None:
        super().__init__()
        self.forms: list[Form] = []
        self._select = ""
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        has = dict(attrs)
        if tag == "form":
            self.forms.append(Form(has.get("action") or "", (has.get("method") or "get").lower()))
        if not self.forms:
            return
        fields, name, value = self.forms[-1].fields, has.get("name") or "", has.get("value") or ""
        if tag == "input" and name and has.get("type") not in ("submit", "file"):
            if has.get("type") in ("radio", "checkbox"):
                if "checked" in has:
                    fields[name] = value or "on"
            else:
                fields[name] = value
        elif tag == "textarea" and name:
            fields[name] = ""
        elif tag == "select":
            self._select = name
        elif tag == "option" and self._select and ("selected" in has or self._select not in fields):
            fields[self._select] = value


@dataclass(frozen=True)
class Page:
    url: str
    status: int
    headers: dict[str, str]
    body: bytes
    seconds: float

    @property
    def text(self) -> str:
        return self.body.decode()

    def form(self, holding: str) -> Form:
        """The form of this page that has a field of that name, or goes to an address with that in it."""
        forms = [form for form in _Forms(self.text).forms if holding in form.fields or holding in form.action]
        assert forms, f"{self.url} ({self.status}) has no form {holding}:\n{self.text[:3000]}"
        return forms[0]


class Browser:
    def __init__(self, address: str) -> None:
        assert address.startswith("http://")
        self.address = address
        self.cookies = http.cookiejar.CookieJar()
        self._opener = urllib.request.build_opener(
            urllib.request.ProxyHandler({}), urllib.request.HTTPCookieProcessor(self.cookies)
        )

    def put_cookie(self, name: str, value: str) -> None:
        """Have a cookie that the server gave to somebody else."""
        host = urllib.parse.urlsplit(self.address).hostname or ""
        self.cookies.set_cookie(
            http.cookiejar.Cookie(
                0, name, value, None, False, host, False, False, "/", True, False, None, False, None, None, {}
            )
        )

    def get(self, path: str) -> Page:
        return self._open(self._request(path))

    def send(self, page: Page, *, holding: str, photo: bytes | None = None, **typed: str) -> Page:
        """Fill in the form that `Page.form` finds, and send it; ends where the redirects end."""
        form = page.form(holding)
        return self.post(urllib.parse.urljoin(page.url, form.action), {**form.fields, **typed}, photo)

    def post(self, path: str, fields: dict[str, str], photo: bytes | None = None) -> Page:
        if photo is None:
            data, kind = urllib.parse.urlencode(fields).encode(), "application/x-www-form-urlencoded"
        else:
            data, kind = _multipart(fields, photo)
        return self._open(self._request(path, data, {"Content-Type": kind, "Origin": self.address}))

    def _request(
        self, path: str, data: bytes | None = None, headers: dict[str, str] | None = None
    ) -> urllib.request.Request:
        url = urllib.parse.urljoin(self.address, path)
        return urllib.request.Request(url, data, headers or {})  # noqa: S310 -- ours, by http

    def _open(self, request: urllib.request.Request) -> Page:
        begun = time.monotonic()
        try:
            answer = self._opener.open(request, timeout=PATIENCE)
        except urllib.error.HTTPError as error:
            answer = error
        with answer:
            return Page(
                answer.geturl(),
                int(answer.status or 0),
                {name.lower(): value for name, value in answer.headers.items()},
                answer.read(),
                time.monotonic() - begun,
            )


def _multipart(fields: dict[str, str], photo: bytes) -> tuple[bytes, str]:
    boundary = uuid.uuid4().hex
    parts = [
        f'--{boundary}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, value in fields.items()
    ]
    head = (
        f'--{boundary}\r\nContent-Disposition: form-data; name="photo"; filename="IMG_0001.jpg"\r\n'
        "Content-Type: image/jpeg\r\n\r\n"
    )
    parts += [head.encode(), photo, f"\r\n--{boundary}--\r\n".encode()]
    return b"".join(parts), f"multipart/form-data; boundary={boundary}"


def eventually(ask: Callable[[], T], *, within: float = 30.0) -> T:
    """What `ask` answers as soon as that is something; fails when it stays nothing."""
    deadline = time.monotonic() + within
    while not (answer := ask()):
        assert time.monotonic() < deadline, f"nothing within {within:g} seconds"
        time.sleep(0.1)
    return answer
