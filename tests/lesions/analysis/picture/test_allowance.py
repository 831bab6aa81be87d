"""What a picture may cost: just under and just over each limit, for every format, before anything is decoded."""

import struct
import zlib

import pytest
from PIL import Image, ImageFile

from lesions.analysis.picture import allowance
from lesions.analysis.picture.allowance import USUAL, Allowance, UnreadablePicture
from tests.lesions.analysis.picture.crafted import chunk, jpeg_head, png, saved, tiff_head, webp

KINDS = ("JPEG", "PNG", "TIFF", "WEBP")
SIDE = 1600


@pytest.fixture(autouse=True)
def nothing_is_decoded(monkeypatch):
    monkeypatch.setattr(ImageFile.ImageFile, "load", lambda image: pytest.fail("decoded"))


def opened(data, side=SIDE, **more):
    return allowance.open_picture(data, Allowance(**more), side=side)


def refusal(data, side=SIDE, **more):
    with pytest.raises(UnreadablePicture, match=r"^[A-Z].*\.$") as refused:
        opened(data, side, **more)
    return str(refused.value)


def lossy(width, height):
    """The head of a lossy WebP: RFC 6386, 9.1, after the frame's tag."""
    frame = b"\x10\0\0\x9d\x01\x2a" + struct.pack("<HH", width, height) + bytes(10)
    body = b"VP8 " + struct.pack("<I", len(frame)) + frame
    return b"RIFF" + struct.pack("<I", 4 + len(body)) + b"WEBP" + body


def extended(width, height):
    """The head of a WebP with extensions: RFC 9649, 2.7, canvas width and height less one in three bytes each."""
    head = bytes(4) + (width - 1).to_bytes(3, "little") + (height - 1).to_bytes(3, "little")
    body = b"VP8X" + struct.pack("<I", len(head)) + head
    return b"RIFF" + struct.pack("<I", 4 + len(body)) + b"WEBP" + body


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("bound", ["pixels", "decoded"])
def test_a_picture_of_just_so_many_pixels_is_taken_and_with_one_more_not(kind, bound):
    data = saved(Image.new("RGB", (60, 40), (200, 150, 130)), kind)
    assert opened(data, **{bound: 2400}).size == (60, 40)
    assert "too many pixels" in refusal(data, **{bound: 2399})


@pytest.mark.parametrize(
    ("make", "most", "words"),
    [
        (jpeg_head, (10_000, 8_000), "80 million"),
        (lambda w, h: jpeg_head(w, h, start=0xC2), (8_000, 5_000), "40 million"),
        (lambda w, h: png(w, h, 16, 6, b""), (8_000, 5_000), "40 million"),
        (lambda w, h: png(w, h, 1, 0, b""), (8_000, 5_000), "40 million"),
        (tiff_head, (8_000, 5_000), "40 million"),
    ],
)
def test_the_usual_limits(make, most, words):
    width, height = most
    assert opened(make(width, height)).size == most
    assert words in refusal(make(width, height + 1))
    assert words in refusal(make(width + 1, height))


def test_a_file_beyond_the_first_limit_says_that_one():
    assert "80 million" in refusal(png(9_000, 9_000, 8, 2, b""))


@pytest.mark.parametrize("make", [webp, lossy, extended])
def test_a_webp_is_judged_before_its_canvas_is_made(make, monkeypatch):
    """Its decoder keeps 20 bytes a pixel: 448 MiB of 512 hold 23,488,102 of them."""
    monkeypatch.setattr(Image, "open", lambda *_, **__: pytest.fail("opened"))
    assert "WebP picture at most 23 million" in refusal(make(4_800, 4_894))
    assert "At most 80 million" in refusal(make(16_000, 5_001))
    assert "WebP picture at most 40 million" in refusal(make(8_000, 5_001), memory=2 << 30)


def test_a_webp_just_under_its_limit_is_opened():
    assert opened(webp(4_800, 4_893)).size == (4_800, 4_893)


def test_a_jpeg_is_decoded_no_finer_than_it_is_wanted():
    data = saved(Image.new("L", (800, 600)), "JPEG")
    for side, decoded in ((100, 7_500), (101, 30_000), (400, 120_000), (401, 480_000), (None, 480_000)):
        assert opened(data, side, decoded=decoded)
        assert refusal(data, side, decoded=decoded - 1)


@pytest.mark.parametrize(
    "head",
    [
        {"start": 0xC2},  # progressive
        {"start": 0xC3},  # lossless: no scale but the whole
        {"start": 0xCA},  # progressive, arithmetic coding
        {"in_first_scan": 1},  # channel after channel
    ],
)
def test_a_jpeg_in_several_scans_is_held_whole(head):
    """ITU-T T.81: B.1.1.3 has the codes; a scan that lacks a channel of the frame is not the only one."""
    assert refusal(jpeg_head(800, 600, **head), 100, decoded=479_999)
    assert opened(jpeg_head(800, 600, **head), 100, decoded=480_000)


def test_a_mark_inside_the_cameras_own_notes_is_no_frame_header():
    notes = b"\xff\xe1" + struct.pack(">H", 12) + b"\xff\xc2" + bytes(8)
    data = saved(Image.new("L", (800, 600)), "JPEG")
    assert opened(data[:2] + notes + data[2:], 100, decoded=7_500)


def pages(kind, count=2):
    shades = [Image.new("RGB", (60, 40), (90 * n, 0, 0)) for n in range(count)]
    return saved(shades[0], kind, save_all=True, append_images=shades[1:])


@pytest.mark.parametrize("kind", ["PNG", "TIFF", "WEBP"])
def test_a_file_of_several_pictures_is_refused(kind):
    """The second would be on file and never seen."""
    assert "more than one picture" in refusal(pages(kind))
    assert opened(pages(kind, 1)).size == (60, 40)


def test_a_camera_s_jpeg_with_its_own_preview_is_taken():
    assert opened(pages("MPO")).size == (60, 40)


def test_a_kind_of_pixel_that_is_not_foreseen_is_refused(monkeypatch):
    monkeypatch.delitem(allowance._BYTES, "CMYK")
    assert "kind of picture" in refusal(saved(Image.new("CMYK", (60, 40)), "TIFF"))


@pytest.mark.parametrize(
    ("data", "decoded"),
    [
        (jpeg_head(8_000, 6_000), 3_000_000 * 4),
        (jpeg_head(8_000, 5_000, start=0xC2), 40_000_000 * 12),
        (png(8_000, 5_000, 1, 0, b""), 40_000_000),
        (png(8_000, 5_000, 16, 0, b""), 80_000_000),
        (png(8_000, 5_000, 16, 6, b""), 160_000_000),
        (webp(4_000, 3_000), 240_000_000),
    ],
)
def test_the_cost_of_a_decode_is_known_beforehand(data, decoded):
    assert allowance.estimate_cost(data, USUAL, side=SIDE) == decoded


def test_notes_before_the_picture_are_not_unpacked():
    """A PNG's text may be packed (PNG, 11.3.3.3): 60 MB in 60 kB."""
    text = chunk(b"zTXt", b"Comment\0\0" + zlib.compress(bytes(60_000_000), 9))
    data = saved(Image.new("RGB", (60, 40)), "PNG")
    assert refusal(data[:33] + text + data[33:])


def test_nothing_of_a_library_is_said():
    for data in (b"", b"II*\0\x08\0\0\0\xff\xff", webp(100, 100)[:25], jpeg_head(0, 0)):
        assert refusal(data) == "This file is not a JPEG, PNG, TIFF or WebP picture."
