"""Pictures come in safely, upright and clean."""

import io
import struct
import subprocess
import sys
import zlib
from datetime import datetime, timedelta, timezone

import numpy as np
import pytest
from PIL import Image, ImageCms

from lesions.analysis.picture import reading
from lesions.analysis.picture.allowance import UnreadablePicture


def scene() -> Image.Image:
    """An unsymmetrical picture: red left upper, green right upper, blue left lower, grey right lower."""
    pixels = np.full((40, 60, 3), 128, dtype=np.uint8)
    pixels[:20, :30], pixels[:20, 30:], pixels[20:, :30] = (220, 30, 30), (30, 200, 30), (30, 30, 220)
    return Image.fromarray(pixels)


def saved(image, kind="JPEG", **options) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **({"quality": 95} if kind in ("JPEG", "WEBP") else {}), **options)
    return out.getvalue()


UNDO = {
    1: None,
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}


def stored_as(orientation: int, kind: str) -> bytes:
    """The scene stored turned, with the EXIF tag (Exif 2.3, tag 274) that turns it back."""
    exif = Image.Exif()
    exif[274] = orientation
    turned = scene() if UNDO[orientation] is None else scene().transpose(UNDO[orientation])
    return saved(turned, kind, exif=exif)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_exif_orientation_comes_out_upright(orientation, kind):
    data = stored_as(orientation, kind)
    info = reading.clean(data).info
    assert (info.width, info.height, info.exif_orientation) == (60, 40, orientation)
    for pixels in (
        reading.load(data, working_width=None).pixels,
        np.array(Image.open(io.BytesIO(reading.clean(data).jpeg))),
    ):
        assert pixels.shape == (40, 60, 3)
        assert np.abs(pixels.astype(int) - np.array(scene()).astype(int)).mean() < 6


@pytest.mark.parametrize(
    ("kind", "name"), [("JPEG", "JPEG"), ("PNG", "PNG"), ("TIFF", "TIFF"), ("WEBP", "WebP")]
)
def test_the_content_tells_the_format(kind, name):
    assert reading.clean(saved(scene(), kind)).info.format == name


def test_the_moment_of_the_shot_is_aware_only_with_an_offset():
    exif = Image.Exif()
    exif.get_ifd(0x8769)[36867] = "2024:03:05 14:30:00"
    assert reading.clean(saved(scene(), exif=exif)).info.taken_at == datetime(2024, 3, 5, 14, 30)
    exif.get_ifd(0x8769)[36881] = "-03:30"
    zone = timezone(-timedelta(hours=3, minutes=30))
    assert reading.clean(saved(scene(), exif=exif)).info.taken_at == datetime(2024, 3, 5, 14, 30, tzinfo=zone)


@pytest.mark.parametrize("words", ["", "0000:00:00 00:00:00", "yesterday"])
def test_a_senseless_moment_counts_as_unknown(words):
    exif = Image.Exif()
    exif.get_ifd(0x8769)[36867] = words
    assert reading.clean(saved(scene(), exif=exif)).info.taken_at is None


def test_a_derivative_carries_nothing_but_pixels():
    exif = Image.Exif()
    exif[315], exif[274] = "Somebody", 1
    data = saved(
        scene(),
        exif=exif,
        comment=b"room 4",
        icc_profile=ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes(),
    )
    clean = reading.clean(data).jpeg
    assert b"room 4" in data and b"Somebody" in data
    assert b"room 4" not in clean and b"Somebody" not in clean
    image = Image.open(io.BytesIO(clean))
    assert image.format == "JPEG" and not image.getexif()
    assert not {"comment", "icc_profile", "exif"} & set(image.info)


def test_a_derivative_is_no_larger_than_asked():
    big = scene().resize((3000, 2000))
    assert Image.open(io.BytesIO(reading.clean(saved(big), max_side=1600).jpeg)).size == (1600, 1067)


def test_colour_profiles_are_applied():
    """ICC: the profile says what the numbers mean. Here they are CIELAB, a* 60 above grey: red."""
    lab = ImageCms.createProfile("LAB")
    pixels = Image.new("LAB", (20, 20), (128, 128 + 60, 128))
    data = saved(pixels, "TIFF", icc_profile=ImageCms.ImageCmsProfile(lab).tobytes())
    red, green, blue = reading.load(data, working_width=None).pixels[10, 10]
    assert red > green + 60 and red > blue


def primaries(red, green, blue) -> bytes:
    """The sRGB profile with the colorants of its primaries put in another order."""
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    count, kept = int.from_bytes(profile[128:132]), {}
    for at in range(132, 132 + 12 * count, 12):  # ICC.1:2010, 7.3: signature, offset, size of each tag
        kept[bytes(profile[at : at + 4])] = (at, bytes(profile[at + 4 : at + 12]))
    for name, other in ((b"rXYZ", red), (b"gXYZ", green), (b"bXYZ", blue)):
        profile[kept[name][0] + 4 : kept[name][0] + 12] = kept[other][1]
    return bytes(profile)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_the_profile_of_every_format_is_applied(kind):
    """A profile that calls the first channel green and the second red exchanges the two."""
    data = saved(
        Image.new("RGB", (40, 40), (200, 40, 40)), kind, icc_profile=primaries(b"gXYZ", b"rXYZ", b"bXYZ")
    )
    red, green, blue = (int(v) for v in reading.load(data, working_width=None).pixels[20, 20])
    assert abs(red - 40) < 8 and abs(green - 200) < 8 and abs(blue - 40) < 8


def test_a_broken_profile_does_not_refuse_the_picture():
    data = saved(scene(), icc_profile=b"no profile at all")
    assert reading.load(data, working_width=None).pixels.shape == (40, 60, 3)


def test_sixteen_bits_keep_their_brightness():
    grey = np.full((20, 30), 32768, dtype=np.uint16)
    for kind in ("PNG", "TIFF"):
        pixels = reading.load(saved(Image.fromarray(grey), kind), working_width=None).pixels
        assert abs(int(pixels[5, 5, 0]) - 128) <= 1


def test_transparency_becomes_white():
    pixels = reading.load(
        saved(Image.new("RGBA", (20, 20), (10, 10, 10, 0)), "PNG"), working_width=None
    ).pixels
    assert pixels.min() == 255


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_truncated_files_are_refused_with_a_sentence(kind):
    noisy = Image.fromarray(np.random.default_rng(1).integers(0, 255, (80, 80, 3), dtype=np.uint8))
    data = saved(noisy, kind)
    for part in (data[: len(data) // 2], data[: int(len(data) * 0.9)]):
        for ask in (reading.clean, lambda d: reading.load(d, working_width=None)):
            with pytest.raises(UnreadablePicture, match=r"^[A-Z].*\.$"):
                ask(part)


@pytest.mark.parametrize(
    "data",
    [b"", b"hello", b"\xff\xd8\xff", b"GIF89a" + bytes(50), b"<svg xmlns='http://www.w3.org/2000/svg'/>"],
)
def test_what_is_no_picture_is_refused(data):
    with pytest.raises(UnreadablePicture):
        reading.clean(data)


def test_other_formats_are_refused():
    with pytest.raises(UnreadablePicture):
        reading.clean(saved(scene(), "BMP"))


def test_a_header_that_claims_a_giant_is_refused():
    """A PNG header may claim any size; PNG specification 11.2.2, IHDR with its CRC."""
    header = b"IHDR" + struct.pack(">IIBBBBB", 60000, 60000, 8, 2, 0, 0, 0)
    data = b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + header + struct.pack(">I", zlib.crc32(header))
    with pytest.raises(UnreadablePicture):
        reading.clean(data + saved(scene(), "PNG")[33:])


def test_reduced_pictures_keep_one_zoom_for_both_axes():
    big = scene().resize((3001, 1999), Image.Resampling.NEAREST)
    picture = reading.load(saved(big), working_width=768)
    height, width = picture.pixels.shape[:2]
    assert max(width, height) == 768 and (picture.full_width, picture.full_height) == (3001, 1999)
    edge = int(np.argmax(picture.pixels[100, :, 1] > 115))
    assert abs(edge * picture.zoom - 1500.5) < picture.zoom
    edge = int(np.argmax(picture.pixels[:, 100, 2] > 125))
    assert abs(edge * picture.zoom - 999.5) < picture.zoom


def test_reading_loads_no_heavy_library():
    """A web process imports it, and the process that cleans uploads starts with it."""
    code = (
        "import sys, lesions.analysis.picture.reading_process;"
        "print(sorted({'numpy', 'scipy', 'skimage', 'onnxruntime', 'django'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
