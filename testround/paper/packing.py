"""A PDF written small: objects packed together, as ISO 32000-1:2008 has it in 7.5.7 and 7.5.8.

A structure tree has an element for every cell of every table. Written one by one, as ReportLab writes objects, they
would make a long report three times as large; packed, they hardly weigh. Readers know this since PDF 1.5.
"""

from __future__ import annotations

import struct
import zlib

from reportlab.pdfbase.pdfdoc import PDFDocument, PDFFile, format

_TOGETHER = 200
"""Objects in a pack: a reader that wants one unpacks them all."""


def packed(document: PDFDocument) -> bytes:
    """The whole file: what `PDFDocument.format` writes, with every object packed that may be."""
    root, info = document.Reference(document.Catalog), document.Reference(document.info)
    whole: list[tuple[int, bytes]] = []
    plain: list[tuple[int, bytes]] = []
    number = 1
    # Writing an object may bring in others.
    while number in document.numberToId:
        body = format(document.idToObject[document.numberToId[number]], document, toplevel=1)
        # A stream cannot be part of another; what the document says of itself stays open to simple tools.
        alone = body.rstrip().endswith(b"endstream") or document.numberToId[number] in (root.name, info.name)
        (whole if alone else plain).append((number, body.strip()))
        number += 1
    file = PDFFile(document._pdfVersion)
    # For each object its kind, and where it is: an offset, or a pack and a place in it.
    places: dict[int, tuple[int, int, int]] = {0: (0, 0, 0xFFFF)}

    def put(number: int, body: bytes) -> None:
        places[number] = (1, file.add(b"%d 0 obj\n%b\nendobj\n" % (number, body)), 0)

    for own, body in whole:
        put(own, body)
    for start in range(0, len(plain), _TOGETHER):
        part = plain[start : start + _TOGETHER]
        places |= {own: (2, number, index) for index, (own, _body) in enumerate(part)}
        put(number, _pack(part))
        number += 1
    places[number] = (1, file.offset, 0)
    rows = b"".join(struct.pack(">BIH", *places[own]) for own in range(number + 1))
    names = b"/Type/XRef/W[1 4 2]/Size %d/Root %b/Info %b/ID%b" % (
        number + 1,
        format(root, document),
        format(info, document),
        document.ID(),
    )
    begun = file.add(b"%d 0 obj\n%b\nendobj\n" % (number, _stream(names, rows)))
    file.add(b"startxref\n%d\n%%%%EOF\n" % begun)
    return bytes(file.format(document))


def _pack(objects: list[tuple[int, bytes]]) -> bytes:
    """An object stream: the number and place of each object, then the objects."""
    heads, at = [], 0
    for number, body in objects:
        heads.append(b"%d %d" % (number, at))
        at += len(body) + 1
    head = b" ".join(heads) + b"\n"
    names = b"/Type/ObjStm/N %d/First %d" % (len(objects), len(head))
    return _stream(names, head + b"\n".join(body for _number, body in objects))


def _stream(names: bytes, content: bytes) -> bytes:
    small = zlib.compress(content)
    return b"<<%b/Filter/FlateDecode/Length %d>>\nstream\n%b\nendstream" % (names, len(small), small)
