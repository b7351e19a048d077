"""A photo file as it came from a phone, to pixels we made ourselves. No database, no settings.

Nothing of the upload survives but its pixels: they are decoded, turned upright, converted to sRGB and
encoded anew. What a camera writes beside them (where, when, with what, a smaller preview that was never
cropped) is left behind because it is never carried over, not because it was searched for.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import struct
from dataclasses import dataclass
from functools import cache

import numpy as np
import pillow_heif
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageOps

from testround.kernel.words import gettext as _

FloatArray = NDArray[np.float64]

pillow_heif.register_heif_opener(thumbnails=False)

# What phones and browsers make. Everything else that Pillow reads is refused by not being tried at all.
FORMATS = ("JPEG", "PNG", "WEBP", "HEIF")
RENDITION_WIDTHS = (320, 800, 1600)
ORIGINAL_QUALITY = 92
RENDITION_QUALITY = 84
# A JPEG cannot be longer than this on a side.
LONGEST_SIDE = 65_500
WHITE = (255, 255, 255)


class PhotoRefused(ValueError):
    """A file that is not taken in as a photo; ``sentence`` tells the sender why and what to do.

    ``reason`` says it in one word to a program: too_large, no_picture, too_many_pixels, damaged; empty for the rest.
    """

    def __init__(self, sentence: str, reason: str = "") -> None:
        self.sentence = sentence
        self.reason = reason
        super().__init__(sentence)


@dataclass(frozen=True, slots=True)
class Picture:
    """One encoded JPEG."""

    data: bytes
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class Encoded:
    """A photo made anew: the original at full size and its renditions, smallest first."""

    original: Picture
    renditions: tuple[Picture, ...]

    @property
    def sha256(self) -> str:
        return sha256_of(self.original.data)


def too_long(length: int, most: int) -> str:
    """What is said of a file of that many bytes where only so many are taken."""
    return _("The file is {size} MB; up to {most} MB are taken. Send it in a smaller size.").format(
        size=f"{length / 1e6:.0f}", most=f"{most / 1e6:.0f}"
    )


def sha256_of(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def check(data: bytes, *, most_bytes: int, most_pixels: int) -> None:
    """Decode the file once and throw the pixels away.

    Raises
    ------
    PhotoRefused
        Empty, too long, not one of the four formats, more pixels than allowed (told from its header,
        before anything is decoded), cut off, or broken.
    """
    image = _opened(data, most_bytes=most_bytes, most_pixels=most_pixels)
    if image.format in ("JPEG", "MPO"):
        # An eighth of the size in a tenth of the time, and a file that was cut off still shows.
        image.draft("RGB", (max(1, image.width // 8), max(1, image.height // 8)))
    _load(image)


def reencode(data: bytes, *, most_bytes: int, most_pixels: int) -> Encoded:
    """The photo made anew, upright, in sRGB, without metadata; a file this function made stays as it is.

    Raises
    ------
    PhotoRefused
        As :func:`check`.
    """
    image = _opened(data, most_bytes=most_bytes, most_pixels=most_pixels)
    made_here = _is_ours(data, image)
    _load(image)
    pixels = _bare_rgb(image)
    original = Picture(data, *pixels.size) if made_here else _jpeg(pixels, ORIGINAL_QUALITY)
    widths = sorted({min(width, pixels.width) for width in RENDITION_WIDTHS})
    return Encoded(original=original, renditions=tuple(_rendition(pixels, width) for width in widths))


def made_here(data: bytes) -> bool:
    """Whether these are the bytes of an original that :func:`reencode` made."""
    try:
        image = Image.open(io.BytesIO(data), formats=("JPEG",))
    except Exception:
        return False
    return _is_ours(data, image)


def _opened(data: bytes, *, most_bytes: int, most_pixels: int) -> Image.Image:
    if not data:
        raise PhotoRefused(
            _("The file is empty. Choose the photo again; if it is still in the cloud, download it first.")
        )
    if len(data) > most_bytes:
        raise PhotoRefused(too_long(len(data), most_bytes), "too_large")
    try:
        image: Image.Image = Image.open(io.BytesIO(data), formats=FORMATS)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise _too_many_pixels(None, most_pixels) from error
    except Exception as error:
        raise PhotoRefused(
            _("This file is not a photo we can read. Photos can be JPEG, PNG, WebP or HEIC."), "no_picture"
        ) from error
    width, height = image.size
    if width * height > most_pixels:
        raise _too_many_pixels((width, height), most_pixels)
    if max(width, height) > LONGEST_SIDE:
        raise PhotoRefused(
            _(
                "The picture is {width} × {height} pixels; a side can be {most} at most. Send a cropped one."
            ).format(width=width, height=height, most=LONGEST_SIDE),
            "too_many_pixels",
        )
    if min(width, height) < 1:
        raise PhotoRefused(
            _("The picture has no pixels. Photos can be JPEG, PNG, WebP or HEIC."), "no_picture"
        )
    return image


def _too_many_pixels(size: tuple[int, int] | None, most_pixels: int) -> PhotoRefused:
    millions = most_pixels // 1_000_000
    if size is None:
        said = _(
            "The picture has far too many pixels; up to {millions} million are taken. Send it in a smaller size."
        )
        return PhotoRefused(said.format(millions=millions), "too_many_pixels")
    said = _(
        "The picture has {width} × {height} pixels; up to {millions} million are taken. "
        "Send it in a smaller size."
    )
    return PhotoRefused(said.format(width=size[0], height=size[1], millions=millions), "too_many_pixels")


def _load(image: Image.Image) -> None:
    try:
        image.load()
    except MemoryError as error:
        raise PhotoRefused(
            _("The picture is too large to be worked on. Send it in a smaller size."), "too_many_pixels"
        ) from error
    except Exception as error:
        # Pillow, its codecs and libheif raise many kinds here; each means that the pixels cannot be had.
        raise PhotoRefused(
            _("The file is cut off or damaged. Choose the photo again and send it once more."), "damaged"
        ) from error


def _bare_rgb(image: Image.Image) -> Image.Image:
    """Upright pixels in sRGB on white, in an image that has never known anything else.

    Each step lets go of the pixels of the one before: a phone's largest photos fill a worker's memory.
    """
    profile = image.info.get("icc_profile")
    named = image.info.get("nclx_profile")
    _turn_upright(image)
    flat, alpha = _without_alpha(image)
    if isinstance(profile, bytes):
        colours = _in_srgb(flat, profile)
    elif named and flat.mode == "RGB" and _is_wide(named):
        colours = _from_primaries(flat, named)
    else:
        colours = flat.convert("RGB")
    for done in (image, flat):
        if done is not colours:
            done.close()
    bare = Image.new("RGB", colours.size, WHITE)
    bare.paste(colours, mask=alpha)
    return bare


def _turn_upright(image: Image.Image) -> None:
    """Turned as the camera said it was held; where that cannot be read, left as the pixels lie."""
    # What is told beside the pixels is a file of its own, and Pillow fails over a broken one in many ways.
    with contextlib.suppress(Exception):
        ImageOps.exif_transpose(image, in_place=True)


def _without_alpha(image: Image.Image) -> tuple[Image.Image, Image.Image | None]:
    """The picture as grey, RGB or CMYK, and how solid each pixel is where it says so."""
    if image.mode.startswith("I"):
        # Sixteen bits of grey; eight are kept.
        high_bytes = (np.asarray(image).astype(np.uint32) >> 8).clip(0, 255)
        image = Image.fromarray(high_bytes.astype(np.uint8))
    if image.mode == "PA" or (image.mode in ("P", "RGB", "L", "1") and "transparency" in image.info):
        image = image.convert("RGBA")
    elif image.mode == "P":
        image = image.convert("RGB")
    alpha = image.getchannel("A") if image.mode in ("RGBA", "LA") else None
    match image.mode:
        case "RGBA":
            return image.convert("RGB"), alpha
        case "LA" | "1":
            return image.convert("L"), alpha
    return image, alpha


_PROFILE_MODES = {"RGB ": "RGB", "GRAY": "L", "CMYK": "CMYK"}


def _in_srgb(image: Image.Image, profile: bytes) -> Image.Image:
    """Convert by the profile that came with the picture. One that is broken or of another kind is passed over."""
    try:
        described = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        if _PROFILE_MODES.get(described.profile.xcolor_space) != image.mode:
            return image.convert("RGB")
        converted = ImageCms.profileToProfile(
            image,
            described,
            ImageCms.createProfile("sRGB"),
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
            outputMode="RGB",
            flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
        )
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return image.convert("RGB")
    return converted if converted is not None else image.convert("RGB")


# Code points of ITU-T H.273, tables 2 and 3: BT.709 primaries (those of sRGB), unspecified ones, and the transfer
# curves that are sRGB's or taken for it. Curves of high dynamic range are not among them.
_BT709, _UNSPECIFIED, _SRGB_CURVE = 1, 2, 13
_LINES_AT_ONCE = 256


def _is_wide(named: dict[str, float]) -> bool:
    """Whether a HEIC without a profile names other primaries than sRGB's, as some phones do."""
    return named.get("color_primaries") not in (None, _BT709, _UNSPECIFIED) and named.get(
        "transfer_characteristics"
    ) in (_BT709, _UNSPECIFIED, _SRGB_CURVE)


def _from_primaries(image: Image.Image, named: dict[str, float]) -> Image.Image:
    """Converted from the primaries that the file names, by way of light (IEC 61966-2-1 for the curve)."""
    try:
        own = _to_xyz(
            [
                (named[f"color_primary_{which}_x"], named[f"color_primary_{which}_y"])
                for which in ("red", "green", "blue", "white")
            ]
        )
    except (KeyError, ZeroDivisionError, np.linalg.LinAlgError):
        return image.convert("RGB")
    srgb = _to_xyz([(0.64, 0.33), (0.30, 0.60), (0.15, 0.06), (0.3127, 0.3290)])
    matrix = (np.linalg.inv(srgb) @ own).astype(np.float32)
    encoded = np.arange(256, dtype=np.float32) / 255
    light = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    converted = Image.new("RGB", image.size)
    for top in range(0, image.height, _LINES_AT_ONCE):
        box = (0, top, image.width, min(top + _LINES_AT_ONCE, image.height))
        linear = (light[np.asarray(image.crop(box))] @ matrix.T).clip(0, 1)
        curved = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
        converted.paste(Image.fromarray((255 * curved + 0.5).astype(np.uint8)), box)
    return converted


def _to_xyz(chromaticities: list[tuple[float, float]]) -> FloatArray:
    """From linear RGB to XYZ, the white being (1, 1, 1) of RGB; as in SMPTE RP 177:1993."""
    red, green, blue, white = (np.array([x / y, 1.0, (1 - x - y) / y]) for x, y in chromaticities)
    primaries = np.column_stack([red, green, blue])
    return primaries * np.linalg.solve(primaries, white)


def _rendition(pixels: Image.Image, width: int) -> Picture:
    height = max(1, round(pixels.height * width / pixels.width))
    if width == pixels.width:
        return _jpeg(pixels, RENDITION_QUALITY)
    return _jpeg(
        pixels.resize((width, height), Image.Resampling.LANCZOS, reducing_gap=3.0), RENDITION_QUALITY
    )


def _jpeg(pixels: Image.Image, quality: int) -> Picture:
    out = io.BytesIO()
    pixels.save(out, "JPEG", quality=quality, optimize=True)
    return Picture(out.getvalue(), *pixels.size)


@cache
def _our_tables() -> dict[int, list[int]]:
    sample = _jpeg(Image.new("RGB", (8, 8), WHITE), ORIGINAL_QUALITY)
    return dict(Image.open(io.BytesIO(sample.data)).quantization)  # type: ignore[attr-defined]


def _is_ours(data: bytes, image: Image.Image) -> bool:
    """Encoding twice would lose a little each time, and an export imported again would be another photo."""
    return (
        image.format == "JPEG"
        and image.mode == "RGB"
        and getattr(image, "quantization", None) == _our_tables()
        and is_bare_jpeg(data)
    )


_APP0, _COMMENT, _SCAN, _END = 0xE0, 0xFE, 0xDA, 0xD9
_JFIF_LENGTH = 16


def is_bare_jpeg(data: bytes) -> bool:
    """Whether a JPEG holds a picture and nothing beside it: no EXIF, XMP, profile, comment, preview or tail."""
    if data[:2] != b"\xff\xd8":
        return False
    at = 2
    while at + 4 <= len(data):
        if data[at] != 0xFF:
            return False
        marker = data[at + 1]
        (length,) = struct.unpack(">H", data[at + 2 : at + 4])
        if marker == _APP0:
            if length != _JFIF_LENGTH or data[at + 4 : at + 9] != b"JFIF\x00":
                return False
        elif _APP0 < marker <= 0xEF or marker == _COMMENT:
            return False
        at += 2 + length
        if marker == _SCAN:
            at = _end_of_scan(data, at)
            if data[at : at + 2] == bytes((0xFF, _END)):
                return at + 2 == len(data)
    return False


def _end_of_scan(data: bytes, at: int) -> int:
    while True:
        at = data.find(b"\xff", at)
        if at < 0 or at + 1 >= len(data):
            return len(data)
        following = data[at + 1]
        # A stuffed zero belongs to the data, and so do restart marks.
        if following == 0 or 0xD0 <= following <= 0xD7:
            at += 2
            continue
        return at
