"""The published JSON Schemas (draft 2020-12), made from the models that read and write the documents."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel

from testround.kernel.errata import ErrataDocument
from testround.kernel.findings import AssignmentDocument, FindingsDocument
from testround.kernel.round import Round

DIALECT = "https://json-schema.org/draft/2020-12/schema"
DOCUMENTS: dict[str, type[BaseModel]] = {
    "round": Round,
    "findings": FindingsDocument,
    "assignment": AssignmentDocument,
    "errata": ErrataDocument,
}


def schema_of(document: str) -> dict[str, Any]:
    """The schema of the round, findings, assignment or errata file, version 1. KeyError for any other name."""
    model = DOCUMENTS[document]
    # With what is left out taken for its default, as the readers do.
    schema = model.model_json_schema(mode="validation")
    schema.pop("title", None)
    return {
        "$schema": DIALECT,
        "$id": f"urn:testround:{document}:1",
        "title": f"Testround {document} file, version 1",
        **schema,
    }
