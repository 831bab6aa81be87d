"""Draw what changed on the earlier picture: patterns and letters tell the kinds apart, colour only helps."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from lesions.analysis.picture import reading_process
from lesions.analysis.picture.allowance import USUAL, Allowance
from lesions.analysis.types import Comparison, Outline, Point, area_went

_LEGEND_ROW, _MARGIN, _LINE = 30, 12, 3
_INK, _PAPER = (20, 20, 20), (255, 255, 255)
_Pattern = Callable[[NDArray[np.int_], NDArray[np.int_]], NDArray[np.bool_]]
_Font = ImageFont.FreeTypeFont | ImageFont.ImageFont


@dataclass(frozen=True)
class _Kind:
    """`letter` stands beside each region, `pattern` fills it."""

    letter: str
    words: str
    colour: tuple[int, int, int]
    pattern: _Pattern


_KINDS = {
    "grown": _Kind("G", "Grown", (0, 114, 178), lambda x, y: (x + y) % 10 < 3),
    "shrunk": _Kind("S", "Shrunk", (230, 159, 0), lambda x, y: (x - y) % 10 < 3),
    "new_colour": _Kind(
        "N", "New colour", (213, 94, 0), lambda x, y: ((x + y) % 10 < 2) | ((x - y) % 10 < 2)
    ),
    "darker": _Kind("D", "Darker", (0, 0, 0), lambda x, y: (x % 8 < 3) & (y % 8 < 3)),
    "lighter": _Kind("L", "Lighter", (86, 180, 233), lambda x, y: y % 8 < 2),
}


def draw(
    earlier: bytes, comparison: Comparison, *, max_side: int = 1200, allowance: Allowance = USUAL
) -> bytes:
    """Draw the changed regions of a comparison on its earlier picture, with a legend below.

    Parameters
    ----------
    earlier : bytes
        The earlier picture of the comparison.
    comparison : Comparison
        Its regions and both outlines; what does not align has none.
    max_side : int
        Upper bound of the picture's longer side in pixels; the legend comes on top of that.
    allowance : Allowance
        What reading it may cost.

    Returns
    -------
    bytes
        PNG without metadata. Whole line: earlier outline; broken line: later outline, laid on the earlier.

    Raises
    ------
    UnreadablePicture
        As `reading_process.load`.
    ValueError
        The bytes are not of the size that the comparison measured.
    """
    picture = reading_process.load(earlier, working_width=max_side, allowance=allowance)
    first = comparison.earlier
    if (picture.full_width, picture.full_height) != (first.width, first.height):
        raise ValueError("This is not the earlier picture of the comparison.")
    sheet = Image.fromarray(picture.pixels)
    for region in comparison.regions:
        _hatch(sheet, _scaled(region.points, picture.zoom), _KINDS[region.kind])
    pen = ImageDraw.Draw(sheet)
    _outlines(pen, comparison, picture.zoom)
    for region in comparison.regions:
        _letter(pen, _scaled(region.points, picture.zoom), _KINDS[region.kind].letter)
    out = io.BytesIO()
    _with_legend(sheet, comparison).save(out, "PNG")
    return out.getvalue()


def _scaled(points: tuple[Point, ...], zoom: float) -> list[Point]:
    return [(x / zoom, y / zoom) for x, y in points]


def _hatch(sheet: Image.Image, ring: list[Point], kind: _Kind) -> None:
    """Fill a ring with its pattern, dark on a white ground half let through, and a firm edge."""
    shape = Image.new("1", sheet.size)
    ImageDraw.Draw(shape).polygon(ring, fill=1)
    y, x = np.mgrid[0 : sheet.height, 0 : sheet.width]
    inside = np.asarray(shape)
    lines = inside & kind.pattern(x, y)
    pixels = np.array(sheet)
    pixels[inside] = pixels[inside] // 2 + 128
    pixels[lines] = kind.colour
    sheet.paste(Image.fromarray(pixels))
    ImageDraw.Draw(sheet).line([*ring, ring[0]], fill=kind.colour, width=2)


def _outlines(pen: ImageDraw.ImageDraw, comparison: Comparison, zoom: float) -> None:
    if comparison.earlier.outline is not None:
        _whole(pen, _scaled(comparison.earlier.outline.points, zoom))
    if comparison.later.outline is not None and comparison.registration.matrix is not None:
        _broken(pen, _scaled(_moved(comparison.later.outline, comparison), zoom))


def _moved(outline: Outline, comparison: Comparison) -> tuple[Point, ...]:
    matrix = np.array(comparison.registration.matrix)
    ring = np.array(outline.points) @ matrix[:, :2].T + matrix[:, 2]
    return tuple((float(x), float(y)) for x, y in ring)


def _whole(pen: ImageDraw.ImageDraw, ring: list[Point]) -> None:
    for colour, width in ((_PAPER, _LINE + 2), (_INK, _LINE)):
        pen.line([*ring, ring[0]], fill=colour, width=width)


def _broken(pen: ImageDraw.ImageDraw, ring: list[Point]) -> None:
    """Dashes of four points with gaps of four, dark on a white edge."""
    closed = [*ring, *ring[:5]]
    for start in range(0, len(ring), 8):
        for colour, width in ((_INK, _LINE + 2), (_PAPER, _LINE)):
            pen.line(closed[start : start + 5], fill=colour, width=width)


def _letter(pen: ImageDraw.ImageDraw, ring: list[Point], letter: str) -> None:
    x, y = (sum(v) / len(ring) for v in zip(*ring, strict=True))
    pen.text((x, y), letter, fill=_INK, font=_font(18), anchor="mm", stroke_width=3, stroke_fill=_PAPER)


def _font(size: int) -> _Font:
    return ImageFont.load_default(size)


def _with_legend(sheet: Image.Image, comparison: Comparison) -> Image.Image:
    regions, aligned = comparison.regions, comparison.registration.aligned
    kinds = [k for k in _KINDS if any(r.kind == k for r in regions)]
    rows = 2 + max(1, len(kinds))
    full = Image.new("RGB", (sheet.width, sheet.height + _MARGIN + rows * _LEGEND_ROW), _PAPER)
    full.paste(sheet)
    pen, top = ImageDraw.Draw(full), sheet.height + _MARGIN
    for line, words in (
        (_whole, "Outline of the earlier picture"),
        (_broken, "Outline of the later picture"),
    ):
        line(pen, [(_MARGIN + i * 3.5, top + 10.0) for i in range(13)])
        _words(pen, top, words if aligned or line is _whole else "The later picture does not align")
        top += _LEGEND_ROW
    for name in kinds:
        kind = _KINDS[name]
        swatch = full.crop((_MARGIN, top, _MARGIN + 46, top + 22))
        _hatch(swatch, [(1, 1), (44, 1), (44, 20), (1, 20)], kind)
        full.paste(swatch, (_MARGIN, top))
        areas = [r for r in regions if r.kind == name]
        total = f"{sum(r.area for r in areas):.3g} square {areas[0].unit[:2]}"  # the font has no raised 2
        _words(pen, top, f"{kind.letter}  {kind.words}, {total}")
        top += _LEGEND_ROW
    if not kinds:
        _words(pen, top, _none_drawn(comparison))
    return full


def _none_drawn(comparison: Comparison) -> str:
    """Never "no change" beside figures that say otherwise."""
    if not comparison.registration.aligned:
        return "No change can be shown"
    if area_went(comparison.deltas):
        return "The area changed by a rim too thin to be drawn"
    return "No changed region"


def _words(pen: ImageDraw.ImageDraw, top: int, text: str) -> None:
    pen.text((_MARGIN + 58, top + 10), text, fill=_INK, font=_font(16), anchor="lm")
