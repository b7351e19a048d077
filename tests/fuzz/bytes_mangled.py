"""Bytes and texts spoiled in the ways that find faults in readers."""

from __future__ import annotations

import random

EDGES = (0, 1, 0x7F, 0x80, 0xFE, 0xFF)
NASTY_TEXTS = (
    "",
    "\0",
    "\ud800",
    "\U0010ffff",
    "\u202e",
    "ß" * 300,
    "a" * 10_000,
    "=cmd|' /C calc'!A0",
    "../../etc/passwd",
    "<script>alert(1)</script>",
    "{{7*7}}",
    "%s%n",
    "1e999",
    "nan",
    "-0",
    "٣",
)


def mangled(rng: random.Random, data: bytes, *, most: int = 8) -> bytes:
    """The bytes with a few of them changed, cut, doubled, moved or made up."""
    out = bytearray(data)
    for _ in range(rng.randint(1, most)):
        if not out:
            out += rng.randbytes(rng.randint(1, 40))
        at = rng.randrange(len(out))
        # Most formats keep what matters at their beginning.
        if rng.random() < 0.4:
            at = min(at, rng.randrange(min(len(out), 200)))
        match rng.randrange(9):
            case 0:
                out[at] ^= 1 << rng.randrange(8)
            case 1:
                out[at] = rng.choice(EDGES)
            case 2:
                out[at : at + rng.randint(1, 30)] = b""
            case 3:
                out[at:at] = rng.randbytes(rng.randint(1, 12))
            case 4:
                piece = out[at : at + rng.randint(1, 60)]
                out[at:at] = piece * rng.randint(1, 4)
            case 5:
                del out[at:]
            case 6:
                width = rng.choice((2, 4, 8))
                value = rng.choice(
                    (0, 1, 2 ** (8 * width - 1) - 1, 2 ** (8 * width - 1), 2 ** (8 * width) - 1)
                )
                out[at : at + width] = value.to_bytes(width, rng.choice(("big", "little")))
            case 7:
                there = rng.randrange(len(out))
                out[at:at] = out[there : there + rng.randint(1, 60)]
            case _:
                width = rng.choice((2, 4))
                value = int.from_bytes(out[at : at + width], "big") + rng.randint(-3, 3)
                out[at : at + width] = (value % 2 ** (8 * width)).to_bytes(width, "big")
    return bytes(out)


def text_mangled(rng: random.Random, text: str, *, signs: str, most: int = 5) -> str:
    """The text with signs taken out, put in, doubled, swapped and cut."""
    out = list(text)
    for _ in range(rng.randint(1, most)):
        at = rng.randrange(len(out) + 1)
        match rng.randrange(5):
            case 0:
                del out[at : at + rng.randint(1, 4)]
            case 1:
                out[at:at] = rng.choice(signs)
            case 2:
                out[at:at] = out[at : at + rng.randint(1, 20)] * rng.randint(1, 3)
            case 3:
                out[at:at] = chr(
                    rng.choice((rng.randrange(128), rng.randrange(0x3000), rng.randrange(0xD800)))
                )
            case _:
                out[at : at + 1] = rng.choice(signs)
    return "".join(out)
