"""A language with a few words, written for one test."""

from __future__ import annotations

import struct
from collections.abc import Mapping
from pathlib import Path

HEAD = "Content-Type: text/plain; charset=UTF-8\nPlural-Forms: nplurals=2; plural=(n != 1);\n"


def catalogue_write(folder: Path, language: str, words: Mapping[str, str]) -> None:
    """Write a catalogue of these words into a folder of LOCALE_PATHS, as a binary MO file.

    References
    ----------
    GNU gettext manual, "The Format of GNU MO Files": a head of seven numbers, then the lengths and places of the
    messages in their order, those of the translations, and the texts, each ended by a zero.
    """
    pairs = sorted((message.encode(), said.encode()) for message, said in {"": HEAD, **words}.items())
    count = len(pairs)
    tables, texts = [], b""
    for side in (0, 1):
        for pair in pairs:
            tables += [len(pair[side]), 28 + 16 * count + len(texts)]
            texts += pair[side] + b"\0"
    head = [0x950412DE, 0, count, 28, 28 + 8 * count, 0, 28 + 16 * count]
    path = folder / language / "LC_MESSAGES" / "django.mo"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(struct.pack(f"<{7 + 4 * count}I", *head, *tables) + texts)
