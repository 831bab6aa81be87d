"""Measure A to D of one outlined lesion, with units, uncertainty and how each came about."""

from __future__ import annotations

import math

import numpy as np

from lesions.analysis.measures import asymmetry, border, colours, fractal, repeatability
from lesions.analysis.picture import binary, contour, light
from lesions.analysis.picture.contour import Ring
from lesions.analysis.picture.light import Mask
from lesions.analysis.picture.prepare import Prepared
from lesions.analysis.types import Measure, Message, Scale

_SIZES = (("area", 2), ("perimeter", 1), ("feret", 1))
_SHAPES = (
    ("asymmetry_shape", "ratio"),
    ("asymmetry_colour", "ΔE00"),
    ("asymmetry_structure", "ratio"),
    ("asymmetry_axes", "axes"),
    ("border_abrupt", "eighths"),
    ("border_dimension", "ratio"),
    ("solidity", "ratio"),
    ("compactness", "ratio"),
    ("colours", "colours"),
    *((f"colour_{name}", "share") for name in colours.NAMES),
)
# What the sentence of a method names beside its code.
_LIMITS: dict[str, dict[str, float | str]] = {
    "asymmetry_axes": {
        "shape": asymmetry.SHAPE_LIMIT,
        "colour": asymmetry.COLOUR_LIMIT,
        "structure": asymmetry.STRUCTURE_LIMIT,
    },
    "border_abrupt": {"ramp": border.ABRUPT_RAMP},
    "colours": {"least": f"{colours.LEAST_SHARE:.0%}"},
}


def all_of(
    ready: Prepared, ring: Ring | None, mask: Mask | None, scale: Scale | None, by: str
) -> tuple[Measure, ...]:
    """Measure an outlined lesion; without an outline every value is None with the reason.

    Parameters
    ----------
    ready : Prepared
        The picture.
    ring : float (N, 2) or None
        Border in working pixels.
    mask : bool (H, W) or None
        The pixels within it; None where it holds no pixel's centre.
    scale : Scale or None
        Of the full picture; millimetres stay None without it, pixels are always given.
    by : str
        Who found or drew the border: "person", "network", or why the vote had to.
    """
    if ring is None:
        missing = Message("no_outline")
        sizes = [Measure(f"{n}{s}", None, _unit(u, p), None, missing) for n, p in _SIZES for s, u in _UNITS]
        return *sizes, *(Measure(name, None, unit, None, missing) for name, unit in _SHAPES)
    return *_sizes(ready.to_full(ring), scale, by), *_shapes(ready, ring, mask)


_UNITS = (("", "mm"), ("_px", "px"))


def _unit(unit: str, power: int) -> str:
    return unit if power == 1 else f"{unit}²"


def _sizes(full: Ring, scale: Scale | None, by: str) -> list[Measure]:
    found = {"area": contour.area(full), "perimeter": contour.perimeter(full), "feret": contour.feret(full)}
    out: list[Measure] = []
    for name, power in _SIZES:
        pixels, how = found[name], {"by": by}
        spread = repeatability.sem(name, pixels)
        if scale is None:
            out.append(Measure(name, None, _unit("mm", power), None, Message("no_scale")))
        else:
            value = pixels * scale.mm_per_px**power
            unsure = value * math.hypot(spread / pixels, power * scale.rel_uncertainty)
            out.append(
                Measure(
                    name,
                    _short(value),
                    _unit("mm", power),
                    _short(unsure),
                    Message(name, how | {"scale": scale.origin}),
                )
            )
        out.append(
            Measure(f"{name}_px", _short(pixels), _unit("px", power), _short(spread), Message(name, how))
        )
    return out


def _shapes(ready: Prepared, ring: Ring, mask: Mask | None) -> list[Measure]:
    if mask is None or binary.count(mask) < 50:
        return [Measure(n, None, u, None, Message("too_few_pixels")) for n, u in _SHAPES]
    fold = asymmetry.measure(ready.lab, mask)
    skin = mask & ~ready.hairs
    share = colours.shares(ready.density, skin if skin.any() else mask)
    values: dict[str, float] = {
        "asymmetry_shape": fold.shape,
        "asymmetry_colour": fold.colour,
        "asymmetry_structure": fold.structure,
        "asymmetry_axes": fold.axes,
        "border_abrupt": border.abrupt_sectors(light.grey(ready.density), ring),
        "border_dimension": fractal.dimension(ring),
        "solidity": contour.solidity(ring),
        "compactness": contour.compactness(ring),
        "colours": sum(part >= colours.LEAST_SHARE for part in share.values()),
        **{f"colour_{name}": part for name, part in share.items()},
    }
    return [
        Measure(n, _short(values[n]), u, _short(repeatability.sem(n, values[n])), _how(n)) for n, u in _SHAPES
    ]


def _how(name: str) -> Message:
    return Message("colour") if name.startswith("colour_") else Message(name, dict(_LIMITS.get(name, {})))


def _short(value: float) -> float:
    """Six significant digits: the rest would be noise of the machine."""
    return float(f"{np.float64(value):.6g}")
