"""Measures the imaging core and prints a table: python -m tests.bench.imaging [pictures].

Real pictures come from the open collections beside the checkout: every second small one, and the large ones.
Speed is given as ratios within this one run, so that machines compare; the load of the machine stands beside it.
"""

import io
import os
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image

from lesions.analysis import (
    hair,
    learned,
    light,
    measures,
    outline,
    pipeline,
    quality,
    reading,
    refine,
    ruler,
    surroundings,
)
from lesions.analysis.colour import to_lab
from lesions.analysis.phantom import SKIN_TONES, Phantom, draw, grown, recaptured, with_new_patch
from lesions.analysis.types import Scale

DATA = Path(__file__).resolve().parents[3] / "shared" / "data"
SMALL, LARGE = DATA / "dermoscopy-small", DATA / "dermoscopy"


def row(what, value):
    print(f"{what:<72}{value}")


def jpeg(image):
    out = io.BytesIO()
    image.save(out, "JPEG", quality=93)
    return out.getvalue()


def judged(name):
    """Jaccard with the expert, doubt and skin tone of one open picture."""
    from skimage.draw import polygon2mask

    truth = np.array(Image.open(name.with_name(f"{name.stem}_mask.png")).convert("L")) > 127
    result = pipeline.measure(name.read_bytes())
    points = result.outline.points if result.outline else [(0, 0)] * 3
    found = polygon2mask(truth.shape, np.array(points)[:, ::-1] - 0.5)
    score = (found & truth).sum() / max(1, (found | truth).sum())
    return score, bool(result.doubt), tone(np.array(Image.open(name).convert("RGB")), truth)


def tone(pixels, truth):
    """ITA class of the skin outside the lesion (Chardon 1991)."""
    skin = np.median(to_lab(pixels[~truth][::7]), axis=0)
    ita = np.degrees(np.arctan2(skin[0] - 50, skin[2]))
    names = ("very light", "light", "intermediate", "tan", "brown", "dark")
    return names[int(sum(ita <= limit for limit in (55, 41, 28, 10, -30)))]


def real_pictures(folder, most, way):
    names = sorted(folder.glob("*.jpg"))[1::2][:most] if most else sorted(folder.glob("*.jpg"))
    if not names:
        row("open pictures", f"none at {folder}")
        return
    results = [judged(name) for name in names]
    scores, doubted = np.array([r[0] for r in results]), np.array([r[1] for r in results])
    quality_rows(f"{folder.name}, {way}", scores, doubted)
    for group in sorted({r[2] for r in results}):
        part = np.array([r[2] == group for r in results])
        row(f"  skin {group}: pictures, mean / median", f"{part.sum()}, {shown(scores[part])}")
    worst = sorted(zip(scores, names, strict=True))[:5]
    row("  worst five", ", ".join(f"{n.stem[-7:]} {s:.2f}" for s, n in worst))


def shown(scores):
    return f"{scores.mean():.3f} / {np.median(scores):.3f}"


def quality_rows(what, scores, doubted):
    bad, good = scores < 0.65, scores >= 0.8
    row(f"{what}: {len(scores)} pictures, Jaccard mean / median", shown(scores))
    row(
        "  under 0.65: how many, share doubted", f"{bad.sum()}, {doubted[bad].mean() if bad.any() else 1:.3f}"
    )
    row(
        "  over 0.80: how many, share doubted",
        f"{good.sum()}, {doubted[good].mean() if good.any() else 0:.3f}",
    )


def lesions(count):
    rng, tones = np.random.default_rng(5), list(SKIN_TONES)
    for i in range(count):
        yield Phantom(
            100 + i,
            skin_tone=tones[i % 6],
            axes_mm=(float(rng.uniform(3.5, 8)), float(rng.uniform(3, 6))),
            irregularity=float(rng.uniform(0.1, 0.8)),
            colours=("light_brown", "dark_brown", "black")[: 2 + i % 2],
            hair=float(rng.uniform(0, 0.8)),
            angle=float(rng.uniform(0, 180)),
        )


def taken(spec):
    picture = draw(spec)
    data = jpeg(picture.image)
    return data, pipeline.measure(data, scale=Scale(spec.mm_per_px, "device", 0.005)), picture.truth


def drawn_pictures(count):
    errors, changes, seconds = [], {}, []
    for spec in lesions(count):
        before, first, truth = taken(spec)
        errors.append(
            [
                abs((first.value(n) or 9) / truth[t] - 1)
                for n, t in (("area", "area_mm2"), ("feret", "feret_mm"))
            ]
        )
        later = {
            "same": spec,
            "grown 10 %": grown(spec, 1.1),
            "bulged 10 %": grown(spec, 1.1, one_sided=True),
            "new patch": with_new_patch(spec),
        }
        for kind, other in later.items():
            after, second, _ = taken(recaptured(other, 3 + len(kind)))
            start = time.perf_counter()
            result = pipeline.compare(before, after, earlier_measurement=first, later_measurement=second)
            seconds.append(time.perf_counter() - start)
            changes.setdefault(kind, []).append(result)
    row("drawn: area, Feret error, median", " / ".join(f"{e:.2%}" for e in np.median(errors, axis=0)))
    report(changes)
    row("comparison, median seconds", f"{np.median(seconds):.2f}")


def report(changes):
    for kind, results in changes.items():
        areas = [next(d for d in r.deltas if d.name == "area") for r in results]
        shown = {
            k: np.mean([any(g.kind == k for g in r.regions) for r in results])
            for k in ("grown", "new_colour")
        }
        aligned, beyond = (
            np.mean([r.registration.aligned for r in results]),
            np.mean([bool(d.beyond) for d in areas]),
        )
        text = f"{aligned:.2f} / {beyond:.2f} / {shown['grown']:.2f} / {shown['new_colour']:.2f}"
        row(f"{kind}: aligned / area beyond / grown shown / new colour shown", text)
    for name in [d.name for d in changes["same"][0].deltas]:
        found = [d for r in changes["same"] for d in r.deltas if d.name == name and d.delta is not None]
        if found:
            sem = np.sqrt(np.mean([d.delta**2 for d in found]) / 2)
            mean = np.mean([(d.earlier + d.later) / 2 for d in found])
            row(f"  SEM of {name}", f"{sem:.4g} ({sem / mean if mean else 0:.1%} of the mean)")


STAGES = (
    (reading, "load"),
    (surroundings, "find"),
    (light, "even"),
    (hair, "find"),
    (hair, "close_over"),
    (outline, "find"),
    (learned, "probability"),
    (learned, "outlines"),
    (refine, "border"),
    (ruler, "scale"),
    (measures, "all_of"),
    (quality, "assess"),
)


def timed(data, rounds=7):
    """Least milliseconds of a full decode, of the whole answer and of each stage, in one interleaved run."""
    spent = {}

    def wrap(module, name):
        plain = getattr(module, name)

        def call(*args, **more):
            start = time.perf_counter()
            try:
                return plain(*args, **more)
            finally:
                spent[module, name] = spent.get((module, name), 0) + time.perf_counter() - start

        return plain, call

    wrapped = {key: wrap(*key) for key in STAGES}
    for key, (_, call) in wrapped.items():
        setattr(*key, call)
    best = {}
    pipeline.measure(data)
    for _ in range(rounds):
        spent.clear()
        start = time.perf_counter()
        Image.open(io.BytesIO(data)).load()
        middle = time.perf_counter()
        pipeline.measure(data)
        spent["decode"], spent["measure"] = middle - start, time.perf_counter() - middle
        spent["one pass"] = spent["measure"] - spent.get((learned, "outlines"), 0)
        best = {key: min(value, best.get(key, 9)) for key, value in spent.items()}
    for key, (plain, _) in wrapped.items():
        setattr(*key, plain)
    return {key: value * 1000 for key, value in best.items()}


def speed(what, data):
    best = timed(data)
    row(f"{what}, {len(data) / 1e6:.1f} MB: full Pillow decode, ms", f"{best['decode']:.0f}")
    with_one = f"{best['one pass']:.0f} = {best['one pass'] / best['decode']:.2f} x decode"
    row("  measure with one network pass, ms", with_one)
    row("  measure with the eight passes for doubt, ms", f"{best['measure']:.0f}")
    for module, name in STAGES:
        row(f"    {module.__name__.rsplit('.', 1)[-1]}.{name}", f"{best.get((module, name), 0):.1f}")


def field_of_18_mm(width):
    """Drawn at this width, not enlarged: an enlarged copy has no detail to decode or to measure."""
    spec = replace(next(lesions(1)), width=width, height=width * 3 // 4, mm_per_px=18 / width)
    return draw(spec).image


def load():
    """What else the machine did: processes that wanted a core in the last minute and five, of how many cores."""
    minute, five, _ = os.getloadavg()
    row("load of the machine over 1 / 5 minutes, cores", f"{minute:.1f} / {five:.1f}, {os.cpu_count()}")


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


if __name__ == "__main__":
    amount = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    load()
    large = field_of_18_mm(4000)
    speed("12 MP drawn", jpeg(large))
    speed("12 MP with sensor noise", jpeg(grainy(large)))
    speed("2 MP drawn", jpeg(field_of_18_mm(1600)))
    memory_and_processes(jpeg(large))
    row("the learned finder", learned.available() or "works")
    real_pictures(SMALL, amount, "network and vote")
    real_pictures(LARGE, 0, "network and vote")
    plain, learned.available = learned.available, lambda: "switched off for this row"
    real_pictures(SMALL, amount, "vote alone")
    learned.available = plain
    drawn_pictures(max(2, amount // 8))
    load()
