"""Write the answers of the core as sentences for a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from lesions.analysis import wording
from lesions.analysis.compare import growth
from lesions.analysis.types import Comparison, Delta, Measure, Measurement


def of_measurement(result: Measurement) -> Iterator[str]:
    """Yield one line for each thing measured, doubted or judged."""
    yield f"Picture of {result.width} x {result.height} pixels, measured by version {result.version}."
    yield from (f"Doubt: {wording.doubt(each)}" for each in result.doubt)
    if result.outline is None:
        yield "No outline."
    else:
        by = "by a person" if result.outline.drawn_by == "person" else "automatically"
        yield f"Outline of {len(result.outline.points)} points, drawn {by}."
    yield from (_measure(m) for m in result.measures)
    yield from (f"{q.name.capitalize()}: {wording.quality(q)}" for q in result.quality)


def of_comparison(result: Comparison) -> Iterator[str]:
    """Yield how the two pictures lie to each other, each delta, how the outline grew, and each changed region."""
    laid = result.registration
    if laid.aligned:
        yield f"The pictures align by the {laid.rests_on} around the lesion, {laid.residual_px:.1f} pixels left over."
    else:
        yield "The pictures do not align."
    yield from (wording.fill(reason) for reason in laid.reasons)
    yield from (_delta(d) for d in result.deltas)
    grew = growth.shape(result)
    if grew is not None:
        yield f"The growth is {grew}."
    yield from (f"Region {_words(r.kind).lower()}: {r.area:g} {r.unit}." for r in result.regions)


def _delta(d: Delta) -> str:
    if d.delta is None:
        return f"{_words(d.name)}: no change can be given."
    beyond = "beyond" if d.beyond else "within"
    return (
        f"{_words(d.name)}: {d.earlier:g} to {d.later:g} {d.unit}, change {d.delta:+.3g}, "
        f"{beyond} the smallest detectable {d.smallest_detectable:.2g}."
    )


def _measure(m: Measure) -> str:
    how = wording.method(m.method)
    if m.value is None:
        return f"{_words(m.name)}: {how}."
    unsure = ", outline in doubt" if m.doubtful else ""
    return f"{_words(m.name)}: {m.value:g} {m.unit}, uncertainty {m.uncertainty:.2g}{unsure} ({how})."


def _words(key: str) -> str:
    return key.replace("_", " ").capitalize()
