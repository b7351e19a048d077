"""What Prometheus reads at /metrics: what the processes counted, and how the queues stand in the database."""

from __future__ import annotations

import ipaddress
from collections.abc import Iterable, Iterator
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.utils import timezone
from django.utils.crypto import constant_time_compare
from prometheus_client import REGISTRY, CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.registry import Collector

from testround import __version__, measures
from testround.operations import selectors

__all__ = ["exposition", "may_read", "measures"]


def may_read(request: HttpRequest) -> bool:
    """With a token set, who brings it as ``Authorization: Bearer``; without one, this machine of an embedded one.

    A served installation without a token shows its metrics to nobody: behind a proxy of the same machine everybody
    comes from there.
    """
    if settings.METRICS_TOKEN:
        said = request.headers.get("Authorization", "")
        return constant_time_compare(said, f"Bearer {settings.METRICS_TOKEN}")
    return settings.EMBEDDED and _is_loopback(request.META.get("REMOTE_ADDR", ""))


def _is_loopback(address: str) -> bool:
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


def exposition() -> bytes:
    """Everything, in Prometheus' text format."""
    registry = CollectorRegistry()
    if measures.SHARED:
        MultiProcessCollector(registry)
    else:
        registry.register(_Counted())
    registry.register(Standing())
    return generate_latest(registry)


class _Counted(Collector):
    """What this one process counted."""

    def collect(self) -> Iterable[Any]:
        return REGISTRY.collect()


class Standing(Collector):
    """How the installation stands, asked of the database when somebody looks."""

    def collect(self) -> Iterator[Any]:
        now = timezone.now()
        for name, what, queues in (
            ("work", "work that follows submissions", selectors.work_queues()),
            ("mail", "mails", selectors.mail_queues()),
        ):
            count = GaugeMetricFamily(
                f"testround_{name}", f"Rows of {what}, by state.", labels=["kind", "state"]
            )
            age = GaugeMetricFamily(
                f"testround_{name}_oldest_seconds", f"Age of the oldest of {what}.", labels=["kind", "state"]
            )
            for queue in queues:
                count.add_metric([queue.kind, queue.state], queue.count)
                age.add_metric([queue.kind, queue.state], (now - queue.oldest).total_seconds())
            yield from (count, age)
        yield _gauge("photos_waiting", "Photos not re-encoded yet.", selectors.photos_waiting())
        yield _gauge("webhooks_failing", "Webhooks that take nothing.", len(selectors.webhooks_failing()))
        yield _gauge("database_bytes", "Size of the database.", selectors.database_bytes())
        last = selectors.backups().last
        if last is not None:
            yield _gauge(
                "last_backup_timestamp_seconds", "When a backup was made last.", last.finished.timestamp()
            )
        version = GaugeMetricFamily("testround_version", "The version that answers.", labels=["version"])
        version.add_metric([__version__], 1)
        yield version


def _gauge(name: str, what: str, value: float) -> GaugeMetricFamily:
    return GaugeMetricFamily(f"testround_{name}", what, value=value)
