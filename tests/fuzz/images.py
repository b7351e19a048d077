"""Photos that no camera made."""

from __future__ import annotations

import io
import random
import warnings
from functools import cache

import numpy as np
from PIL import Image

from testround.reports import encoding
from testround.reports.encoding import PhotoRefused
from tests.fuzz.bytes_mangled import mangled
from tests.fuzz.running import Target, Unexpected
from tests.reports.pictures import XMP, bombs, exif_with_place, halves, phone_jpeg, saved, wide_gamut_profile

MOST_BYTES = 2_000_000
MOST_PIXELS = 100_000


@cache
def bases() -> tuple[bytes, ...]:
    """Small files of each kind, and of each way in which a kind keeps its pixels."""
    plain = halves(48, 36)
    noisy = Image.fromarray(np.random.default_rng(5).integers(0, 256, (30, 40, 3), dtype=np.uint8))
    exif = exif_with_place(6)
    files = [
        phone_jpeg(6),
        saved(noisy, "JPEG", progressive=True, exif=exif, icc_profile=wide_gamut_profile()),
        saved(plain.convert("CMYK"), "JPEG"),
        saved(plain, "PNG", exif=exif, icc_profile=wide_gamut_profile()),
        saved(plain.convert("P"), "PNG", transparency=3),
        saved(noisy.convert("RGBA"), "PNG", dpi=(72, 72)),
        saved(Image.fromarray(np.full((20, 20), 40_000, dtype=np.uint16)), "PNG"),
        saved(plain, "PNG", save_all=True, append_images=[noisy.resize(plain.size)]),
        saved(plain, "WEBP", exif=exif, xmp=XMP),
        saved(noisy.convert("RGBA"), "WEBP", lossless=True),
        saved(plain, "WEBP", save_all=True, append_images=[noisy.resize(plain.size)]),
        saved(plain, "HEIF", exif=exif.tobytes(), xmp=XMP),
        saved(noisy, "HEIF", quality=-1, chroma=444, color_primaries=12, transfer_characteristics=13),
        saved(plain, "GIF"),
        saved(plain, "TIFF"),
    ]
    mpo = io.BytesIO()
    plain.save(mpo, "MPO", save_all=True, append_images=[noisy])
    return (*files, mpo.getvalue(), *bombs())


def image(rng: random.Random) -> bytes:
    files = bases()
    data = rng.choice(files)
    if rng.random() < 0.05:
        # The head of one and the tail of another.
        data = data[: rng.randrange(len(data))] + rng.choice(files)[rng.randrange(30) :]
    return mangled(rng, data, most=rng.choice((1, 3, 12))) if rng.random() < 0.95 else data


def taken_or_refused(data: bytes) -> str:
    """Both doors: the check as it arrives, and the work after it."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        checked = _refusal(lambda: encoding.check(data, most_bytes=MOST_BYTES, most_pixels=MOST_PIXELS))
        try:
            encoded = encoding.reencode(data, most_bytes=MOST_BYTES, most_pixels=MOST_PIXELS)
        except PhotoRefused as error:
            error.sentence.encode()
            return "refused" if checked else "refused when made anew"
    if checked:
        raise Unexpected("refused as it arrives, and taken afterwards")
    for picture in (encoded.original, *encoded.renditions):
        if not encoding.is_bare_jpeg(picture.data):
            raise Unexpected("keeps more than pixels")
        if picture.width * picture.height > MOST_PIXELS:
            raise Unexpected("more pixels than allowed")
    return "taken"


def _refusal(check: object) -> bool:
    try:
        check()  # type: ignore[operator]
    except PhotoRefused:
        return True
    return False


TARGET = Target("images", image, taken_or_refused)
