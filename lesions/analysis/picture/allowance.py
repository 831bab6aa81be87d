"""Judge by its first bytes what reading a picture costs: what takes too much is refused before any decode."""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass

from PIL import Image

FORMATS = {"JPEG": "JPEG", "MPO": "JPEG", "PNG": "PNG", "TIFF": "TIFF", "WEBP": "WebP"}
TOO_DEAR = "Reading this picture takes too much memory; export it again as an ordinary JPEG."
_OPENERS = ("JPEG", "PNG", "TIFF", "WEBP")
# Pillow keeps RGB in four bytes; a JPEG's coefficients are two bytes for each of up to four channels.
_BYTES = {"1": 1, "L": 1, "P": 1, "I;16": 2, "I;16B": 2, "I;16L": 2, "PA": 4, "LA": 4, "RGB": 4, "RGBA": 4}
_BYTES |= {"RGBX": 4, "CMYK": 4, "YCbCr": 4, "LAB": 4, "I": 4, "F": 4}
_COEFFICIENTS = 8
# The WebP decoder keeps two canvases, a lossless one its own, then come the answer and the picture: four each.
_WEBP_BYTES = 20
_SCALES = (8, 4, 2, 1)


class UnreadablePicture(ValueError):
    """The bytes are no picture that can be measured; its text is one sentence for staff."""


@dataclass(frozen=True)
class Allowance:
    """Most pixels of a picture, most that are decoded at once, and the memory (bytes) and time (s) of a decode."""

    pixels: int = 80_000_000
    decoded: int = 40_000_000
    memory: int = 512 * 1024 * 1024
    seconds: int = 20


USUAL = Allowance()


def open_picture(data: bytes, allowance: Allowance, *, side: int | None) -> Image.Image:
    """Open a picture without decoding it.

    Parameters
    ----------
    data : bytes
        JPEG, PNG, TIFF or WebP; the content decides, never a file name.
    allowance : Allowance
        What it may cost.
    side : int or None
        The longer side that is wanted, in pixels; None for every pixel. A JPEG is decoded no finer than it needs.

    Raises
    ------
    UnreadablePicture
        Another format or kind, more than one picture in the file, or dearer than allowed.
    """
    _check_webp(data, allowance)  # Pillow makes its two canvases on opening
    try:
        image = Image.open(io.BytesIO(data), formats=_OPENERS)
        several = getattr(image, "is_animated", False)  # a TIFF file looks for its second page here
    except Image.DecompressionBombError:
        raise _too_many(allowance.pixels) from None
    except MemoryError:
        raise UnreadablePicture(TOO_DEAR) from None
    except Exception as fault:  # a hostile header can raise nearly anything inside a decoder
        raise UnreadablePicture("This file is not a JPEG, PNG, TIFF or WebP picture.") from fault
    _check_size(image, count_decoded(image, data, side), allowance)
    _check_kind(image, several)
    return image


def estimate_cost(data: bytes, allowance: Allowance, *, side: int | None) -> int:
    """Bytes that decoding a picture takes at most, as far as its first bytes tell; raises as `open_picture`."""
    webp = _webp_size(data)
    if webp:
        return webp[0] * webp[1] * _WEBP_BYTES
    image = open_picture(data, allowance, side=side)
    decoded = count_decoded(image, data, side)
    whole = FORMATS[image.format or ""] == "JPEG" and _is_held_whole(data)
    return decoded * (_BYTES[image.mode] + (_COEFFICIENTS if whole else 0))


def count_decoded(image: Image.Image, data: bytes, side: int | None) -> int:
    """How many pixels must be in memory at once for a picture whose longer side is to be `side`."""
    pixels = image.width * image.height
    if side is None or FORMATS[image.format or ""] != "JPEG" or _is_held_whole(data):
        return pixels
    zoom = max(image.size) / side
    return pixels // next((s for s in _SCALES if s <= zoom), 1) ** 2


def _check_size(image: Image.Image, decoded: int, allowance: Allowance) -> None:
    if image.width * image.height > allowance.pixels:
        raise _too_many(allowance.pixels)
    if decoded > allowance.decoded:
        raise _too_many(allowance.decoded, "For a picture of this kind at most")


def _check_kind(image: Image.Image, several: bool) -> None:
    if image.mode not in _BYTES:
        raise UnreadablePicture("This kind of picture cannot be read; export it again as an ordinary JPEG.")
    # A JPEG's further pictures are the camera's own previews of the first; elsewhere one would be lost unseen.
    if FORMATS[image.format or ""] != "JPEG" and several:
        raise UnreadablePicture("The file holds more than one picture; export each as a file of its own.")


def _check_webp(data: bytes, allowance: Allowance) -> None:
    size = _webp_size(data)
    if size is None:
        return
    if size[0] * size[1] > allowance.pixels:
        raise _too_many(allowance.pixels)
    most = min(allowance.decoded, allowance.memory * 7 // 8 // _WEBP_BYTES)  # an eighth is for the program
    if size[0] * size[1] > most:
        raise _too_many(most, "For a WebP picture at most")


def _too_many(most: int, words: str = "At most") -> UnreadablePicture:
    return UnreadablePicture(
        f"The picture has too many pixels. {words} {most // 1_000_000} million pixels can be read; send a smaller one."
    )


def _webp_size(data: bytes) -> tuple[int, int] | None:
    """Width and height that a WebP file claims (RFC 9649, 2.5 to 2.7); None for any other file."""
    kind, head = data[12:16], data[:30]
    if head[:4] != b"RIFF" or head[8:12] != b"WEBP" or len(head) < 30:
        return None
    if kind == b"VP8X":
        return int.from_bytes(head[24:27], "little") + 1, int.from_bytes(head[27:30], "little") + 1
    if kind == b"VP8L":
        both = int.from_bytes(head[21:25], "little")
        return (both & 0x3FFF) + 1, (both >> 14 & 0x3FFF) + 1
    if kind == b"VP8 ":
        width, height = struct.unpack("<HH", head[26:30])
        return width & 0x3FFF, height & 0x3FFF
    return None


def _is_held_whole(data: bytes) -> bool:
    """True for a JPEG that comes in several scans: its coefficients are kept until the last (ITU-T T.81, B.2)."""
    at, channels = 2, 0
    while at + 9 < len(data):
        marker = data[at + 1]
        if data[at] != 0xFF or marker in (0x00, 0xFF):
            at += 1
            continue
        if marker == 0x01 or 0xD0 <= marker <= 0xD8:  # these stand alone
            at += 2
            continue
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            if marker not in (0xC0, 0xC1, 0xC9):
                return True
            channels = data[at + 9]
        if marker == 0xDA:
            return data[at + 4] < channels
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return True
