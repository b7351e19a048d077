"""Where messages may be posted: an address that a person gave, and the networks it must not lead into."""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass
from urllib.parse import urlsplit, urlunsplit

from django.conf import settings
from django.utils.translation import gettext as _

LONGEST_URL = 500
# Ports below belong to services of the system, which a post could be mistaken by.
FIRST_FREE_PORT = 1024

IPAddress = ipaddress.IPv4Address | ipaddress.IPv6Address

# What `is_global` lets through and yet leads inside: IPv4 addresses written as IPv6 ones (RFC 6052, RFC 8215,
# RFC 3056, RFC 4380, RFC 4291), addresses of protocols (RFC 6890, RFC 7526) and segments (RFC 9602) that older Pythons
# take for public, documentation (RFC 9637), and the address at which one cloud's machines ask their host.
NEVER = [
    ipaddress.ip_network(network)
    for network in (
        "::/96",
        "64:ff9b::/96",
        "64:ff9b:1::/48",
        "2001::/32",
        "2002::/16",
        "fec0::/10",
        "3fff::/20",
        "5f00::/16",
        "192.0.0.0/24",
        "192.88.99.0/24",
        "168.63.129.16/32",
    )
]


class BadTarget(ValueError):
    """An address to which nothing is posted; the message is a sentence for who gave it."""


@dataclass(frozen=True, slots=True)
class Target:
    """An address in its parts; the host in ASCII, as names are asked for."""

    scheme: str
    host: str
    port: int
    path: str

    @property
    def is_secure(self) -> bool:
        return self.scheme == "https"

    @property
    def host_header(self) -> str:
        host = f"[{self.host}]" if ":" in self.host else self.host
        return host if self.port == (443 if self.is_secure else 80) else f"{host}:{self.port}"

    @property
    def url(self) -> str:
        return f"{self.scheme}://{self.host_header}{self.path}"


def target_of(url: str) -> Target:
    """The parts of an address that a person gave.

    Raises
    ------
    BadTarget
        It is no address that anything may be posted to. Where its host's name leads is seen when it is posted to.
    """
    url = url.strip()
    if len(url) > LONGEST_URL:
        said = _("This has {n} characters; keep it within {most}.")
        raise BadTarget(said.format(n=len(url), most=LONGEST_URL))
    if any(not sign.isprintable() or sign.isspace() or sign == "\\" for sign in url):
        raise BadTarget(_("There is a blank or a sign in it that no address has; copy it anew."))
    example = "https://shop.example/errata"
    try:
        parts = urlsplit(url)
        host, port = parts.hostname or "", parts.port
        host = host.encode("idna").decode().lower() if not host.isascii() else host
        path = urlunsplit(("", "", parts.path or "/", parts.query, ""))
        path.encode("ascii")
    except ValueError:
        raise BadTarget(_("This is no address; write it as in {example}.").format(example=example)) from None
    plain_allowed = settings.DEBUG or settings.EMBEDDED
    if parts.scheme not in (("https", "http") if plain_allowed else ("https",)) or not host:
        raise BadTarget(
            _("Write an address that begins with https://, as in {example}.").format(example=example)
        )
    if "@" in parts.netloc:
        raise BadTarget(
            _("There is a user or a password in it; leave that out. Messages are signed instead.")
        )
    if parts.fragment:
        raise BadTarget(_("Leave out what follows the sign #: it is for browsers."))
    if port is None:
        port = 443 if parts.scheme == "https" else 80
    elif port != (443 if parts.scheme == "https" else 80) and port < FIRST_FREE_PORT:
        said = _("Port {port} is not posted to; use {usual}, or one from {first} on.")
        usual = 443 if parts.scheme == "https" else 80
        raise BadTarget(said.format(port=port, usual=usual, first=FIRST_FREE_PORT))
    _check_host(host)
    return Target(parts.scheme, host, port, path)


def _check_host(host: str) -> None:
    if is_ours(host):
        return
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        if "." not in host.rstrip("."):
            said = _("{host} is a name inside one network; write one that everybody can reach.")
            raise BadTarget(said.format(host=host)) from None
        return
    if not is_public(address):
        said = _("{host} is an address inside a network of its own; write one that everybody can reach.")
        raise BadTarget(said.format(host=host))


def is_ours(host: str) -> bool:
    """Whether whoever runs the server has named this host as one inside their own network that may be posted to."""
    return host.lower() in {name.lower() for name in settings.WEBHOOK_PRIVATE_HOSTS}


def is_public(address: IPAddress) -> bool:
    """Whether an address is one of the open network: none of this machine, of a network of its own, or of a cloud's.

    By the registries of special-purpose addresses (RFC 6890), of which Python's ``ipaddress`` has the lists, and by
    what they leave open.
    """
    if isinstance(address, ipaddress.IPv6Address):
        if address.scope_id is not None:
            return False
        if address.ipv4_mapped is not None:
            return is_public(address.ipv4_mapped)
    if address.is_multicast or address.is_reserved or any(address in network for network in NEVER):
        return False
    return address.is_global
