"""Drawn lesions of known size: error, recaptures, what changed and what did not, standard errors."""

import io
import time

import numpy as np

from lesions.analysis import pipeline
from lesions.analysis.drawing.phantom import SKIN_TONES, Phantom, draw, grown, recaptured, with_new_patch
from lesions.analysis.types import Scale
from tests.bench.table import row


def jpeg(image):
    out = io.BytesIO()
    image.save(out, "JPEG", quality=93)
    return out.getvalue()


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


def table(count):
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
