"""Decode the bytes of a picture into clean sRGB pixels; files from outside go through `reading_process`."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from typing import TYPE_CHECKING, Any

from PIL import Image, ImageCms

from lesions.analysis.picture.allowance import (
    FORMATS,
    TOO_DEAR,
    USUAL,
    Allowance,
    UnreadablePicture,
    open_picture,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
_ORIENTATION, _EXIF_IFD, _TAKEN, _TAKEN_OFFSET = 274, 0x8769, 36867, 36881
_SCREEN_SIDE = 1600
_BAND = 256  # rows that are converted at a time
_DAMAGED = "The picture file is damaged or incomplete; export it again."
_NO_VALUE = "The picture has pixels without a value; export it again as an ordinary JPEG."


@dataclass(frozen=True)
class PictureInfo:
    """What a picture says about itself; width and height as seen upright.

    `taken_at` is aware only when the camera wrote its offset; otherwise it is the camera's own wall clock.
    """

    format: str
    width: int
    height: int
    exif_orientation: int
    taken_at: datetime | None


@dataclass(frozen=True)
class Picture:
    """Upright sRGB pixels, uint8 (H, W, 3); `zoom` = pixels of the full picture per pixel here."""

    pixels: NDArray[np.uint8]
    zoom: float
    full_width: int
    full_height: int


@dataclass(frozen=True)
class Cleaned:
    """`jpeg` is upright sRGB without any metadata: what browsers get."""

    info: PictureInfo
    jpeg: bytes


def clean(data: bytes, *, allowance: Allowance = USUAL, max_side: int = _SCREEN_SIDE) -> Cleaned:
    """Say what a picture is and make the copy that browsers get, its longer side at most `max_side` pixels.

    Parameters
    ----------
    data : bytes
        JPEG, PNG, TIFF or WebP; the content decides, never a file name.
    allowance : Allowance
        What reading it may cost.
    max_side : int
        In pixels. Every byte of the pixels is read, a JPEG's at a reduced scale, so what is cut short is noticed.

    Raises
    ------
    UnreadablePicture
        Another format, damaged or truncated, or dearer than allowed (known before decoding).
    """
    with _one_sentence():
        image = open_picture(data, allowance, side=max_side)
        orientation, taken_at = _exif(image)
        kind, (width, height) = FORMATS[image.format or ""], _upright_size(image, orientation)
        zoom = max(1.0, max(image.size) / max_side)
        size = max(1, round(image.width / zoom)), max(1, round(image.height / zoom))
        info = PictureInfo(kind, width, height, orientation, taken_at)
        return Cleaned(info, _jpeg(_reduced(image, zoom, size, orientation)))


def load(data: bytes, *, working_width: int | None, allowance: Allowance = USUAL) -> Picture:
    """Read a picture for measuring.

    Parameters
    ----------
    data : bytes
        The original file.
    working_width : int or None
        Upper bound of the longer side in pixels; None keeps every pixel. Never enlarges.
    allowance : Allowance
        What reading it may cost.

    Returns
    -------
    Picture
        Both axes share one zoom exactly: what does not fill a last row or column is left out, not squeezed.

    Raises
    ------
    UnreadablePicture
        As `clean`.
    """
    import numpy as np  # noqa: PLC0415  the process that only cleans starts in a third of the time without

    with _one_sentence():
        image = open_picture(data, allowance, side=working_width)
        orientation, _ = _exif(image)
        upright = _upright_size(image, orientation)
        zoom = 1.0 if working_width is None else max(1.0, max(image.size) / working_width)
        size = max(1, int(image.width / zoom + 1e-6)), max(1, int(image.height / zoom + 1e-6))
        return Picture(np.array(_reduced(image, zoom, size, orientation)), zoom, *upright)


@contextmanager
def _one_sentence() -> Iterator[None]:
    """A hostile file can raise nearly anything inside a decoder; staff read a sentence."""
    try:
        yield
    except UnreadablePicture:
        raise
    except Exception as fault:
        lacking = isinstance(fault, MemoryError) or "memory" in str(fault)
        raise UnreadablePicture(TOO_DEAR if lacking else _DAMAGED) from fault


def _jpeg(image: Image.Image) -> bytes:
    image.info.clear()  # Pillow would write the comment and profile it finds here back into the file
    out = io.BytesIO()
    image.save(out, "JPEG", quality=88, optimize=True)
    return out.getvalue()


def _exif(image: Image.Image) -> tuple[int, datetime | None]:
    """Orientation 1-8 and the moment of the shot; whatever is malformed counts as absent."""
    try:
        exif = image.getexif()
        orientation = exif.get(_ORIENTATION, 1)
        details = exif.get_ifd(_EXIF_IFD)
        taken_at = _moment(details.get(_TAKEN), details.get(_TAKEN_OFFSET))
    except Exception:
        return 1, None
    return (orientation if orientation in range(1, 9) else 1), taken_at


def _still_to_turn(image: Image.Image, orientation: int) -> int:
    """Orientation left to us: Pillow turns TIFF files by itself."""
    return 1 if image.format == "TIFF" else orientation


def _upright_size(image: Image.Image, orientation: int) -> tuple[int, int]:
    return (image.height, image.width) if _still_to_turn(image, orientation) >= 5 else image.size


def _moment(text: Any, offset: Any) -> datetime | None:
    try:
        moment = datetime.strptime(str(text).strip("\0 "), "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007
    except ValueError:
        return None
    try:
        sign, hours, minutes = str(offset)[0], int(str(offset)[1:3]), int(str(offset)[4:6])
        shift = timedelta(hours=hours, minutes=minutes) * (-1 if sign == "-" else 1)
        return moment.replace(tzinfo=timezone(shift))
    except (ValueError, IndexError):
        return moment


def _reduced(image: Image.Image, zoom: float, size: tuple[int, int], orientation: int) -> Image.Image:
    """Decode at the nearest coarser JPEG scale, shrink to `size`, then bring colour and orientation right."""
    full_width = image.width
    turn = _still_to_turn(image, orientation)
    if zoom > 1:
        image.draft(None, (size[0] + 1, size[1] + 1))
    image.load()
    decoded = full_width / image.width
    factor = min((1, 2, 4, 8), key=lambda f: abs(f - decoded))
    profile = image.info.get("icc_profile")
    span = zoom / factor
    step = max(1, int(span / 3.0))
    plain = _thinned(image, step)
    if zoom > 1:
        box = (0, 0, min(plain.width, size[0] * span / step), min(plain.height, size[1] * span / step))
        plain = plain.resize(size, Image.Resampling.BILINEAR, box=box)
    return _upright(_to_srgb(plain, profile), turn)


def _thinned(image: Image.Image, step: int) -> Image.Image:
    """Means of `step` x `step` pixels in 8 bits: RGB, L or CMYK, which a colour profile can be applied to.

    Band by band: a converted copy of the whole would take as much memory again, or four times as much.
    """
    if image.mode in ("RGB", "L", "CMYK"):
        return image if step == 1 else image.reduce(step)
    white = _white(image)
    thinned: Image.Image | None = None
    rows = step * max(1, _BAND // step)
    for top, band in _bands(image, rows):
        part = _eight_bit(band, white).reduce(step)
        if thinned is None:
            thinned = Image.new(part.mode, (part.width, -(-image.height // step)))
        thinned.paste(part, (0, top // step))
    assert thinned is not None
    return thinned


def _bands(image: Image.Image, rows: int) -> Iterator[tuple[int, Image.Image]]:
    for top in range(0, image.height, rows):
        yield top, image.crop((0, top, image.width, min(image.height, top + rows)))


def _white(image: Image.Image) -> float:
    """The number that stands for white in a picture of more than 8 bits; 255 for all others.

    Fractions count to 1; common practice, no source. Where a picture goes beyond, to the next usual top.
    """
    import numpy as np  # noqa: PLC0415  an ordinary JPEG is cleaned without

    if image.mode.startswith("I;16"):
        return 65535.0
    if image.mode not in ("I", "F"):
        return 255.0
    brightest = 0.0
    for _, band in _bands(image, _BAND):
        values = np.asarray(band)
        if not np.isfinite(values).all():
            raise UnreadablePicture(_NO_VALUE)
        brightest = max(brightest, float(values.max()))
    tops = (65535.0, 2.0**31 - 1) if image.mode == "I" else (1.0, 255.0, 65535.0)
    return next((top for top in tops if brightest <= top), brightest)


def _eight_bit(image: Image.Image, white: float) -> Image.Image:
    """Bring any mode to RGB, L or CMYK in 8 bits; what is transparent becomes white."""
    if image.mode.startswith("I") or image.mode == "F":
        import numpy as np  # noqa: PLC0415  an ordinary JPEG is cleaned without

        values = np.asarray(image, dtype=np.float64)
        return Image.fromarray(np.clip(values / white * 255 + 0.5, 0, 255).astype(np.uint8))
    if image.has_transparency_data:
        ground = Image.new("RGBA", image.size, "white")
        return Image.alpha_composite(ground, image.convert("RGBA")).convert("RGB")
    return image.convert("RGB")


def _to_srgb(image: Image.Image, profile: Any) -> Image.Image:
    if profile:
        try:
            source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            turned = ImageCms.profileToProfile(
                image, source, ImageCms.createProfile("sRGB"), outputMode="RGB"
            )
        except (ImageCms.PyCMSError, OSError, ValueError):
            turned = None  # a profile for another mode, or a broken one: the pixels stand as they are
        if turned is not None:
            return turned
    return image.convert("RGB")


def _upright(image: Image.Image, orientation: int) -> Image.Image:
    turn = _TURNS.get(orientation)
    return image if turn is None else image.transpose(turn)
