"""What is taken in as a photo, and what is left of it."""

from __future__ import annotations

import contextlib
import io
import resource
import zipfile

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from testround.reports import encoding
from testround.reports.encoding import Encoded, PhotoRefused
from tests.reports.pictures import (
    SECRETS,
    XMP,
    bomb_header,
    bombs,
    exif_with_place,
    halves,
    phone_jpeg,
    saved,
    wide_gamut_profile,
)

LIMITS = {"most_bytes": 4 * 1024 * 1024, "most_pixels": 2_000_000}


def reencode(data: bytes) -> Encoded:
    return encoding.reencode(data, **LIMITS)


def refusal(data: bytes) -> str:
    """The sentence both doors refuse with: the check at the request and the work after it."""
    with pytest.raises(PhotoRefused) as at_request:
        encoding.check(data, **LIMITS)
    with pytest.raises(PhotoRefused) as afterwards:
        encoding.reencode(data, **LIMITS)
    assert at_request.value.sentence == afterwards.value.sentence
    return at_request.value.sentence


def pixel(data: bytes, x: float, y: float) -> tuple[int, ...]:
    image = Image.open(io.BytesIO(data))
    found = image.getpixel((int(x * image.width), int(y * image.height)))
    assert isinstance(found, tuple)
    return found


def everything(encoded: Encoded) -> list[bytes]:
    return [encoded.original.data, *(picture.data for picture in encoded.renditions)]


PHONE_FILES = {
    "JPEG": phone_jpeg(),
    "PNG": saved(halves(), "PNG", exif=exif_with_place()),
    "WebP": saved(halves(), "WEBP", exif=exif_with_place(), xmp=XMP),
    "HEIC": saved(halves(), "HEIF", exif=exif_with_place().tobytes(), xmp=XMP),
}


@pytest.mark.parametrize("kind", PHONE_FILES)
def test_no_picture_we_keep_carries_where_it_was_taken_or_anything_else_beside_its_pixels(kind: str) -> None:
    data = PHONE_FILES[kind]
    assert b"Pocket Camera 7" in data, "the file must know what the test says is dropped"

    encoded = reencode(data)

    for picture in everything(encoded):
        assert encoding.is_bare_jpeg(picture)
        assert not [secret for secret in SECRETS if secret in picture]
        opened = Image.open(io.BytesIO(picture))
        assert dict(opened.getexif()) == {}
        assert opened.getexif().get_ifd(0x8825) == {}
        assert set(opened.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


@pytest.mark.parametrize("kind", PHONE_FILES)
def test_four_kinds_of_file_come_out_as_the_same_picture(kind: str) -> None:
    encoded = reencode(PHONE_FILES[kind])

    assert (encoded.original.width, encoded.original.height) == (400, 300)
    assert pixel(encoded.original.data, 0.25, 0.5) == pytest.approx((200, 30, 30), abs=8)
    assert pixel(encoded.original.data, 0.75, 0.5) == pytest.approx((30, 30, 200), abs=8)


def test_a_photo_held_sideways_comes_out_upright() -> None:
    # Orientation 6: the top of the scene is on the right of the stored rows; turned upright, left becomes top.
    encoded = reencode(phone_jpeg(orientation=6))

    assert (encoded.original.width, encoded.original.height) == (300, 400)
    assert pixel(encoded.original.data, 0.5, 0.25) == pytest.approx((200, 30, 30), abs=8)
    assert pixel(encoded.original.data, 0.5, 0.75) == pytest.approx((30, 30, 200), abs=8)


def test_a_heic_held_sideways_comes_out_upright_too() -> None:
    data = saved(halves(), "HEIF", exif=exif_with_place(6).tobytes())

    encoded = reencode(data)

    assert (encoded.original.width, encoded.original.height) == (300, 400)
    assert pixel(encoded.original.data, 0.5, 0.25) == pytest.approx((200, 30, 30), abs=8)


@pytest.mark.parametrize("size", [(2000, 500), (1600, 400), (900, 600), (500, 400), (320, 10), (90, 200)])
def test_renditions_are_320_800_and_1600_wide_and_never_wider_than_the_photo(size: tuple[int, int]) -> None:
    encoded = reencode(saved(Image.new("RGB", size, (120, 130, 140)), "JPEG"))

    widths = [picture.width for picture in encoded.renditions]
    assert widths == sorted({min(width, size[0]) for width in (320, 800, 1600)})
    for picture in encoded.renditions:
        assert picture.height == max(1, round(size[1] * picture.width / size[0]))
        assert Image.open(io.BytesIO(picture.data)).size == (picture.width, picture.height)


def test_wide_gamut_colours_are_converted_so_that_they_look_the_same() -> None:
    # Expected values are worked from the published matrices of the two colour spaces, not from a profile.
    plain = Image.new("RGB", (64, 64), (100, 180, 100))

    tagged = reencode(saved(plain, "JPEG", quality=100, icc_profile=wide_gamut_profile()))
    untagged = reencode(saved(plain, "JPEG", quality=100))

    assert pixel(tagged.original.data, 0.5, 0.5) == pytest.approx(_adobe_to_srgb(100, 180, 100), abs=4)
    assert pixel(untagged.original.data, 0.5, 0.5) == pytest.approx((100, 180, 100), abs=3)


def _adobe_to_srgb(*colour: int) -> tuple[float, ...]:
    # Adobe RGB (1998) Color Image Encoding, 4.3.5.3: RGB to XYZ (D65); IEC 61966-2-1: XYZ (D65) to linear sRGB.
    to_xyz = np.array([[0.57667, 0.18556, 0.18823], [0.29734, 0.62736, 0.07529], [0.02703, 0.07069, 0.99134]])
    to_srgb = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
    linear = (to_srgb @ to_xyz @ (np.array(colour) / 255) ** (563 / 256)).clip(0, 1)
    encoded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return tuple(255 * encoded)


def test_a_heic_that_only_names_its_primaries_is_converted_too() -> None:
    # Display P3: primaries of SMPTE EG 432-1, white D65, sRGB's curve. The matrix from linear P3 to linear sRGB is
    # the inverse of the one in CSS Color Module Level 4's sample code; from memory, unverified.
    to_srgb = np.array(
        [[1.2249402, -0.2249402, 0], [-0.0420570, 1.0420570, 0], [-0.0196376, -0.0786360, 1.0982736]]
    )
    colour = np.array([100, 180, 100]) / 255
    linear = to_srgb @ np.where(colour <= 0.04045, colour / 12.92, ((colour + 0.055) / 1.055) ** 2.4)
    expected = 255 * np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    plain = Image.new("RGB", (64, 600), (100, 180, 100))

    named = reencode(
        saved(plain, "HEIF", quality=-1, chroma=444, color_primaries=12, transfer_characteristics=13)
    )
    usual = reencode(saved(plain, "HEIF", quality=-1, chroma=444))

    assert pixel(named.original.data, 0.5, 0.9) == pytest.approx(tuple(expected), abs=4)
    assert pixel(usual.original.data, 0.5, 0.9) == pytest.approx((100, 180, 100), abs=3)
    assert max(abs(expected - (100, 180, 100))) > 15, "the two must differ for the test to tell"


def test_a_broken_or_unfitting_colour_profile_is_passed_over() -> None:
    plain = Image.new("RGB", (64, 64), (90, 120, 150))
    grey = Image.new("L", (64, 64), 120)

    broken = reencode(saved(plain, "JPEG", quality=100, icc_profile=b"no profile at all"))
    unfitting = reencode(saved(grey, "JPEG", quality=100, icc_profile=wide_gamut_profile()))

    assert pixel(broken.original.data, 0.5, 0.5) == pytest.approx((90, 120, 150), abs=3)
    assert pixel(unfitting.original.data, 0.5, 0.5) == pytest.approx((120, 120, 120), abs=3)


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "HEIF"])
def test_a_photo_whose_notes_are_broken_is_taken_as_its_pixels_lie(kind: str) -> None:
    broken = saved(halves(), kind, exif=b"Exif\0\0" + b"not what a camera writes" * 3)

    encoded = reencode(broken)

    assert (encoded.original.width, encoded.original.height) == (400, 300)
    assert encoding.is_bare_jpeg(encoded.original.data)


def test_see_through_parts_are_shown_on_white() -> None:
    image = Image.new("RGBA", (40, 40), (0, 0, 0, 0))

    assert pixel(reencode(saved(image, "PNG")).original.data, 0.5, 0.5) == pytest.approx(
        (255, 255, 255), abs=2
    )


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "I;16", "CMYK"])
def test_every_kind_of_pixel_comes_out_as_colour(mode: str) -> None:
    if mode == "I;16":
        image = Image.fromarray(np.full((30, 30), 40_000, dtype=np.uint16))
        grey = 40_000 >> 8
    else:
        image = Image.new("L", (30, 30), 255).convert(mode)
        grey = 255

    encoded = reencode(saved(image, "JPEG" if mode == "CMYK" else "PNG"))

    assert pixel(encoded.original.data, 0.5, 0.5) == pytest.approx((grey, grey, grey), abs=3)


@settings(max_examples=20, deadline=None)
@given(width=st.integers(1, 700), height=st.integers(1, 80), seed=st.integers(0, 2**16))
def test_what_was_made_here_is_not_made_again(width: int, height: int, seed: int) -> None:
    pixels = np.random.default_rng(seed).integers(0, 256, (height, width, 3), dtype=np.uint8)

    once = reencode(saved(Image.fromarray(pixels), "PNG"))
    twice = reencode(once.original.data)

    assert twice.original == once.original
    assert twice.sha256 == once.sha256
    assert encoding.made_here(once.original.data)


def test_a_picture_of_ours_with_something_hung_on_is_made_again() -> None:
    ours = reencode(phone_jpeg()).original.data

    for changed in (ours + b"PK\x03\x04 and a tail", ours[:2] + b"\xff\xfe\x00\x09at home" + ours[2:]):
        assert not encoding.made_here(changed)
        assert reencode(changed).original.data != changed
        assert encoding.is_bare_jpeg(reencode(changed).original.data)


def test_a_zip_hidden_behind_a_photo_is_left_behind() -> None:
    tail = io.BytesIO()
    with zipfile.ZipFile(tail, "w") as archive:
        archive.writestr("index.html", "<script>alert(1)</script>")
    polyglot = phone_jpeg() + tail.getvalue()
    assert zipfile.is_zipfile(io.BytesIO(polyglot))

    encoded = reencode(polyglot)

    for picture in everything(encoded):
        assert not zipfile.is_zipfile(io.BytesIO(picture))
        assert b"<script>" not in picture


NOT_PHOTOS = {
    "text": b"This is not a photo.",
    "svg": b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>',
    "html": b"<!doctype html><title>Hello</title>",
    "zip": b"PK\x03\x04" + b"\0" * 60,
    "pdf": b"%PDF-1.7\n",
    "gif": saved(halves(), "GIF"),
    "tiff": saved(halves(), "TIFF"),
    "eps": b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 10 10\n",
    "noise": bytes(range(256)) * 8,
}


@pytest.mark.parametrize("kind", NOT_PHOTOS)
def test_a_file_that_is_not_one_of_the_four_kinds_is_refused_with_a_sentence(kind: str) -> None:
    assert refusal(NOT_PHOTOS[kind]) == (
        "This file is not a photo we can read. Photos can be JPEG, PNG, WebP or HEIC."
    )


def test_an_empty_file_is_refused_with_a_sentence() -> None:
    assert refusal(b"") == (
        "The file is empty. Choose the photo again; if it is still in the cloud, download it first."
    )


def test_a_file_over_the_limit_is_refused_with_a_sentence() -> None:
    assert refusal(phone_jpeg() + b"\0" * LIMITS["most_bytes"]) == (
        "The file is 4 MB; up to 4 MB are taken. Send it in a smaller size."
    )


@pytest.mark.parametrize("side", [60_000, 12_000, 1_500])
def test_a_bomb_is_refused_by_its_header_before_any_pixel_is_made(side: int) -> None:
    sentence = refusal(bomb_header(side, side))

    assert sentence.endswith("up to 2 million are taken. Send it in a smaller size.")


def test_a_small_file_whose_pixels_or_notes_unpack_to_far_more_stays_small() -> None:
    # Fifty megabytes of zeros in fifty kilobytes: as pixels, as a text, as a colour profile.
    files = bombs()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss

    for data in files:
        assert len(data) < 100_000
        with contextlib.suppress(PhotoRefused):
            assert encoding.is_bare_jpeg(reencode(data).original.data)

    assert (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) * 1024 < 40_000_000


def test_of_a_moving_picture_the_first_frame_is_kept() -> None:
    frames = [Image.new("RGB", (60, 40), (200, 20 * i, 30)) for i in range(12)]
    for kind in ("PNG", "WEBP"):
        encoded = reencode(saved(frames[0], kind, save_all=True, append_images=frames[1:]))

        assert pixel(encoded.original.data, 0.5, 0.5) == pytest.approx((200, 0, 30), abs=4)
        assert getattr(Image.open(io.BytesIO(encoded.original.data)), "n_frames", 1) == 1


@pytest.mark.parametrize("kind", PHONE_FILES)
@pytest.mark.parametrize("kept", [0.4, 0.8, 0.97])
def test_a_file_that_was_cut_off_is_refused_with_a_sentence(kind: str, kept: float) -> None:
    noisy = Image.fromarray(np.random.default_rng(3).integers(0, 256, (200, 300, 3), dtype=np.uint8))
    data = saved(noisy, {"WebP": "WEBP", "HEIC": "HEIF"}.get(kind, kind))

    assert refusal(data[: int(len(data) * kept)]) in (
        "The file is cut off or damaged. Choose the photo again and send it once more.",
        "This file is not a photo we can read. Photos can be JPEG, PNG, WebP or HEIC.",
    )
