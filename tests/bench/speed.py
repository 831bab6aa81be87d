"""Milliseconds of one core by stage beside a full decode of the same file, memory of a process, gain of a second."""

import io
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
from PIL import Image

from lesions.analysis import pipeline
from lesions.analysis.drawing.phantom import draw
from lesions.analysis.measures import measures
from lesions.analysis.outline import finders, learned, vote
from lesions.analysis.picture import hair, light, quality, reading, ruler, surroundings
from tests.bench.drawn import jpeg, lesions
from tests.bench.table import row

STAGES = (
    (reading, "load"),
    (surroundings, "find_surroundings"),
    (light, "even"),
    (hair, "find_hair"),
    (hair, "close_over"),
    (vote, "find_outline"),
    (learned, "look"),
    (finders, "border"),
    (ruler, "scale"),
    (measures, "all_of"),
    (quality, "assess"),
)


def timed(data, rounds=7):
    """Least milliseconds of one core for a full decode, the whole answer and each stage, in one interleaved run."""
    spent = {}

    def wrap(module, name):
        plain = getattr(module, name)

        def call(*args, **more):
            start = time.process_time()
            try:
                return plain(*args, **more)
            finally:
                spent[module, name] = spent.get((module, name), 0) + time.process_time() - start

        return plain, call

    wrapped = {key: wrap(*key) for key in STAGES}
    for key, (_, call) in wrapped.items():
        setattr(*key, call)
    best = {}
    pipeline.measure(data)
    for _ in range(rounds):
        spent.clear()
        start = time.process_time()
        Image.open(io.BytesIO(data)).load()
        middle = time.process_time()
        pipeline.measure(data)
        spent["decode"], spent["measure"] = middle - start, time.process_time() - middle
        spent["more"] = spent["measure"] + spent[learned, "look"] * len(learned.MORE_LOOKS)
        best = {key: min(value, best.get(key, 9)) for key, value in spent.items()}
    for key, (plain, _) in wrapped.items():
        setattr(*key, plain)
    return {key: value * 1000 for key, value in best.items()}


def fresh_decode(data):
    """Least milliseconds of a full decode in a process that has no memory lying ready, as a program that starts."""
    code = (
        "import io, sys, time; from PIL import Image; data = sys.stdin.buffer.read(); least = 9\n"
        "for _ in range(9):\n"
        "    start = time.process_time(); Image.open(io.BytesIO(data)).load()\n"
        "    least = min(least, time.process_time() - start)\n"
        "print(least)"
    )
    done = subprocess.run([sys.executable, "-c", code], input=data, capture_output=True, check=True)
    return float(done.stdout) * 1000


def speed(what, data):
    best, fresh = timed(data), fresh_decode(data)
    decode = f"{best['decode']:.0f}, in a process of its own {fresh:.0f}"
    row(f"{what}, {len(data) / 1e6:.1f} MB: full Pillow decode, ms", decode)
    for what, key in (
        ("one look of the pair, as where both agree", "measure"),
        ("all four looks, eight passes, as where they disagree", "more"),
    ):
        times = f"{best[key] / best['decode']:.2f} / {best[key] / fresh:.2f} x decode"
        row(f"  measure, {what}, ms", f"{best[key]:.0f} = {times}")
    for module, name in STAGES:
        row(f"    {module.__name__.rsplit('.', 1)[-1]}.{name}", f"{best.get((module, name), 0):.1f}")


def field_of_18_mm(width):
    """Drawn at this width, not enlarged: an enlarged copy has no detail to decode or to measure."""
    spec = replace(next(lesions(1)), width=width, height=width * 3 // 4, mm_per_px=18 / width)
    return draw(spec).image


def grainy(image):
    """With the noise of a sensor, which is what makes a camera's file large."""
    noise = np.random.default_rng(1).normal(0, 4, (image.height, image.width, 3))
    return Image.fromarray(np.clip(np.asarray(image) + noise, 0, 255).astype(np.uint8))


def memory_and_processes(data):
    code = (
        "import sys, time; from lesions.analysis import pipeline; data = sys.stdin.buffer.read(); "
        "pipeline.measure(data); start = time.perf_counter(); [pipeline.measure(data) for _ in range(10)]; "
        "print(time.perf_counter() - start, "
        "[w.split()[1] for w in open('/proc/self/status') if w.startswith('VmHWM')][0])"
    )

    def started():
        return subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE)

    def finished(children):
        with ThreadPoolExecutor(len(children)) as pool:
            answers = list(pool.map(lambda c: c.communicate(data)[0].split(), children))
        return 10 * sum(1 / float(a[0]) for a in answers), int(answers[0][1]) / 1024

    one, memory = finished([started()])
    two, _ = finished([started(), started()])
    row("peak memory of a process, MB", f"{memory:.0f}")
    row("pictures a second, one process / two, ratio", f"{one:.2f} / {two:.2f}, {two / one:.2f}")


def table():
    large = field_of_18_mm(4000)
    speed("12 MP drawn", jpeg(large))
    speed("12 MP with sensor noise", jpeg(grainy(large)))
    speed("2 MP drawn", jpeg(field_of_18_mm(1600)))
    memory_and_processes(jpeg(large))
