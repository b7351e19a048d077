"""Which browser on what kind of device, in plain words, read off what a browser says of itself.

Of that long line no more is kept than is shown here.
"""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass

from django.utils.translation import gettext as _

# What stands in the line, and whose it is; the first that is found. Many claim to be several others too, so that
# the more particular come first.
BROWSERS = (
    ("Firefox/", "Firefox"),
    ("FxiOS/", "Firefox"),
    ("Edg", "Edge"),
    ("OPR/", "Opera"),
    ("SamsungBrowser/", "Samsung Internet"),
    ("CriOS/", "Chrome"),
    ("Chromium/", "Chromium"),
    ("Chrome/", "Chrome"),
    ("Safari/", "Safari"),
)
SYSTEMS = (
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Android", "Android"),
    ("Windows", "Windows"),
    ("CrOS", "ChromeOS"),
    ("Macintosh", "Mac"),
    ("Linux", "Linux"),
)
# So much of an address says which network somebody is in, and not which of its homes.
KEPT_BITS = {4: 24, 6: 48}


@dataclass(frozen=True, slots=True)
class Device:
    """A browser and a system by the names their makers give them; empty where the line names none."""

    browser: str
    system: str

    def __str__(self) -> str:
        if self.browser and self.system:
            return _("{browser} on {system}").format(browser=self.browser, system=self.system)
        return self.browser or self.system or _("A browser that does not say which it is")


def device_of(user_agent: str) -> Device:
    """What a ``User-Agent`` header says."""
    return Device(_first(BROWSERS, user_agent), _first(SYSTEMS, user_agent))


def _first(known: tuple[tuple[str, str], ...], user_agent: str) -> str:
    return next((name for mark, name in known if mark in user_agent), "")


def network_of(address: str) -> str:
    """The beginning of an address, the rest zero: of IPv4 its first 24 bits, of IPv6 its first 48."""
    ip = ipaddress.ip_address(address)
    if isinstance(ip, ipaddress.IPv6Address) and ip.ipv4_mapped:
        ip = ip.ipv4_mapped
    return str(ipaddress.ip_network((ip, KEPT_BITS[ip.version]), strict=False).network_address)


def network_words(network: str) -> str:
    """The same as it is shown, its unknown end left out: 192.0.2.x, 2001:db8:1:x."""
    ip = ipaddress.ip_address(network)
    if ip.version == 4:
        return network.rsplit(".", 1)[0] + ".x"
    return ":".join(f"{int(part, 16):x}" for part in ip.exploded.split(":")[:3]) + ":x"
