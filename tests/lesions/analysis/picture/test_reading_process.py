"""A picture is read in a process of its own: same answer, bounded memory and time, a sentence when it dies."""

import os
import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from threading import Lock
from time import sleep

import numpy as np
import pytest
from PIL import Image

from lesions.analysis.picture import reading, reading_process
from lesions.analysis.picture.allowance import USUAL, UnreadablePicture
from tests.lesions.analysis.picture.crafted import even_png, saved, tiff, webp

MB = 1024 * 1024
linux = pytest.mark.skipif(
    not sys.platform.startswith("linux"), reason="only Linux limits a process's memory"
)


def camera():
    exif = Image.Exif()
    exif[274] = 6
    exif.get_ifd(0x8769)[36867] = "2024:03:05 14:30:00"
    exif.get_ifd(0x8769)[36881] = "+02:00"
    noise = np.random.default_rng(5).integers(0, 255, (300, 400, 3), dtype=np.uint8)
    return saved(Image.fromarray(noise), "JPEG", exif=exif)


def test_it_answers_what_the_core_answers():
    assert reading_process.clean(camera()) == reading.clean(camera())
    assert reading_process.clean(camera()).info.taken_at.utcoffset().seconds == 7200


def test_a_refusal_comes_back_as_its_sentence():
    for data in (b"", b"no picture", camera()[:9000]):
        with pytest.raises(UnreadablePicture) as own:
            reading.clean(data)
        with pytest.raises(UnreadablePicture) as told:
            reading_process.clean(data)
        assert str(told.value) == str(own.value)


@pytest.mark.parametrize("width", [None, 100])
def test_a_dear_picture_is_loaded_there_with_the_same_pixels(width, monkeypatch):
    here = reading.load(camera(), working_width=width)
    monkeypatch.setattr(reading_process, "_IN_PROCESS", 0)
    monkeypatch.setattr(reading, "load", lambda *_, **__: pytest.fail("decoded in this process"))
    there = reading_process.load(camera(), working_width=width)
    assert (there.pixels == here.pixels).all() and there.pixels.flags.writeable
    assert (there.zoom, there.full_width, there.full_height) == (here.zoom, here.full_width, here.full_height)


def test_a_usual_picture_is_loaded_without_a_further_process(monkeypatch):
    monkeypatch.setattr(subprocess, "run", lambda *_, **__: pytest.fail("started a process"))
    assert reading_process.load(camera(), working_width=100).pixels.shape == (100, 75, 3)


@linux
@pytest.mark.parametrize(
    ("data", "memory"),
    [
        (lambda: even_png(6_000, 4_000, 16, 6, 4), 64 * MB),
        (lambda: saved(Image.new("RGB", (3_000, 2_000)), "JPEG", progressive=True), 24 * MB),
        (lambda: saved(Image.new("RGB", (3_000, 2_000)), "TIFF", compression="tiff_lzw"), 24 * MB),
    ],
)
def test_too_much_memory_ends_in_a_sentence(data, memory):
    small = replace(USUAL, memory=memory)
    with pytest.raises(UnreadablePicture) as refused:
        reading_process.clean(data(), allowance=small)
    assert refused.value.message.code == "too_dear"
    assert reading_process.clean(data()).jpeg


@linux
def test_a_directory_that_asks_for_gigabytes_gets_none():
    """TIFF 6.0: one strip that claims to hold 3 GB, in a file of some bytes."""
    entries = [(256, 4, 1, 6000), (257, 4, 1, 6000), (258, 3, 1, 8), (259, 3, 1, 5), (262, 3, 1, 1)]
    data = tiff(*entries, (273, 4, 1, 150), (278, 4, 1, 6000), (279, 4, 1, 3_000_000_000))
    with pytest.raises(UnreadablePicture, match=r"^The picture file is damaged|^Reading this picture takes"):
        reading_process.clean(data + bytes(100))


def test_too_much_time_ends_in_a_sentence():
    with pytest.raises(UnreadablePicture) as refused:
        reading_process.clean(camera(), allowance=replace(USUAL, seconds=0.001))
    assert refused.value.message.code == "too_long"


@linux
def test_the_process_ends_itself_when_its_time_is_over():
    """Also when nobody waits for it any more: the kernel counts, not the one that asked."""
    code = (
        "from lesions.analysis.picture import reading_process; from lesions.analysis.picture.allowance import Allowance;"
        "reading_process._bind(Allowance(seconds=1))\nwhile True: pass"
    )
    done = subprocess.run([sys.executable, "-c", code], timeout=30)
    assert -done.returncode in (signal.SIGXCPU, signal.SIGKILL)


@pytest.mark.parametrize(
    ("status", "code"),
    [
        (-9, "broken_off"),
        (-11, "broken_off"),
        (1, "broken_off"),
        (-signal.SIGXCPU, "too_long"),
    ],
)
def test_a_process_that_dies_says_so_by_its_status(status, code, caplog):
    died = subprocess.CompletedProcess([], status, b"", b"Traceback: secret words of a library")
    with pytest.raises(UnreadablePicture) as refused:
        reading_process._understood(died)
    assert refused.value.message.code == code and "library" in caplog.text


def test_what_reads_hostile_bytes_knows_no_secret(monkeypatch):
    asked = {}

    def run(command, **more):
        asked.update(more, command=command)
        return subprocess.CompletedProcess(command, 0, b'{"refused": "damaged", "params": {}}\n', b"")

    monkeypatch.setenv("SECRET_KEY", "s3cret")
    monkeypatch.setenv("DATABASE_URL", "postgres://u:s3cret@h/d")
    monkeypatch.setattr(subprocess, "run", run)
    with pytest.raises(UnreadablePicture, match="damaged"):
        reading_process.clean(b"")
    assert "s3cret" not in str(asked) and asked["timeout"] == USUAL.seconds


THREE = """
import resource, sys
from concurrent.futures import ThreadPoolExecutor
from lesions.analysis.picture import reading_process
data = sys.stdin.buffer.read()
with ThreadPoolExecutor(3) as pool:
    print([len(found.jpeg) > 0 for found in pool.map(reading_process.clean, [data] * 3)])
own = open("/proc/self/status").read().split("VmHWM:")[1].split()[0]
print(int(own) // 1024, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024)
"""


@linux
@pytest.mark.parametrize("make", [lambda: webp(4_800, 4_893), lambda: even_png(8_000, 5_000, 16, 6, 4)])
def test_three_at_once_of_the_dearest_that_are_allowed(make):
    done = subprocess.run([sys.executable, "-c", THREE], input=make(), capture_output=True, check=True)
    answers, memory = done.stdout.decode().splitlines()
    own, largest = map(int, memory.split())
    assert answers == "[True, True, True]"
    assert own < 64 and largest < USUAL.memory // MB
    sys.stdout.write(f"asking process {own} MB, largest reading one {largest} MB\n")


def test_no_more_than_two_read_at_once(monkeypatch):
    """Threads of a web server take turns: the memory of two processes is enough."""
    running, most, lock = [], [], Lock()

    def run(command, **more):
        with lock:
            running.append(1)
            most.append(len(running))
        sleep(0.02)
        with lock:
            running.pop()
        return subprocess.CompletedProcess(command, 0, b'{"refused": "damaged", "params": {}}\n', b"")

    monkeypatch.setattr(subprocess, "run", run)
    with ThreadPoolExecutor(6) as pool:
        asked = [pool.submit(reading_process.clean, b"") for _ in range(6)]
        faults = [each.exception() for each in asked]
    assert len(most) == 6 and max(most) <= 2 and all(isinstance(f, UnreadablePicture) for f in faults)


def test_it_starts_wherever_the_program_was_started(tmp_path, monkeypatch):
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    assert reading_process.clean(camera()).info.format == "JPEG"
    assert os.listdir() == []
