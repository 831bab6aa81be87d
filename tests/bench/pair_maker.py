"""Two photographs made of one real one: another pose, light and hair, the lesion grown, the skin further out held."""

import io
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw
from scipy import ndimage

FIELD_MM = 20.0  # what the longer side of a picture is taken for; only ratios of scales count here
_REACH = 0.6  # of the border's distance from the middle: beyond that the skin is where it was
_HALF_WIDTH = 0.6  # radians: how wide a growth to one side is


@dataclass(frozen=True)
class Kind:
    """What became of the lesion: its area times `growth`, all round or to one side; `patch`: a new dark one."""

    name: str
    growth: float = 1.0
    one_sided: bool = False
    patch: bool = False


KINDS = (
    Kind("same"),
    Kind("grown 10 %", 1.10),
    Kind("grown 10 % to one side", 1.10, one_sided=True),
    Kind("same, once more"),
    Kind("grown 15 %", 1.15),
    Kind("grown 25 % to one side", 1.25, one_sided=True),
    Kind("new patch", patch=True),
    Kind("grown 50 %", 1.50),
)


@dataclass(frozen=True)
class Pair:
    """Bytes of both, millimetres per pixel of both, and the camera: LATER pixel to EARLIER pixel (2 x 3)."""

    earlier: bytes
    later: bytes
    mm_per_px: tuple[float, float]
    camera: np.ndarray
    grew: float
    kind: Kind

    @property
    def zoom(self):
        return float(np.hypot(self.camera[0, 0], self.camera[1, 0]))


def make(pixels, mask, kind, seed):
    """One pair of `pixels` uint8 (H, W, 3) with its lesion `mask`, the same for the same seed."""
    rng = np.random.default_rng(seed)
    height, width = mask.shape
    camera = _camera(rng, width, height)
    v, u = np.mgrid[0:height, 0:width] + 0.5
    x = camera[0, 0] * u + camera[0, 1] * v + camera[0, 2]
    y = camera[1, 0] * u + camera[1, 1] * v + camera[1, 2]
    held = _before_growth(x, y, mask, kind, rng)
    still = _before_growth(
        *np.mgrid[0.5:height, 0.5:width][::-1], mask, kind, np.random.default_rng(seed + 1)
    )
    later = np.stack([_at(pixels[..., c], *held) for c in range(3)], axis=-1)
    if kind.patch:
        later = _patched(later, _at(mask, *held) > 0.5, rng)
    scale = FIELD_MM / max(width, height)
    scales = (scale, scale * float(np.hypot(camera[0, 0], camera[1, 0])))
    both = _shot(pixels.astype(np.float64), scales[0], rng, plain=True), _shot(later, scales[1], rng)
    grew = float((_at(mask, *still) > 0.5).sum() / mask.sum())
    return Pair(*both, scales, camera, grew, kind)


def _camera(rng, width, height):
    """Later pixels to earlier ones: turned up to 14 degrees, 10 % nearer to 12 % farther, moved by 4 %."""
    turn, zoom = np.radians(rng.uniform(-14, 14)), rng.uniform(0.90, 1.12)
    linear = zoom * np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    middle = np.array([width, height]) / 2
    shift = middle - linear @ middle + rng.uniform(-0.04, 0.04, 2) * width
    return np.column_stack([linear, shift])


def _at(values, x, y):
    return ndimage.map_coordinates(
        values.astype(np.float64),
        [y - 0.5, x - 0.5],
        order=3 if values.dtype == np.uint8 else 1,
        mode="reflect",
    )


def _before_growth(x, y, mask, kind, rng):
    """Where each place of the grown skin was before: a smooth radial warp about the lesion's middle."""
    if kind.growth == 1:
        return x, y
    cy, cx = (float(n.mean()) + 0.5 for n in np.nonzero(mask))
    side = rng.uniform(-np.pi, np.pi)
    across, down = x - cx, y - cy
    away, angle = np.hypot(across, down), np.arctan2(down, across)
    border = np.interp(angle, *_border(mask, cx, cy), period=2 * np.pi)
    swell = _swelling(kind, side, _border(mask, cx, cy))
    factor = np.interp(angle, _border(mask, cx, cy)[0], swell, period=2 * np.pi)
    past = np.clip((away / (border * factor) - 1) / _REACH, 0, 1)
    shrink = 1 - (1 - 1 / factor) * (0.5 + 0.5 * np.cos(np.pi * past))
    return cx + across * shrink, cy + down * shrink


def _border(mask, cx, cy):
    """Directions, and how far the lesion reaches in each; smoothed, so that the warp is."""
    angles = np.arange(180) / 180 * 2 * np.pi - np.pi
    y, x = np.nonzero(mask)
    sector = ((np.arctan2(y + 0.5 - cy, x + 0.5 - cx) + np.pi) / (2 * np.pi) * 180).astype(int) % 180
    far = np.zeros(180)
    np.maximum.at(far, sector, np.hypot(x + 0.5 - cx, y + 0.5 - cy))
    far[far == 0] = np.median(far[far > 0])
    return angles, ndimage.gaussian_filter1d(far, 6, mode="wrap")


def _swelling(kind, side, border):
    """How much farther the border lies in each direction, so that the area is `growth` times."""
    angles, far = border
    if not kind.one_sided:
        return np.full_like(far, np.sqrt(kind.growth))
    bump = np.exp(-((((angles - side + np.pi) % (2 * np.pi) - np.pi) / _HALF_WIDTH) ** 2))
    a, b, c = (far**2 * bump**2).sum(), 2 * (far**2 * bump).sum(), (1 - kind.growth) * (far**2).sum()
    return 1 + (-b + np.sqrt(b * b - 4 * a * c)) / (2 * a) * bump


def _patched(pixels, lesion, rng):
    """A blue-black patch of a quarter of the lesion's width, somewhere well inside."""
    deep = ndimage.distance_transform_edt(lesion)
    inside = np.argwhere(deep > 0.5 * deep.max())
    y, x = inside[rng.integers(len(inside))]
    rows, columns = np.mgrid[0 : lesion.shape[0], 0 : lesion.shape[1]]
    cover = np.clip(deep.max() * 0.55 - np.hypot(rows - y, columns - x), 0, 1)[..., None]
    return pixels * (1 - cover) + np.array([62, 70, 84]) * cover


def _shot(pixels, mm_per_px, rng, plain=False):
    """One photograph: hair and ruler of its own, light, a little blur and noise, JPEG."""
    if not plain:
        height, width = pixels.shape[:2]
        y, x = np.mgrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j]
        tilt = 1 + rng.uniform(-0.06, 0.06) * x + rng.uniform(-0.06, 0.06) * y
        pixels = pixels * (tilt * rng.uniform(0.88, 1.10))[..., None] * rng.uniform(0.97, 1.03, 3)
        pixels = ndimage.gaussian_filter(pixels, (rng.uniform(0, 0.7),) * 2 + (0,))
    pixels = pixels + rng.normal(0, 1.5, pixels.shape)
    image = Image.fromarray(np.clip(pixels + 0.5, 0, 255).astype(np.uint8))
    _hairs(image, rng)
    _ruler(image, mm_per_px, rng)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=93)
    return out.getvalue()


def _hairs(image, rng):
    pen = ImageDraw.Draw(image)
    for _ in range(int(rng.integers(0, 5))):
        start, end, bend = rng.uniform(0, 1, (3, 2)) * np.array(image.size)
        t = np.linspace(0, 1, 24)[:, None]
        curve = (1 - t) ** 2 * start + 2 * t * (1 - t) * (0.6 * (start + end) / 2 + 0.4 * bend) + t * t * end
        shade = tuple(int(c) for c in rng.uniform(25, 75) * np.array([1.0, 0.85, 0.75]))
        pen.line([tuple(p) for p in curve], fill=shade, width=max(1, image.width // 250))


def _ruler(image, mm_per_px, rng):
    """A row of millimetre ticks along one side, or none."""
    side, pen = int(rng.integers(0, 4)), ImageDraw.Draw(image)
    step, length = 1 / mm_per_px, 0.03 * image.width
    if side == 3:
        return
    offset = rng.uniform(0, step)
    for i in range(int(max(image.size) / step)):
        at, long = offset + i * step, length * (1.8 if i % 5 == 0 else 1)
        edge = {0: [(at, 0), (at, long)], 1: [(at, image.height), (at, image.height - long)]}
        pen.line(edge.get(side, [(0, at), (long, at)]), fill=(40, 40, 40), width=1)
