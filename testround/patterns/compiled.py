"""Sheets as the kernel reads them, each read once: an edition's sheet changes seldom and stands behind every page."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.sheet import Sheet
from testround.recent import Recent

# Sheets that this process has just read. One of nine sizes and thirty numbers takes some 300 kB.
MOST_RECENT = 32
_documents: Recent[SheetDocument] = Recent(MOST_RECENT)
_sheets: Recent[Sheet] = Recent(MOST_RECENT)


def name_of_sheet(sheet: Any) -> str:
    """A name for what a stored sheet says: it changes with every character of it."""
    return hashlib.sha256(json.dumps(sheet).encode()).hexdigest()


def document_of(sheet: Any) -> SheetDocument:
    """A stored sheet as the kernel's object, which nobody can change.

    Raises
    ------
    pydantic.ValidationError
        It is no sheet.
    """
    return named_document(sheet)[1]


def named_document(sheet: Any) -> tuple[str, SheetDocument]:
    """The same, with the name for what it says."""
    name = name_of_sheet(sheet)
    return name, _documents.get_or_keep(name, lambda: SheetDocument.model_validate(sheet))


def compiled(sheet: Any) -> Sheet:
    """The same, ready to be computed.

    Raises
    ------
    SheetError
        It cannot be computed.
    """
    return _sheets.get_or_keep(name_of_sheet(sheet), lambda: Sheet(document_of(sheet)))
