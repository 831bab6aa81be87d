"""Milliseconds of one core by stage beside a full decode of the same file, memory of a process, gain of a second.

Run by itself it reads a picture from stdin and answers the seconds of each round as JSON.
"""

import io
import json
import os
import subprocess
import sys
import time
from collections import defaultdict
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from statistics import median

import numpy as np
from PIL import Image

from lesions.analysis import pipeline
from lesions.analysis.drawing.phantom import draw, recaptured
from lesions.analysis.measures import measures
from lesions.analysis.outline import finders, learned, vote
from lesions.analysis.picture import hair, light, prepare, quality, reading, ruler, surroundings
from tests.bench.drawn import jpeg, lesions, taken
from tests.bench.table import row

STAGES = (
    (reading, "load"),
    (surroundings, "find_surroundings"),
    (light, "even"),
    (hair, "find_hair"),
    (hair, "close_over"),
    (prepare, "to_lab"),
    (vote, "find_outline"),
    (learned, "look"),
    (finders, "border"),
    (ruler, "scale"),
    (measures, "all_of"),
    (quality, "assess"),
)


ROUNDS = 15
# With these the memory of a picture, once had, lies ready for the next: a decode of 12 megapixels else spends up to half
# its time on asking the system for it, and whether it does depends on what else the process did before.
READY = {"MALLOC_TRIM_THRESHOLD_": str(2**30), "MALLOC_MMAP_THRESHOLD_": str(2**30)}
ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}


def timed(data):
    """Seconds of one core by round for a full decode, an answer with one look and with all, and each stage, in turn."""
    spent = defaultdict(float)
    for module, name in STAGES:
        setattr(
            module,
            name,
            counted(getattr(module, name), f"{module.__name__.rsplit('.', 1)[-1]}.{name}", spent),
        )
    rounds = defaultdict(list)
    for turn in range(ROUNDS + 1):
        spent.clear()
        counted(lambda: Image.open(io.BytesIO(data)).load(), "decode", spent)()
        learned.ALIKE = 1.01
        counted(pipeline.measure, "every look", spent)(data)
        stages = dict(spent)
        learned.ALIKE = 0.0
        counted(pipeline.measure, "one look", spent)(data)
        for key, value in spent.items():
            if turn:  # the first loads the network
                rounds[key].append(value - (stages.get(key, 0) if "." in key else 0))
    return rounds


def counted(plain, key, spent):
    """The same function; its processor time is added up under its key."""

    def call(*args, **more):
        start = time.process_time()
        try:
            return plain(*args, **more)
        finally:
            spent[key] += time.process_time() - start

    return call


def fresh_decode(data):
    """Seconds of a full decode, round by round, in a process that gives its memory back, as a program that starts."""
    code = (
        "import io, json, sys, time; from PIL import Image; data = sys.stdin.buffer.read(); spent = []\n"
        f"for _ in range({ROUNDS}):\n"
        "    start = time.process_time(); Image.open(io.BytesIO(data)).load()\n"
        "    spent.append(time.process_time() - start)\n"
        "print(json.dumps(spent))"
    )
    return asked([sys.executable, "-c", code], data, {})


def asked(command, data, environment):
    done = subprocess.run(
        command, input=data, capture_output=True, check=True, env=os.environ | ONE_THREAD | environment
    )
    return json.loads(done.stdout)


def speed(what, data):
    """Least / median of the rounds; each ratio is of least to least / of median to median."""
    warm = asked([sys.executable, "-m", "tests.bench.speed"], data, READY)
    fresh = fresh_decode(data)
    row(f"{what}, {len(data) / 1e6:.1f} MB: full Pillow decode, memory ready, ms", shown(warm["decode"]))
    row("  the same in a process of its own", shown(fresh))
    for name, key in (
        ("one look of the pair, as where both agree", "one look"),
        ("all four looks, eight passes, as where they disagree", "every look"),
    ):
        row(f"  measure, {name}, ms", shown(warm[key]))
        row("    x decode with memory ready", ratio(warm[key], warm["decode"]))
        row("    x decode in a process of its own", ratio(warm[key], fresh))
    for key in [k for k in warm if "." in k]:
        row(f"    {key}", shown(warm[key]))


def shown(seconds):
    return f"{min(seconds) * 1000:.1f} / {median(seconds) * 1000:.1f}"


def ratio(one, other):
    return f"{min(one) / min(other):.2f} / {median(one) / median(other):.2f}"


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


def comparing():
    """Processor time of one comparison of two drawn pictures, both measured before."""
    spec = next(lesions(1))
    (one, first, _), (two, second, _) = taken(spec), taken(recaptured(spec, 7))
    spent = defaultdict(float)
    rounds = []
    for _ in range(ROUNDS):
        spent.clear()
        counted(pipeline.compare, "pair", spent)(
            one, two, earlier_measurement=first, later_measurement=second
        )
        rounds.append(spent["pair"])
    row("comparing two drawn pictures, ms", shown(rounds))


def table():
    large = field_of_18_mm(4000)
    speed("12 MP drawn", jpeg(large))
    speed("12 MP with sensor noise", jpeg(grainy(large)))
    speed("2 MP drawn", jpeg(field_of_18_mm(1600)))
    comparing()
    memory_and_processes(jpeg(large))


if __name__ == "__main__":
    print(json.dumps(timed(sys.stdin.buffer.read())))
