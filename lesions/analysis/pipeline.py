"""The two questions put to the core: measure one picture, compare two. Same bytes, same answer."""

from __future__ import annotations

import hashlib
from dataclasses import replace

import numpy as np

from lesions.analysis.compare import change, registration, rim
from lesions.analysis.measures import measures
from lesions.analysis.outline import finders
from lesions.analysis.outline.finders import Search
from lesions.analysis.picture import contour, prepare, quality, ruler
from lesions.analysis.picture.allowance import USUAL, Allowance
from lesions.analysis.picture.contour import Ring
from lesions.analysis.picture.prepare import Prepared

from .refusals import UnusableOutline
from .types import Comparison, Measure, Measurement, Message, Outline, Scale, area_of, area_went
from .version import VERSION


class DifferentVersions(ValueError):
    """Two measurements made by different versions of the core do not compare."""


def measure(
    data: bytes,
    *,
    scale: Scale | None = None,
    outline: Outline | None = None,
    look_for_ruler: bool = True,
    allowance: Allowance = USUAL,
) -> Measurement:
    """Find the lesion in a picture and measure it.

    Parameters
    ----------
    data : bytes
        JPEG, PNG, TIFF or WebP.
    scale : Scale, optional
        Of the full picture. Without it a ruler in the picture gives one; else lengths in millimetres are None.
    outline : Outline, optional
        Drawn by a person, in pixels of the full picture: measures follow it and nothing is searched.
    look_for_ruler : bool
        False for anything but a dermoscopic picture: the search takes the field for a contact plate's, 9 to 30 mm,
        and could read a paper ruler in a close-up tenfold wrong.
    allowance : Allowance
        What reading the picture may cost.

    Returns
    -------
    Measurement
        Doubts concern the outline only.

    Raises
    ------
    UnreadablePicture
        The bytes are no usable picture.
    UnusableOutline
        The outline has fewer than three points or encloses nothing.
    """
    ready = prepare.picture(data, allowance=allowance)
    found = finders.search(ready) if outline is None else Search(_drawn(ready, outline), (), "person")
    ring = found.ring
    mask = None if ring is None else contour.fill(ring, ready.shape)
    if mask is not None and not mask.any():
        mask = None  # an outline between pixel centres: its photograph is judged as one without outline
    seen = ruler.scale(ready.levels, ready.zoom) if look_for_ruler else None
    scale, doubtful = scale or seen, quality.scales(scale, seen)
    kept = outline or (None if ring is None else _outline(ready, ring))
    return Measurement(
        version=VERSION,
        sha256=hashlib.sha256(data).hexdigest(),
        width=ready.full_width,
        height=ready.full_height,
        scale=scale,
        outline=kept,
        doubt=found.doubt,
        measures=_marked(measures.all_of(ready, ring, mask, scale, found.by), bool(found.doubt)),
        quality=quality.assess(ready.pixels, ready.density, ready.hairs, ready.around, mask, ring, ready.zoom)
        + doubtful,
    )


def compare(
    earlier: bytes,
    later: bytes,
    *,
    earlier_measurement: Measurement,
    later_measurement: Measurement,
    allowance: Allowance = USUAL,
) -> Comparison:
    """Lay the later picture on the earlier one and say what changed.

    Parameters
    ----------
    earlier, later : bytes
        The two pictures.
    earlier_measurement, later_measurement : Measurement
        What `measure` answered for them, at one version.
    allowance : Allowance
        What reading each picture may cost.

    Raises
    ------
    DifferentVersions
        The two were measured by different versions.
    UnreadablePicture
        Either picture cannot be read.
    """
    if earlier_measurement.version != later_measurement.version:
        raise DifferentVersions("The two pictures were measured by different versions; measure both anew.")
    first, second = (prepare.picture(data, allowance=allowance) for data in (earlier, later))
    laid = registration.register(first, second, earlier_measurement, later_measurement)
    found = change.deltas(earlier_measurement, later_measurement, laid)
    moved, went = rim.moved(first, second, earlier_measurement, laid), area_went(found)
    drawn = change.regions(first, second, earlier_measurement, later_measurement, laid, went, moved)
    if later_measurement.by_program and rim.unconfirmed(area_of(found), moved, drawn):
        later_measurement = _doubted(later_measurement, Message("rim_unmoved"))
        drawn = change.regions(first, second, earlier_measurement, later_measurement, laid, 0, moved)
    return Comparison(
        version=VERSION,
        earlier=earlier_measurement,
        later=later_measurement,
        registration=laid,
        deltas=found if moved is None else (*found, moved.delta()),
        regions=drawn,
    )


def _drawn(ready: Prepared, outline: Outline) -> Ring:
    if len(outline.points) < 3:
        raise UnusableOutline("too_few_points")
    ring = ready.from_full(outline)
    if not np.isfinite(ring).all() or contour.area(ring) < 1:
        raise UnusableOutline("encloses_nothing")
    return contour.even(ring)


def _marked(found: tuple[Measure, ...], doubtful: bool) -> tuple[Measure, ...]:
    """A figure is no surer than the outline that it was made on."""
    return tuple(replace(one, doubtful=doubtful and one.value is not None) for one in found)


def _doubted(found: Measurement, reason: Message) -> Measurement:
    """The same measurement, its outline in doubt for what another picture shows."""
    return replace(found, doubt=(*found.doubt, reason), measures=_marked(found.measures, doubtful=True))


def _outline(ready: Prepared, ring: Ring) -> Outline:
    full = np.clip(ready.to_full(ring), 0, (ready.full_width, ready.full_height))
    return Outline(tuple((round(x, 2), round(y, 2)) for x, y in full.tolist()), "automatic")
