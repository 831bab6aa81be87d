"""Every kind of pixels comes out as the colour that it stands for, or is refused with a sentence."""

import io

import numpy as np
import pytest
from PIL import Image, ImageCms

from lesions.analysis.picture import reading
from lesions.analysis.picture.allowance import Allowance, UnreadablePicture
from tests.lesions.analysis.picture.crafted import chunk, even_png, saved

SKIN, GREY = (200, 150, 120), (149, 149, 149)
WIDE, HIGH = 700, 520  # more than one band of rows, and not a whole number of them


def plain(mode, colour=SKIN):
    return Image.new("RGB", (WIDE, HIGH), colour).convert(mode)


def values(number, kind):
    return Image.fromarray(np.full((HIGH, WIDE), number, dtype=kind))


def clear(mode):
    """Half let through: on white it is paler."""
    image = plain(mode)
    image.putalpha(128)
    return image


def palette_with_a_clear_colour():
    image = Image.new("P", (WIDE, HIGH), 1)
    image.putpalette([0, 0, 0, *SKIN])
    return saved(image, "PNG", transparency=bytes([0, 128]))


def lab():
    """By scikit-image's `rgb2lab` the sRGB colour is L* 66.1, a* 14.8, b* 23.1; Pillow counts a* and b* from 128."""
    return Image.new("LAB", (WIDE, HIGH), (round(66.1 * 2.55), 128 + 15, 128 + 23))


PALER = tuple((v + 255) // 2 for v in SKIN)
FULL = 65535 / 255
PICTURES = {
    "JPEG": (saved(plain("RGB"), "JPEG", quality=95), SKIN),
    "JPEG, progressive": (saved(plain("RGB"), "JPEG", quality=95, progressive=True), SKIN),
    "JPEG, grey": (saved(plain("L", GREY), "JPEG"), GREY),
    # Print inks without a profile: 255 less the ink, the usual rule (PDF 32000-1, 10.3.5).
    "JPEG, CMYK": (saved(plain("CMYK"), "JPEG"), SKIN),
    "JPEG, camera with preview": (
        saved(plain("RGB"), "MPO", quality=95, save_all=True, append_images=[plain("RGB", (0, 0, 0))]),
        SKIN,
    ),
    "PNG": (saved(plain("RGB"), "PNG"), SKIN),
    "PNG, grey": (saved(plain("L", GREY), "PNG"), GREY),
    "PNG, 1 bit": (saved(plain("1", (255, 255, 255)), "PNG"), (255, 255, 255)),
    "PNG, palette": (saved(plain("RGB").quantize(4), "PNG"), SKIN),
    "PNG, palette with a clear colour": (palette_with_a_clear_colour(), PALER),
    "PNG, half clear": (saved(clear("RGB"), "PNG"), PALER),
    "PNG, grey, half clear": (saved(clear("L"), "PNG"), None),
    "PNG, 16 bits grey": (saved(values(round(149 * FULL), np.uint16), "PNG"), GREY),
    "PNG, 16 bits, colour and clear": (even_png(WIDE, HIGH, 16, 6, 4), (255, 255, 255)),
    "PNG, 16 bits, colour": (even_png(WIDE, HIGH, 16, 2, 3), (0, 0, 0)),
    "TIFF": (saved(plain("RGB"), "TIFF"), SKIN),
    "TIFF, packed": (saved(plain("RGB"), "TIFF", compression="tiff_lzw"), SKIN),
    "TIFF, CMYK": (saved(plain("CMYK"), "TIFF"), SKIN),
    "TIFF, CIELAB": (saved(lab(), "TIFF"), SKIN),
    "TIFF, palette": (saved(plain("RGB").quantize(4), "TIFF"), SKIN),
    "TIFF, 16 bits grey": (saved(values(round(149 * FULL), np.uint16), "TIFF"), GREY),
    "TIFF, 16 bits grey, big-endian": (
        saved(Image.new("I;16B", (WIDE, HIGH), round(149 * FULL)), "TIFF"),
        GREY,
    ),
    "TIFF, 32 bits, as 16": (saved(values(round(149 * FULL), np.int32), "TIFF"), GREY),
    "TIFF, 32 bits": (saved(values(round(149 / 255 * (2**31 - 1)), np.int32), "TIFF"), GREY),
    "TIFF, fractions of 1": (saved(values(149 / 255, np.float32), "TIFF"), GREY),
    "TIFF, fractions of 255": (saved(values(149.0, np.float32), "TIFF"), GREY),
    "WebP": (saved(plain("RGB"), "WEBP", lossless=True), SKIN),
    "WebP, half clear": (saved(clear("RGB"), "WEBP", lossless=True, exact=True), PALER),
}
PALE_GREY = tuple((round(0.299 * SKIN[0] + 0.587 * SKIN[1] + 0.114 * SKIN[2]) + 255) // 2 for _ in SKIN)


@pytest.mark.parametrize("name", PICTURES)
@pytest.mark.parametrize("working_width", [None, 496, 100])
def test_it_is_read_in_its_colour(name, working_width):
    data, colour = PICTURES[name]
    pixels = reading.load(data, working_width=working_width).pixels.reshape(-1, 3).astype(int)
    # ITU-R BT.601 gives the grey of a colour; 2 levels are what packing as JPEG may cost.
    assert np.abs(pixels - (colour or PALE_GREY)).max() <= (4 if name == "TIFF, CIELAB" else 2)


@pytest.mark.parametrize("name", PICTURES)
def test_browsers_get_the_same_colour(name):
    data, colour = PICTURES[name]
    copy = Image.open(io.BytesIO(reading.clean(data, max_side=300).jpeg))
    assert copy.size == (300, 223) and copy.mode == "RGB"
    assert np.abs(np.asarray(copy).astype(int) - (colour or PALE_GREY)).max() <= 5


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_all_black_stays_black(kind):
    data = saved(Image.new("RGB", (WIDE, HIGH)), kind)
    assert reading.load(data, working_width=496).pixels.max() == 0


def test_an_edge_stays_where_it_is_from_band_to_band():
    """Bands are converted one by one; their seams must not show."""
    rows = np.repeat(np.arange(HIGH, dtype=np.uint16)[:, None] * 100, WIDE, axis=1)
    for step in (1, 2, 3):
        size = WIDE // (3 * step)
        grey = reading.load(saved(Image.fromarray(rows), "PNG"), working_width=size).pixels[..., 0]
        middle = (np.arange(grey.shape[0]) + 0.5) * WIDE / size - 0.5
        assert np.abs(grey[:, 5] - middle * 100 / 65535 * 255).max() < 1


@pytest.mark.parametrize("number", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("share", ["all", "one"])
def test_pixels_without_a_value_are_refused(number, share):
    pixels = np.full((HIGH, WIDE), 0.5, dtype=np.float32)
    if share == "all":
        pixels[:] = number
    else:
        pixels[-1, -1] = number
    data = saved(Image.fromarray(pixels), "TIFF")
    for ask in (reading.clean, lambda d: reading.load(d, working_width=496)):
        with pytest.raises(UnreadablePicture, match="without a value"):
            ask(data)


def several(kind):
    return saved(plain("RGB"), kind, save_all=True, append_images=[plain("RGB", (0, 0, 0))])


UNUSABLE = {
    "TIFF without values": (saved(values(np.nan, np.float32), "TIFF"), "without a value"),
    "PNG, animated": (several("PNG"), "more than one picture"),
    "TIFF of two pages": (several("TIFF"), "more than one picture"),
    "WebP, animated": (several("WEBP"), "more than one picture"),
}
BLACK = {
    f"{kind}, all black": saved(Image.new("RGB", (WIDE, HIGH)), kind)
    for kind in ("JPEG", "PNG", "TIFF", "WEBP")
}


@pytest.mark.parametrize("bound", ["pixels", "decoded"])
@pytest.mark.parametrize("name", [*PICTURES, *BLACK, *UNUSABLE])
def test_every_kind_just_under_each_limit_and_just_over(name, bound):
    """Over the limit its size is what is said: nothing is decoded to find another fault."""
    data = BLACK.get(name) or (PICTURES | UNUSABLE)[name][0]
    under, over = (Allowance(**{bound: WIDE * HIGH - n}) for n in (0, 1))
    with pytest.raises(UnreadablePicture, match="too many pixels"):
        reading.load(data, working_width=None, allowance=over)
    if name in UNUSABLE:
        with pytest.raises(UnreadablePicture, match=UNUSABLE[name][1]):
            reading.load(data, working_width=None, allowance=under)
    else:
        assert reading.load(data, working_width=None, allowance=under).pixels.shape == (HIGH, WIDE, 3)


def test_values_below_nought_are_black():
    data = saved(values(-5.0, np.float32), "TIFF")
    assert reading.load(data, working_width=None).pixels.max() == 0


@pytest.mark.parametrize("name", [name for name in PICTURES if "big" not in name])
def test_cut_short_it_is_refused_with_a_sentence(name):
    """Noise in the same kind: an even picture packs into so little that nothing is left to cut."""
    image = Image.open(io.BytesIO(PICTURES[name][0]))
    noise = np.random.default_rng(3).integers(0, 255, (200, 300, 3), dtype=np.uint8)
    kind = {"MPO": "JPEG"}.get(image.format, image.format)
    mode = image.mode if image.mode in ("RGB", "L", "CMYK", "P", "RGBA", "LA") else "RGB"
    data = saved(Image.fromarray(noise).convert(mode), kind)
    with pytest.raises(UnreadablePicture, match=r"damaged|not a JPEG"):
        reading.clean(data[: len(data) * 2 // 3])


def test_a_profile_that_is_no_profile_of_this_kind_leaves_the_colour():
    grey = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    data = saved(plain("CMYK"), "TIFF", icc_profile=grey)
    pixels = reading.load(data, working_width=100).pixels.astype(int)
    assert np.abs(pixels - SKIN).max() <= 2


def test_what_stands_behind_the_picture_does_no_harm():
    data = saved(plain("RGB"), "PNG") + chunk(b"IDAT", bytes(1000))
    assert reading.load(data, working_width=100).pixels[5, 5].tolist() == list(SKIN)
