"""From the bytes of a picture to clean sRGB pixels; the only part of the core that a web process loads."""

from __future__ import annotations

import io
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

MAX_PIXELS = 80_000_000
FORMATS = {"JPEG": "JPEG", "MPO": "JPEG", "PNG": "PNG", "TIFF": "TIFF", "WEBP": "WebP"}
_OPENERS = ("JPEG", "PNG", "TIFF", "WEBP")
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


class UnreadablePicture(ValueError):
    """The bytes are no picture that can be measured; its text is one sentence for staff."""


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


def inspect(data: bytes) -> PictureInfo:
    """Decode a picture wholly and say what it is.

    Parameters
    ----------
    data : bytes
        JPEG, PNG, TIFF or WebP; the content decides, never a file name.

    Raises
    ------
    UnreadablePicture
        Another format, damaged or truncated, or more than `MAX_PIXELS` pixels (checked before decoding).
    """
    image = _open(data)
    orientation, taken_at = _exif(image)
    kind, (width, height) = FORMATS[image.format or ""], image.size
    if _still_to_turn(image) >= 5:
        width, height = height, width
    _decode(image)
    return PictureInfo(kind, width, height, orientation, taken_at)


def derivative(data: bytes, *, max_side: int = 1600) -> bytes:
    """Return an upright sRGB JPEG without any metadata, its longer side at most `max_side` pixels.

    Raises
    ------
    UnreadablePicture
        As `inspect`.
    """
    image = _open(data)
    zoom = max(1.0, max(image.size) / max_side)
    clean = _reduced(image, zoom, (max(1, round(image.width / zoom)), max(1, round(image.height / zoom))))
    clean.info.clear()  # Pillow would write the comment and profile it finds here back into the file
    out = io.BytesIO()
    clean.save(out, "JPEG", quality=88, optimize=True)
    return out.getvalue()


def load(data: bytes, *, working_width: int | None) -> Picture:
    """Read a picture for measuring.

    Parameters
    ----------
    data : bytes
        The original file.
    working_width : int or None
        Upper bound of the longer side in pixels; None keeps every pixel. Never enlarges.

    Returns
    -------
    Picture
        Both axes share one zoom exactly: what does not fill a last row or column is left out, not squeezed.

    Raises
    ------
    UnreadablePicture
        As `inspect`.
    """
    image = _open(data)
    upright = (image.height, image.width) if _still_to_turn(image) >= 5 else image.size
    zoom = 1.0 if working_width is None else max(1.0, max(image.size) / working_width)
    size = max(1, int(image.width / zoom + 1e-6)), max(1, int(image.height / zoom + 1e-6))
    return Picture(np.array(_reduced(image, zoom, size)), zoom, *upright)


def _open(data: bytes) -> Image.Image:
    try:
        image = Image.open(io.BytesIO(data), formats=_OPENERS)
    except Image.DecompressionBombError:
        raise _too_large() from None
    except Exception as fault:  # a hostile header can raise nearly anything inside a decoder
        raise UnreadablePicture("This file is not a JPEG, PNG, TIFF or WebP picture.") from fault
    if image.width * image.height > MAX_PIXELS:
        raise _too_large()
    return image


def _too_large() -> UnreadablePicture:
    millions = MAX_PIXELS // 1_000_000
    return UnreadablePicture(f"The picture has more than {millions} million pixels; send a smaller one.")


def _decode(image: Image.Image) -> None:
    try:
        image.load()
    except Exception as fault:
        raise UnreadablePicture("The picture file is damaged or incomplete; export it again.") from fault


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


def _still_to_turn(image: Image.Image) -> int:
    """Orientation left to us: Pillow turns TIFF files by itself."""
    return 1 if image.format == "TIFF" else _exif(image)[0]


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


def _reduced(image: Image.Image, zoom: float, size: tuple[int, int]) -> Image.Image:
    """Decode at the nearest coarser JPEG scale, shrink to `size`, then bring colour and orientation right."""
    full_width = image.width
    orientation = _still_to_turn(image)
    if zoom > 1:
        image.draft(None, (size[0] + 1, size[1] + 1))
    _decode(image)
    decoded = full_width / image.width
    factor = min((1, 2, 4, 8), key=lambda f: abs(f - decoded))
    profile = image.info.get("icc_profile")
    plain = _eight_bit(image)
    if zoom > 1:
        span = zoom / factor
        box = (0, 0, min(plain.width, size[0] * span), min(plain.height, size[1] * span))
        plain = plain.resize(size, Image.Resampling.BILINEAR, box=box, reducing_gap=3.0)
    return _upright(_to_srgb(plain, profile), orientation)


def _eight_bit(image: Image.Image) -> Image.Image:
    """Bring any mode to one that a colour profile can be applied to: RGB, L or CMYK, 8 bits."""
    if image.mode.startswith("I") or image.mode == "F":
        values = np.asarray(image, dtype=np.float64)
        top = 65535.0 if image.mode.startswith("I") else max(float(values.max()), 1e-9)
        return Image.fromarray(np.clip(values / top * 255 + 0.5, 0, 255).astype(np.uint8))
    if image.mode in ("RGB", "L", "CMYK"):
        return image
    if image.has_transparency_data:
        layered = image.convert("RGBA")
        ground = Image.new("RGBA", image.size, "white")
        return Image.alpha_composite(ground, layered).convert("RGB")
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
