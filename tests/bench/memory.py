"""What the dearest pictures cost that are just allowed: python -m tests.bench.memory

Peak of the process that reads (the bar: the memory it is allowed, 512 MB), of the one that asks, and seconds in all.
Each file is made and asked for in fresh processes: a started process inherits the peak of the one that started it.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

from lesions.analysis.picture.allowance import USUAL
from tests.bench.table import load, row
from tests.lesions.analysis.picture.crafted import even_png, saved, webp

ASK = """
import resource, sys, time
from pathlib import Path
from lesions.analysis.picture import reading_process
data, start = Path(sys.argv[1]).read_bytes(), time.perf_counter()
try:
    if sys.argv[2] == "file":
        reading_process.clean(data)
    else:
        reading_process.load(data, working_width=496)
    said = "taken"
except ValueError as refusal:
    said = str(refusal)
spent = time.perf_counter() - start
own = int(open("/proc/self/status").read().split("VmHWM:")[1].split()[0]) // 1024
largest = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024
print(f"{largest} / {own} MB, {spent:.1f} s, {said}")
"""


def even(mode, width, height, kind, **more):
    return lambda: saved(Image.new(mode, (width, height)), kind, **more)


def turned():
    exif = Image.Exif()
    exif[274] = 6
    return saved(Image.new("RGBA", (8_000, 5_000)), "TIFF", exif=exif, compression="tiff_lzw")


FILES = {
    "JPEG, 80 million pixels": even("RGB", 10_000, 8_000, "JPEG"),
    "JPEG, progressive, 40 million": even("RGB", 8_000, 5_000, "JPEG", progressive=True, subsampling=0),
    "JPEG, progressive, four inks, 40 million": even("CMYK", 8_000, 5_000, "JPEG", progressive=True),
    "PNG, 16 bits, colour and clear, 40 million": lambda: even_png(8_000, 5_000, 16, 6, 4),
    "PNG, 16 bits grey, 40 million": lambda: even_png(8_000, 5_000, 16, 0, 1),
    "PNG, 1 bit, 40 million": lambda: even_png(8_000, 5_000, 1, 0, 1),
    "PNG, palette, 40 million": even("P", 8_000, 5_000, "PNG"),
    "TIFF, turned, 40 million": turned,
    "TIFF, one packed strip, 40 million": even(
        "RGBA", 8_000, 5_000, "TIFF", compression="tiff_lzw", tiffinfo={278: 5_000}
    ),
    "TIFF, fractions, 40 million": even("F", 8_000, 5_000, "TIFF"),
    "WebP, lossless, 23 million": lambda: webp(4_800, 4_893),
    "WebP, lossy, 23 million": even("RGB", 4_800, 4_893, "WEBP"),
}


def make(name, path):
    Path(path).write_bytes(FILES[name]())


def table():
    row("allowed", f"{USUAL.memory // 1024 // 1024} MB, {USUAL.seconds} s")
    for name in FILES:
        with tempfile.NamedTemporaryFile() as file:
            subprocess.run([sys.executable, "-m", "tests.bench.memory", name, file.name], check=True)
            for what in ("file", "measure"):
                command = [sys.executable, "-c", ASK, file.name, what]
                done = subprocess.run(command, capture_output=True, text=True, check=True)
                row(f"{name}: to {what}", done.stdout.strip())


if __name__ == "__main__":
    if len(sys.argv) == 3:
        make(*sys.argv[1:])
    else:
        load()
        table()
