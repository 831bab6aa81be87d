"""The answers of the core as sentences for a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from lesions.analysis.compare import growth
from lesions.analysis.types import Comparison, Measure, Measurement


def of_measurement(result: Measurement) -> Iterator[str]:
    """Yield one line for each thing measured, doubted or judged."""
    yield f"Picture of {result.width} x {result.height} pixels, measured by version {result.version}."
    yield from (f"Doubt: {d.text}" for d in result.doubt)
    if result.outline is None:
        yield "No outline."
    else:
        by = "by a person" if result.outline.drawn_by == "person" else "automatically"
        yield f"Outline of {len(result.outline.points)} points, drawn {by}."
    yield from (_measure(m) for m in result.measures)
    yield from (f"{q.name.capitalize()}: {q.text}" for q in result.quality)


def of_comparison(result: Comparison) -> Iterator[str]:
    """Yield how the two pictures lie to each other, each delta and each changed region."""
    laid = result.registration
    if laid.aligned:
        yield f"The pictures align by the {laid.rests_on} around the lesion, {laid.residual_px:.1f} pixels left over."
    else:
        yield "The pictures do not align."
    yield from (reason.text for reason in laid.reasons)
    for d in result.deltas:
        if d.delta is None:
            yield f"{_words(d.name)}: no change can be given."
        else:
            beyond = "beyond" if d.beyond else "within"
            yield (
                f"{_words(d.name)}: {d.earlier:g} to {d.later:g} {d.unit}, change {d.delta:+.3g}, "
                f"{beyond} the smallest detectable {d.smallest_detectable:.2g}."
            )
    grew = growth.shape(result)
    if grew is not None:
        yield f"The growth is {grew}."
    yield from (f"Region {_words(r.kind).lower()}: {r.area:g} {r.unit}." for r in result.regions)


def _measure(m: Measure) -> str:
    if m.value is None:
        return f"{_words(m.name)}: {m.method}."
    unsure = ", outline in doubt" if m.doubtful else ""
    return f"{_words(m.name)}: {m.value:g} {m.unit}, uncertainty {m.uncertainty:.2g}{unsure} ({m.method})."


def _words(name: str) -> str:
    return name.replace("_", " ").capitalize()
