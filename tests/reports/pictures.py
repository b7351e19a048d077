"""Photo files as phones make them, drawn here: no photograph of anyone is kept with the tests."""

from __future__ import annotations

import io
import struct
import zlib
from typing import Any

import numpy as np
import pillow_heif
from PIL import Image, TiffImagePlugin

pillow_heif.register_heif_opener(thumbnails=False)

# Where the photo was taken. No rendition may know it.
LATITUDE = (59.0, 54.0, 21.25)
CAMERA = "Pocket Camera 7"
SECRETS = (b"GPS", CAMERA.encode(), b"Exif", b"exif", b"xmp", b"XMP", b"ICC_PROFILE", b"at home", b"<x:")
XMP = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:Description exif:GPSLatitude="59,54.35N"/></x:xmpmeta>'


def halves(width: int = 400, height: int = 300) -> Image.Image:
    """Left half red, right half blue, so that a turn shows."""
    pixels = np.zeros((height, width, 3), dtype=np.uint8)
    pixels[:, : width // 2] = (200, 30, 30)
    pixels[:, width // 2 :] = (30, 30, 200)
    return Image.fromarray(pixels)


def exif_with_place(orientation: int = 1) -> Image.Exif:
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = CAMERA
    gps = exif.get_ifd(0x8825)
    gps[1] = "N"
    gps[2] = tuple(TiffImagePlugin.IFDRational(part) for part in LATITUDE)
    return exif


def saved(image: Image.Image, kind: str, **options: Any) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def phone_jpeg(orientation: int = 1, **options: Any) -> bytes:
    return saved(
        halves(),
        "JPEG",
        exif=exif_with_place(orientation),
        comment=b"at home",
        xmp=XMP,
        quality=95,
        **options,
    )


def _chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def png_of(width: int, height: int, *chunks: bytes, colours: int = 0, pixels: bytes | None = None) -> bytes:
    """A PNG put together by hand: its size as stated, further chunks, and the packed bytes of its pixels."""
    header = _chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, colours, 0, 0, 0))
    data = b"\0" * (width + 1) * height if pixels is None else pixels
    body = _chunk(b"IDAT", zlib.compress(data, 9)) + _chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + header + b"".join(chunks) + body


def bomb_header(width: int = 60_000, height: int = 60_000) -> bytes:
    """A PNG of a hundred bytes that says it has billions of pixels."""
    return png_of(width, height, colours=2, pixels=b"\0" * 64)


def bombs() -> tuple[bytes, ...]:
    """Small files that unpack to far more than they show, or say that they have very many frames."""
    much = b"\0" * 50_000_000
    packed = zlib.compress(much, 9)
    return (
        png_of(200, 200, pixels=much),
        png_of(20, 20, _chunk(b"zTXt", b"Comment\0\0" + packed)),
        png_of(20, 20, _chunk(b"iTXt", b"Comment\0\1\0\0\0" + packed)),
        png_of(20, 20, _chunk(b"iCCP", b"profile\0\0" + packed)),
        png_of(20, 20, _chunk(b"acTL", struct.pack(">II", 2**31 - 1, 0))),
    )


def wide_gamut_profile() -> bytes:
    """An ICC matrix profile with the primaries of Adobe RGB (1998), D50-adapted, and a gamma of 563/256.

    Colorants as in Adobe RGB (1998) Color Image Encoding, version 2005-05; from memory, unverified.
    """

    def fixed(value: float) -> bytes:
        return struct.pack(">i", round(value * 65536))

    def xyz(x: float, y: float, z: float) -> bytes:
        return b"XYZ \0\0\0\0" + fixed(x) + fixed(y) + fixed(z)

    def text(words: bytes) -> bytes:
        return b"text\0\0\0\0" + words + b"\0"

    def description(words: bytes) -> bytes:
        return b"desc\0\0\0\0" + struct.pack(">I", len(words) + 1) + words + b"\0" + b"\0" * 78

    gamma = b"curv\0\0\0\0" + struct.pack(">IH", 1, 563) + b"\0\0"
    tags = {
        b"desc": description(b"Wide RGB"),
        b"cprt": text(b"No copyright"),
        b"wtpt": xyz(0.9642, 1.0, 0.8249),
        b"rXYZ": xyz(0.60974, 0.31111, 0.01947),
        b"gXYZ": xyz(0.20528, 0.62567, 0.06087),
        b"bXYZ": xyz(0.14919, 0.06322, 0.74457),
        b"rTRC": gamma,
        b"gTRC": gamma,
        b"bTRC": gamma,
    }
    at = 128 + 4 + 12 * len(tags)
    table, bodies = struct.pack(">I", len(tags)), b""
    for name, body in tags.items():
        body += b"\0" * (-len(body) % 4)
        table += name + struct.pack(">II", at + len(bodies), len(body))
        bodies += body
    size = at + len(bodies)
    header = (
        struct.pack(">I4sI4s4s4s", size, b"\0\0\0\0", 0x02100000, b"mntr", b"RGB ", b"XYZ ")
        + struct.pack(">6H", 2026, 1, 1, 0, 0, 0)
        + b"acsp"
        + b"\0" * 28
        + fixed(0.9642)
        + fixed(1.0)
        + fixed(0.8249)
    )
    return header.ljust(128, b"\0") + table + bodies
