"""Hostile and enormous files: a sentence, in bounded memory. Time is only printed."""

import functools
import struct
import subprocess
import sys
import zlib
from pathlib import Path

import pytest
from PIL import Image

from tests.lesions.analysis.picture.crafted import even_png, png, saved, tiff, webp

MOST_MB = 300
READING = "from lesions.analysis.picture import allowance, reading, reading_process"
ASK = """
import pathlib, sys, time
{imports}
data, start = sys.stdin.buffer.read(), time.perf_counter()
try:
    {call}
except allowance.UnreadablePicture as refusal:
    print(refusal)
print(f"{{time.perf_counter() - start:.3f}} s", file=sys.stderr)
status = pathlib.Path("/proc/self/status").read_text().splitlines()
print([line.split()[1] for line in status if line.startswith("VmHWM")][0])
"""


def asked(data, call="reading.clean(data)", imports=READING):
    """What a fresh process says to a file, and its peak in MB.

    Not by getrusage: a started process inherits the peak of the one that started it.
    """
    if not Path("/proc/self/status").exists():
        pytest.skip("the peak of a process is read from /proc, which this system lacks")
    code = ASK.format(call=call, imports=imports)
    done = subprocess.run(
        [sys.executable, "-c", code], input=data, capture_output=True, timeout=60, check=True
    )
    *said, peak = done.stdout.decode().splitlines()
    sys.stdout.write(
        f"{len(data)} bytes: {done.stderr.decode().strip()}, {int(peak) / 1024:.0f} MB, {said}\n"
    )
    return said, int(peak) / 1024


@functools.cache
def bomb():
    """30 000 x 30 000 pixels of one bit: a real picture of 110 kB that unpacks to 112 MB, as RGB to 2.7 GB."""
    rows = zlib.compressobj(9)
    row = bytes(1 + 30_000 // 8)
    return png(30_000, 30_000, 1, 0, b"".join(rows.compress(row) for _ in range(30_000)) + rows.flush())


def unpacks_to_more():
    """Claims 16 x 16 pixels; its stream unpacks to 400 MB."""
    stream = zlib.compressobj(9)
    return png(16, 16, 8, 2, b"".join(stream.compress(bytes(1 << 20)) for _ in range(400)) + stream.flush())


SIDES = ((256, 3, 1, 100), (257, 3, 1, 100))
NOISE = Image.effect_noise((400, 300), 80).convert("RGB")
WEBP, JPEG = saved(NOISE, "WEBP"), saved(NOISE, "JPEG")
REFUSED = {
    "nothing": b"",
    "zero bytes": bytes(100_000),
    "text renamed .jpg": b"Dear clinic, please find attached the picture.\n" * 200,
    "bomb": bomb,  # made only when asked for: packing it takes its time
    "JPEG cut short": JPEG[: len(JPEG) // 2],
    "JPEG claims 65 500 x 65 500": JPEG.replace(
        struct.pack(">HH", 300, 400), struct.pack(">HH", 65500, 65500), 1
    ),
    "WebP cut short": WEBP[: len(WEBP) // 2],
    "WebP of noughts": WEBP[:20] + bytes(len(WEBP) - 20),
    "TIFF without strips": tiff(*SIDES),
    "TIFF whose directory lies outside": b"II*\0" + struct.pack("<I", 1 << 30),
    "TIFF of four thousand million entries": tiff(*SIDES, (258, 3, 0xFFFFFFFF, 8), (273, 4, 0xFFFFFFFF, 8)),
    "TIFF whose strip lies outside": tiff(
        *SIDES,
        (258, 3, 1, 8),
        (259, 3, 1, 1),
        (262, 3, 1, 1),
        (273, 4, 1, 1 << 30),
        (278, 4, 1, 100),
        (279, 4, 1, 9999),
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_it_is_refused_with_a_sentence_in_little_memory(name):
    data = REFUSED[name]
    said, peak = asked(data() if callable(data) else data)
    assert len(said) == 1 and said[0][0].isupper() and said[0].endswith(".")
    assert peak < MOST_MB


DEAR = {
    "WebP of 34 bytes, 80 million pixels": lambda: webp(16_000, 5_000),
    "WebP just over": lambda: webp(4_800, 4_894),
    "PNG of 79 million pixels, 16 bits, clear": lambda: even_png(10_000, 7_900, 16, 6, 4),
    "PNG just over": lambda: even_png(10_000, 4_001, 16, 6, 4),
}


@pytest.mark.parametrize("name", DEAR)
@pytest.mark.parametrize("ask", ["reading.clean(data)", "reading.load(data, working_width=496)"])
def test_a_small_file_of_many_pixels_is_refused_undecoded(name, ask):
    said, peak = asked(DEAR[name](), ask)
    assert "million pixels" in said[0] and peak < 100


def test_measuring_refuses_a_bomb_alike():
    said, peak = asked(bomb(), "pipeline.measure(data)", f"{READING}; from lesions.analysis import pipeline")
    assert "million pixels" in said[0] and peak < MOST_MB


def test_a_measuring_process_leaves_a_dear_picture_to_another():
    """40 million pixels of 16 bits and 4 channels, just allowed: 160 MB when decoded."""
    call = "print(reading_process.load(data, working_width=496).pixels.shape)"
    said, peak = asked(even_png(8_000, 5_000, 16, 6, 4), call)
    assert said == ["(310, 496, 3)"] and peak < 100


def test_a_stream_longer_than_its_picture_is_not_unpacked():
    _, peak = asked(unpacks_to_more())
    assert peak < MOST_MB


@pytest.mark.parametrize(
    "exif",
    [
        b"Exif\0\0",
        b"Exif\0\0II*\0\xff\xff\xff\xff",
        b"Exif\0\0" + tiff((274, 3, 1, 99), (0x8769, 4, 1, 8)),  # the shot's directory is this one itself
        b"Exif\0\0" + tiff((274, 2, 0xFFFFFFF0, 8)),
    ],
)
def test_malformed_exif_does_not_refuse_the_picture(exif):
    """What the camera wrote beside the picture may be rubbish; the picture is still one."""
    said, peak = asked(saved(NOISE, "JPEG", exif=exif), "print(reading.clean(data).info.exif_orientation)")
    assert said == ["1"] and peak < MOST_MB
