"""Measure A to D of one outlined lesion, with units, uncertainty and how each came about."""

from __future__ import annotations

import math

import numpy as np

from lesions.analysis.measures import asymmetry, border, colours, fractal, repeatability
from lesions.analysis.picture import contour, light
from lesions.analysis.picture.contour import Ring
from lesions.analysis.picture.prepare import Prepared
from lesions.analysis.types import Measure, Scale

NO_SCALE = "not given: the picture has no scale"
NO_OUTLINE = "not given: there is no outline"
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
_HOW = {
    "area": "shoelace area of the sub-pixel border",
    "perimeter": "length of the sub-pixel border",
    "feret": "largest distance across the sub-pixel border",
    "asymmetry_shape": "part outside its own mirror image, mean of the two best axes at right angles",
    "asymmetry_colour": "mean CIEDE2000 between mirrored halves, both axes",
    "asymmetry_structure": "difference of fine structure between mirrored halves over its sum, both axes",
    "asymmetry_axes": f"axes with shape over {asymmetry.SHAPE_LIMIT}, colour over {asymmetry.COLOUR_LIMIT} "
    f"or structure over {asymmetry.STRUCTURE_LIMIT} (limits our own, no source)",
    "border_abrupt": f"eighths with a density ramp under {border.ABRUPT_RAMP} of the equivalent diameter",
    "border_dimension": "box-counting dimension of the sub-pixel border, boxes of 1/4 to 1/24 of its extent",
    "solidity": "area over the area of the convex hull",
    "compactness": "perimeter squared over 4 pi area",
    "colours": f"of six colours, those above {colours.LEAST_SHARE:.0%} of the lesion",
}


def all_of(ready: Prepared, ring: Ring | None, scale: Scale | None, by: str) -> tuple[Measure, ...]:
    """Measure an outlined lesion; without an outline every value is None with the reason.

    Parameters
    ----------
    ready : Prepared
        The picture.
    ring : float (N, 2) or None
        Border in working pixels.
    scale : Scale or None
        Of the full picture; millimetres stay None without it, pixels are always given.
    by : str
        Who found or drew the border.
    """
    if ring is None:
        sizes = [
            Measure(f"{n}{s}", None, _unit(u, p), None, NO_OUTLINE) for n, p in _SIZES for s, u in _UNITS
        ]
        return *sizes, *(Measure(name, None, unit, None, NO_OUTLINE) for name, unit in _SHAPES)
    return *_sizes(ready.to_full(ring), scale, by), *_shapes(ready, ring)


_UNITS = (("", "mm"), ("_px", "px"))


def _unit(unit: str, power: int) -> str:
    return unit if power == 1 else f"{unit}²"


def _sizes(full: Ring, scale: Scale | None, by: str) -> list[Measure]:
    found = {"area": contour.area(full), "perimeter": contour.perimeter(full), "feret": contour.feret(full)}
    out: list[Measure] = []
    for name, power in _SIZES:
        pixels, how = found[name], f"{_HOW[name]}, found or drawn by {by}"
        spread = repeatability.sem(name, pixels)
        if scale is None:
            out.append(Measure(name, None, _unit("mm", power), None, NO_SCALE))
        else:
            value = pixels * scale.mm_per_px**power
            unsure = value * math.hypot(spread / pixels, power * scale.rel_uncertainty)
            out.append(
                Measure(
                    name, _short(value), _unit("mm", power), _short(unsure), f"{how}, scale {scale.origin}"
                )
            )
        out.append(Measure(f"{name}_px", _short(pixels), _unit("px", power), _short(spread), how))
    return out


def _shapes(ready: Prepared, ring: Ring) -> list[Measure]:
    mask = contour.fill(ring, ready.shape)
    if mask.sum() < 50:
        return [Measure(n, None, u, None, "not given: the outline holds too few pixels") for n, u in _SHAPES]
    fold = asymmetry.measure(ready.lab, mask)
    share = colours.shares(ready.density, mask & ~ready.hairs if (mask & ~ready.hairs).any() else mask)
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


def _how(name: str) -> str:
    return _HOW.get(name) or "share of the lesion nearest to this colour, skin brought to a common tone"


def _short(value: float) -> float:
    """Six significant digits: the rest would be noise of the machine."""
    return float(f"{np.float64(value):.6g}")
