"""What is counted of the program's work, for Prometheus; `operations.metrics` shows it.

Where several processes serve one installation they share a folder, which `testround.serving` names before this is
imported.
"""

from __future__ import annotations

from prometheus_client import Counter, Histogram
from prometheus_client.values import MutexValue, ValueClass

# Whether what other processes counted is told too.
SHARED = ValueClass is not MutexValue
SECONDS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30)

REQUESTS = Counter("testround_requests", "Requests answered.", ["route", "method", "status"])
REQUEST_SECONDS = Histogram(
    "testround_request_seconds",
    "Time to answer, until the answer began.",
    ["route", "method"],
    buckets=SECONDS,
)
REQUEST_QUERIES = Histogram(
    "testround_request_queries",
    "Database queries of a request.",
    ["route", "method"],
    buckets=(0, 1, 2, 4, 8, 16, 32, 64, 128),
)
WORK_SECONDS = Histogram(
    "testround_work_seconds",
    "Time that a piece of work took.",
    ["kind", "outcome"],
    buckets=(*SECONDS, 60, 300),
)
