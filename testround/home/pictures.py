"""Photos for the demo, drawn by code: knitted and crocheted fabric, a swatch beside a card, a garment laid flat."""

from __future__ import annotations

import io
import math
import random
from collections.abc import Sequence

from PIL import Image, ImageDraw, ImageFilter

WOODEN = (196, 168, 134)
CARD = (232, 226, 214)
YARNS = [(120, 62, 58), (58, 88, 96), (140, 128, 84), (92, 76, 110), (74, 98, 66), (168, 120, 88)]

Colour = tuple[int, int, int]


def garment_photo(*, seed: int, crochet: bool = False) -> bytes:
    """A JPEG of the whole piece laid flat on a table."""
    rng = random.Random(seed)  # noqa: S311 -- a picture, not a secret
    table = _table(rng, (1600, 1200))
    outline = _skirt() if crochet else _cardigan()
    _lay(table, outline, rng, crochet=crochet, stitch=9)
    return _jpeg(table)


def swatch_photo(*, seed: int, crochet: bool = False) -> bytes:
    """A JPEG of a swatch beside a bank-card-sized card (ISO/IEC 7810 ID-1: 85.60 × 53.98 mm), 10 pixels to the mm."""
    rng = random.Random(seed)  # noqa: S311 -- a picture, not a secret
    table = _table(rng, (2000, 1500))
    _lay(table, [(180, 180), (1280, 200), (1300, 1310), (170, 1290)], rng, crochet=crochet, stitch=38)
    ImageDraw.Draw(table).rounded_rectangle((1400, 480, 1400 + 540, 480 + 856), radius=32, fill=CARD)
    return _jpeg(table)


def _table(rng: random.Random, size: tuple[int, int]) -> Image.Image:
    """A wooden table: long grain lines in slightly different browns."""
    table = Image.new("RGB", size, WOODEN)
    draw = ImageDraw.Draw(table)
    for _ in range(260):
        y, shade = rng.uniform(0, size[1]), rng.uniform(-14, 14)
        points = [(x, y + 6 * math.sin(x / 190 + y)) for x in range(0, size[0] + 40, 40)]
        draw.line(points, fill=_shaded(WOODEN, shade), width=rng.randint(1, 5))
    return table.filter(ImageFilter.GaussianBlur(1.2))


def _lay(
    table: Image.Image,
    outline: Sequence[tuple[float, float]],
    rng: random.Random,
    *,
    crochet: bool,
    stitch: float,
) -> None:
    """Lay a piece of fabric with that outline on the table, with its shadow."""
    size = table.size
    mask = Image.new("L", size, 0)
    ImageDraw.Draw(mask).polygon(outline, fill=255)
    shadow = mask.filter(ImageFilter.GaussianBlur(14)).point(lambda level: level * 0.45)
    table.paste(Image.new("RGB", size, (40, 30, 24)), (8, 12), shadow)
    table.paste(_fabric(size, rng.choice(YARNS), rng, crochet=crochet, stitch=stitch), mask=mask)


def _fabric(
    size: tuple[int, int], yarn: Colour, rng: random.Random, *, crochet: bool, stitch: float
) -> Image.Image:
    fabric = Image.new("RGB", size, _shaded(yarn, -34))
    draw = ImageDraw.Draw(fabric)
    wide, high = stitch, stitch * (1.1 if crochet else 0.74)
    for row in range(int(size[1] / high) + 2):
        for column in range(int(size[0] / wide) + 2):
            x = column * wide + rng.uniform(-0.05, 0.05) * wide
            y = row * high + rng.uniform(-0.05, 0.05) * high
            colour = _shaded(yarn, rng.uniform(-10, 22))
            if crochet:
                # Posts side by side, a loop lying over each.
                draw.line((x, y, x, y + 0.8 * high), fill=colour, width=max(2, int(wide * 0.5)))
                draw.arc(
                    (x - 0.5 * wide, y - 0.2 * high, x + 0.5 * wide, y + 0.35 * high),
                    180,
                    360,
                    colour,
                    max(1, int(wide / 6)),
                )
            else:
                # The V of a stockinette stitch.
                width = max(2, int(wide * 0.34))
                draw.line((x - 0.42 * wide, y, x, y + high), fill=colour, width=width)
                draw.line((x + 0.42 * wide, y, x, y + high), fill=colour, width=width)
    return fabric.filter(ImageFilter.GaussianBlur(stitch / 16))


def _cardigan() -> list[tuple[int, int]]:
    """Body with both sleeves a little lowered, in a picture of 1600 × 1200."""
    half = [(40, 210), (130, 190), (250, 215), (640, 760), (560, 840), (260, 480), (270, 1080), (0, 1080)]
    return [(800 - x, y) for x, y in half] + [(800 + x, y) for x, y in reversed(half)]


def _skirt() -> list[tuple[int, int]]:
    half = [(210, 150), (260, 400), (330, 1060), (160, 1090), (0, 1078)]
    return [(800 - x, y) for x, y in half] + [(800 + x, y) for x, y in reversed(half)]


def _shaded(colour: Colour, by: float) -> Colour:
    red, green, blue = (max(0, min(255, round(channel + by))) for channel in colour)
    return red, green, blue


def _jpeg(picture: Image.Image) -> bytes:
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=92)
    return out.getvalue()
