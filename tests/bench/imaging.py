"""Measures the imaging core and prints a table: python -m tests.bench.imaging [pictures].

Real pictures are every second one of the open collection beside the checkout (those not used for choosing limits).
Speed is given as ratios within this one run, so that machines compare.
"""

import io
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image

from lesions.analysis import pipeline
from lesions.analysis.phantom import SKIN_TONES, Phantom, draw, grown, recaptured, with_new_patch
from lesions.analysis.types import Scale

REAL = Path(__file__).resolve().parents[3] / "shared" / "data" / "dermoscopy-small"


def row(what, value):
    print(f"{what:<66}{value}")


def jpeg(image):
    out = io.BytesIO()
    image.save(out, "JPEG", quality=93)
    return out.getvalue()


def real_pictures(most):
    from skimage.draw import polygon2mask

    names = sorted(REAL.glob("*.jpg"))[1::2][:most]
    if not names:
        row("open pictures", f"none at {REAL}")
        return
    scores, doubted = [], []
    for name in names:
        truth = np.array(Image.open(name.with_name(f"{name.stem}_mask.png")).convert("L")) > 127
        result = pipeline.measure(name.read_bytes())
        points = result.outline.points if result.outline else [(0, 0)] * 3
        found = polygon2mask(truth.shape, np.array(points)[:, ::-1] - 0.5)
        scores.append((found & truth).sum() / max(1, (found | truth).sum()))
        doubted.append(bool(result.doubt))
    scores, doubted = np.array(scores), np.array(doubted)
    row(
        f"Jaccard with experts, {len(scores)} open pictures, mean / median",
        f"{scores.mean():.3f} / {np.median(scores):.3f}",
    )
    row(
        "outlines under 0.65: how many / share doubted",
        f"{(scores < 0.65).sum()} / {doubted[scores < 0.65].mean():.2f}",
    )
    row(
        "outlines over 0.80: how many / share doubted",
        f"{(scores >= 0.8).sum()} / {doubted[scores >= 0.8].mean():.2f}",
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


def twelve_megapixels():
    image = draw(replace(next(lesions(1)), width=4000, height=3000, mm_per_px=0.0045)).image
    data, best = jpeg(image), {"decode": 9.0, "measure": 9.0}
    for _ in range(5):
        for what, call in (
            ("decode", lambda: Image.open(io.BytesIO(data)).load()),
            ("measure", lambda: pipeline.measure(data)),
        ):
            start = time.perf_counter()
            call()
            best[what] = min(best[what], time.perf_counter() - start)
    row("12 MP: full Pillow decode, measure, seconds", f"{best['decode']:.3f} / {best['measure']:.3f}")
    row("12 MP: measure over full decode", f"{best['measure'] / best['decode']:.2f}")
    code = (
        "import sys; from lesions.analysis import pipeline; pipeline.measure(sys.stdin.buffer.read()); "
        "print([w.split()[1] for w in open('/proc/self/status') if w.startswith('VmHWM')][0])"
    )
    done = subprocess.run([sys.executable, "-c", code], input=data, check=True, capture_output=True)
    row("12 MP: peak memory of a process, MB", f"{int(done.stdout) / 1024:.0f}")


if __name__ == "__main__":
    amount = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    real_pictures(amount)
    drawn_pictures(max(2, amount // 8))
    twelve_megapixels()
