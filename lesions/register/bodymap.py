"""Body sites: standard codes, words, sides, and the chart of our own on which a point is a site.

Chart coordinates run from 0 to 1000, x to the viewer's right, y down, one square for each view. The patient's
left is on the viewer's RIGHT in the front view and on the viewer's LEFT in the back view. Codes: SNOMED CT as
listed in DICOM CID 4029 "Dermatology Anatomic Site".
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Final, Literal

from lesions.register import bodyshapes as drawn
from lesions.register.bodyshapes import MIDDLE, Point, Profile, Ring, centroid, inside, mirrored, share, units

Side = Literal["left", "right", "midline"]
View = Literal["front", "back"]
Sides = Literal["paired", "either", "midline"]


class WrongSide(ValueError):
    """A side that the site does not have or the chart contradicts; the text is for people."""


@dataclass(frozen=True)
class Region:
    """A site. `paired` demands left or right, `either` takes midline too, `midline` refuses a side.

    A site finer (or wider) than the chart is `drawn_as` other sites: its point lies in one of those.
    """

    code: str
    words: str
    sides: Sides
    drawn_as: tuple[str, ...] = ()


REGIONS: Final = (
    Region("43067004", "scalp", "either"),
    Region("68698007", "forehead", "either"),
    Region("16621002", "temple", "paired"),
    Region("41310005", "upper eyelid", "paired"),
    Region("40069000", "lower eyelid", "paired"),
    Region("113179006", "nose", "midline"),
    Region("68598004", "wing of the nose", "paired"),
    Region("36141000", "cheek", "paired"),
    Region("16251004", "upper lip", "either"),
    Region("66934001", "lower lip", "either"),
    Region("23747009", "chin", "midline"),
    Region("1902009", "ear", "paired"),
    Region("79313003", "rim of the ear", "paired", ("1902009",)),
    Region("2059009", "lobe of the ear", "paired", ("1902009",)),
    Region("86719006", "before the ear", "paired"),
    Region("24483006", "behind the ear", "paired"),
    Region("43081002", "neck, front", "either"),
    Region("4658004", "nape of the neck", "midline"),
    Region("244106003", "chest", "paired"),
    Region("244107007", "breastbone", "midline"),
    Region("76261009", "armpit", "paired"),
    Region("75093004", "abdomen", "either"),
    Region("60944009", "external genitalia", "midline"),
    Region("48014002", "perineum", "midline"),
    Region("244111001", "upper back", "either"),
    Region("113182001", "lower back", "either"),
    Region("66643007", "back", "either", ("244111001", "113182001")),
    Region("22180002", "buttock", "paired"),
    Region("45981001", "upper arm, front", "paired"),
    Region("72939005", "upper arm, back", "paired"),
    Region("70559009", "forearm, front", "paired"),
    Region("41550009", "forearm, back", "paired"),
    Region("33712006", "hand, back", "paired"),
    Region("70887009", "palm", "paired"),
    Region("770809003", "nail of a finger", "paired", ("33712006",)),
    Region("61248009", "thigh, front", "paired"),
    Region("73958006", "thigh, inner side", "paired"),
    Region("4578000", "thigh, back", "paired"),
    Region("25763004", "lower leg, front", "paired"),
    Region("47224004", "lower leg, back", "paired"),
    Region("60496002", "foot", "paired"),
    Region("84607009", "heel", "paired"),
    Region("52034004", "toe", "paired"),
    Region("770805009", "nail of a toe", "paired", ("52034004",)),
)
# What rules may ask for instead of a site (FACTS, `region`); the perineum and the buttock are trunk.
_REGION_SITES: Final[dict[str, tuple[str, ...]]] = {
    "scalp": ("43067004",),
    "face": (
        "68698007", "16621002", "41310005", "40069000", "113179006", "68598004", "36141000", "23747009", "86719006",
    ),
    "lip": ("16251004", "66934001"),
    "ear": ("1902009", "79313003", "2059009", "24483006"),
    "neck": ("43081002", "4658004"),
    "trunk": (
        "244106003", "244107007", "76261009", "75093004", "48014002", "244111001", "113182001", "66643007", "22180002",
    ),
    "genital": ("60944009",),
    "arm": ("45981001", "72939005", "70559009", "41550009"),
    "hand": ("33712006",),
    "palm": ("70887009",),
    "nail": ("770809003", "770805009"),
    "leg": ("61248009", "73958006", "4578000", "25763004", "47224004"),
    "foot": ("60496002", "84607009", "52034004"),
}  # fmt: skip
REGION_OF: Final = {code: region for region, codes in _REGION_SITES.items() for code in codes}
CODES: Final[dict[str, Region]] = {region.code: region for region in REGIONS}
SITES: Final = tuple((region.code, region.words) for region in REGIONS)


def site_words(code: str, side: Side) -> str:
    """Write a site as people read it, the side in capitals: "LEFT upper arm, front", "abdomen, midline", "nose"."""
    region = CODES[code]
    if side != "midline":
        return f"{side.upper()} {region.words}"
    return f"{region.words}, midline" if region.sides == "either" else region.words


def check_side(code: str, side: str) -> None:
    """Raise `WrongSide`, with a sentence, where the site does not have that side."""
    region = CODES[code]
    if side not in ("left", "right", "midline"):
        raise WrongSide("Say which side: left, right or midline.")
    if region.sides == "paired" and side == "midline":
        raise WrongSide(f"There are two of this site ({region.words}): say left or right.")
    if region.sides == "midline" and side != "midline":
        raise WrongSide(f"This site ({region.words}) lies in the midline, it has no {side} side.")


def check_place(code: str, side: Side, view: View, x: float, y: float) -> None:
    """Raise `WrongSide` unless site and side in words agree with the point on the chart."""
    check_side(code, side)
    hit = region_at(view, x, y)
    if hit is None:
        raise WrongSide("The point lies beside the body: set it again.")
    if hit[0] not in (CODES[code].drawn_as or (code,)):
        raise WrongSide(_contradiction(site_words(code, side), site_words(*hit)))
    if hit[1] != side:
        raise WrongSide(_contradiction(side.upper(), hit[1].upper()))


def _contradiction(words: str, chart: str) -> str:
    return f"The words say {words}, the chart shows {chart}: they must agree."


# ---- the chart -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Piece:
    """One shape on the chart: a site with its side, a closed ring, and a point well inside."""

    view: View
    code: str
    side: Side
    ring: Ring

    @property
    def words(self) -> str:
        return site_words(self.code, self.side)

    @property
    def path(self) -> str:
        return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in self.ring) + "Z"

    @property
    def centre(self) -> Point:
        return centroid(self.ring)


def side_of(view: View, x: float) -> Side:
    """Say on which side of the patient a point lies: seen from the front, left is on the viewer's right."""
    return "left" if (x > MIDDLE) == (view == "front") else "right"


def _pair(view: View, code: str, ring: Ring) -> Iterator[Piece]:
    """`ring` is drawn on the viewer's left; its twin is its mirror image."""
    for shape in (ring, mirrored(ring)):
        yield Piece(view, code, side_of(view, centroid(shape)[0]), shape)


def _thirds(view: View, code: str, tube: Profile, ys: tuple[float, float], strip: float) -> Iterator[Piece]:
    """A site across the midline: its two sides and, `strip` units to either side, its midline."""
    yield from _pair(view, code, tube.band(*ys, share(-1), units(-strip)))
    yield Piece(view, code, "midline", tube.band(*ys, units(-strip), units(strip)))


def _middle(view: View, code: str, ring: Ring) -> Iterator[Piece]:
    yield Piece(view, code, "midline", ring)


def _limbs(view: View, arm: str, forearm: str, hand: str, thigh: str, shin: str) -> Iterator[Piece]:
    for code, top, bottom in ((arm, 218, 388), (forearm, 388, 515)):
        yield from _pair(view, code, drawn.ARM.band(top, bottom, share(-1), share(1)))
    for code, top, bottom in ((thigh, 490, 720), (shin, 720, 928)):
        yield from _pair(view, code, drawn.LEG.band(top, bottom, share(-1), share(1)))
    yield from _pair(view, hand, drawn.HAND)


def _front() -> Iterator[Piece]:
    yield from _limbs("front", "45981001", "70559009", "70887009", "61248009", "25763004")
    yield from _pair("front", "73958006", (*drawn.LEG.edge(512, 690, share(1)), *drawn.INNER_THIGH))
    yield from _pair("front", "60496002", drawn.FOOT.band(926, 972, share(-1), share(1)))
    yield from _pair("front", "52034004", drawn.FOOT.band(972, 988, share(-1), share(1)))
    yield from _pair("front", "43081002", drawn.TRUNK.band(152, 206, share(-1), units(-12)))
    yield from _middle("front", "43081002", drawn.TRUNK.band(172, 206, units(-12), units(12)))
    yield from _pair("front", "244106003", drawn.TRUNK.band(206, 352, share(-1), units(-16)))
    yield from _middle("front", "244107007", drawn.TRUNK.band(206, 352, units(-16), units(16)))
    yield from _pair("front", "75093004", (*drawn.TRUNK.edge(352, 496, share(-1)), *drawn.GROIN))
    yield from _middle("front", "75093004", drawn.TRUNK.band(352, 516, units(-12), units(12)))
    yield from _pair("front", "76261009", drawn.ARMPIT)
    yield from _middle("front", "60944009", drawn.GENITALIA)
    yield from _pair("front", "1902009", drawn.EAR)
    yield from _face()


def _face() -> Iterator[Piece]:
    yield from _thirds("front", "43067004", drawn.HEAD, (14, 46), 9)
    yield from _thirds("front", "68698007", drawn.HEAD, (46, 78), 9)
    yield from _pair("front", "36141000", drawn.HEAD.band(78, 150, share(-1), units(0)))
    yield from _pair("front", "16621002", drawn.HEAD.band(58, 92, share(-1), units(-44)))
    yield from _pair("front", "86719006", drawn.HEAD.band(92, 124, share(-1), units(-49)))
    yield from _pair("front", "41310005", ((462, 92), (466, 86), (476, 83), (486, 87), (489, 92)))
    yield from _pair("front", "40069000", ((462, 92), (489, 92), (485, 98), (475, 101), (466, 98)))
    yield from _middle("front", "23747009", drawn.HEAD.band(150, 179, share(-1), share(1)))
    yield from _thirds("front", "16251004", drawn.LIPS, (128, 136), 5)
    yield from _thirds("front", "66934001", drawn.LIPS, (136, 145), 5)
    yield from _middle("front", "113179006", drawn.NOSE)
    yield from _pair("front", "68598004", drawn.WING)


def _back() -> Iterator[Piece]:
    yield from _limbs("back", "72939005", "41550009", "33712006", "4578000", "47224004")
    yield from _pair("back", "84607009", drawn.HEEL.band(926, 984, share(-1), share(1)))
    yield from _thirds("back", "244111001", drawn.TRUNK, (204, 365), 14)
    yield from _thirds("back", "113182001", drawn.TRUNK, (365, 474), 14)
    yield from _pair("back", "22180002", (*drawn.TRUNK.edge(474, 540, share(-1)), *drawn.SEAT))
    yield from _middle("back", "48014002", drawn.PERINEUM)
    yield from _middle("back", "4658004", drawn.TRUNK.band(138, 204, share(-1), share(1)))
    yield from _pair("back", "1902009", drawn.EAR)
    yield from _thirds("back", "43067004", drawn.HEAD, (14, 150), 12)
    yield from _pair("back", "24483006", drawn.HEAD.band(84, 130, share(-1), units(-48)))


CHART: Final[dict[View, tuple[Piece, ...]]] = {"front": tuple(_front()), "back": tuple(_back())}


def region_at(view: View, x: float, y: float) -> tuple[str, Side] | None:
    """Find site and side under a point of the chart, None beside the body; what is drawn last lies on top."""
    hit = next((piece for piece in reversed(CHART[view]) if inside(piece.ring, x, y)), None)
    return (hit.code, hit.side) if hit else None


@cache
def centre(code: str, side: Side) -> tuple[View, float, float]:
    """Give a point for a site given in words only: the middle of its (first) shape on the chart."""
    check_side(code, side)
    charted = CODES[code].drawn_as or (code,)
    pieces = (piece for view in CHART.values() for piece in view)
    piece = next(piece for piece in pieces if piece.code in charted and piece.side == side)
    return piece.view, *piece.centre
