"""The published JSON Schemas, by the name of the document they describe."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from testround.kernel.findings import assignment_schema, findings_schema
from testround.kernel.roundfile import round_schema

SCHEMAS: dict[str, Callable[[], dict[str, Any]]] = {
    "round": round_schema,
    "findings": findings_schema,
    "assignment": assignment_schema,
}
