"""Body sites: standard codes, words, sides, and the chart of our own on which a point is a site.

Chart coordinates run from 0 to 1000, x to the viewer's right, y down, one square for each view. The patient's
left is on the viewer's RIGHT in the front view and on the viewer's LEFT in the back view. Codes: SNOMED CT as
listed in DICOM CID 4029 "Dermatology Anatomic Site", which has no shoulder and no whole sole: docs/sources.md.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Final, Literal

from clinic.formats.language import ENGLISH, Language
from clinic.formats.language import gettext_noop as _
from lesions.register import bodyshapes as drawn
from lesions.register.bodyshapes import MIDDLE, Point, Profile, Ring, centroid, inside, mirrored, share, units

Side = Literal["left", "right", "midline"]
View = Literal["front", "back"]
Sides = Literal["paired", "either", "midline"]


_SIDES: Final[dict[Side, str]] = {"left": _("LEFT"), "right": _("RIGHT"), "midline": _("MIDLINE")}
_PLACED: Final[dict[Side, str]] = {
    "left": _("LEFT {site}"),
    "right": _("RIGHT {site}"),
    "midline": _("{site}, midline"),
}
_WRONG: Final = {
    "unknown_side": _("Say which side: left, right or midline."),
    "two_of_it": _("There are two of this site ({site}): say left or right."),
    "no_left": _("This site ({site}) lies in the midline, it has no left side."),
    "no_right": _("This site ({site}) lies in the midline, it has no right side."),
    "beside_the_body": _("The point lies beside the body: set it again."),
    "other_site": _("The words say {words}, the chart shows {chart}: they must agree."),
    "other_side": _("The words say {words}, the chart shows {chart}: they must agree."),
}


class WrongSide(ValueError):
    """A side that the site does not have, or that the chart contradicts, which shows the place `charted`."""

    def __init__(
        self, code: str, site: str = "", side: Side = "midline", charted: tuple[str, Side] | None = None
    ) -> None:
        super().__init__(code)
        self.code, self.site, self.side, self.charted = code, site, side, charted

    def in_words(self, language: Language = ENGLISH) -> str:
        """Write what is wrong as one sentence."""
        values = {"site": site_name(self.site, language) if self.site else ""}
        if self.charted and self.code == "other_site":
            values |= {"words": site_words(self.site, self.side, language)}
            values |= {"chart": site_words(*self.charted, language)}
        elif self.charted:
            values |= {"words": side_word(self.side, language), "chart": side_word(self.charted[1], language)}
        return language.translate(_WRONG[self.code]).format(**values)

    __str__ = in_words


@dataclass(frozen=True)
class Region:
    """A site. `paired` demands left or right, `either` takes midline too, `midline` refuses a side.

    A site finer (or wider) than the chart is `drawn_as` other sites: its point lies in one of those. `seen`: the view
    in which a point is set for words alone.
    """

    code: str
    words: str
    sides: Sides
    drawn_as: tuple[str, ...] = ()
    seen: View = "front"


REGIONS: Final = (
    Region("43067004", _("scalp"), "either"),
    Region("68698007", _("forehead"), "either"),
    Region("16621002", _("temple"), "paired"),
    Region("41310005", _("upper eyelid"), "paired"),
    Region("40069000", _("lower eyelid"), "paired"),
    Region("113179006", _("nose"), "midline"),
    Region("68598004", _("wing of the nose"), "paired"),
    Region("36141000", _("cheek"), "paired"),
    Region("16251004", _("upper lip"), "either"),
    Region("66934001", _("lower lip"), "either"),
    Region("23747009", _("chin"), "midline"),
    Region("1902009", _("ear"), "paired"),
    Region("79313003", _("rim of the ear"), "paired", ("1902009",)),
    Region("2059009", _("lobe of the ear"), "paired", ("1902009",)),
    Region("86719006", _("before the ear"), "paired"),
    Region("24483006", _("behind the ear"), "paired"),
    Region("43081002", _("neck, front"), "either"),
    Region("4658004", _("nape of the neck"), "midline"),
    Region("244106003", _("chest"), "paired"),
    Region("244107007", _("breastbone"), "midline"),
    Region("76261009", _("armpit"), "paired"),
    Region("75093004", _("abdomen"), "either"),
    Region("60944009", _("external genitalia"), "midline"),
    Region("48014002", _("perineum"), "midline"),
    Region("244111001", _("upper back"), "either"),
    Region("113182001", _("lower back"), "either"),
    Region("66643007", _("back"), "either", ("244111001", "113182001")),
    Region("22180002", _("buttock"), "paired"),
    Region("76552005", _("shoulder"), "paired"),
    Region("45981001", _("upper arm, front"), "paired"),
    Region("72939005", _("upper arm, back"), "paired"),
    Region("70559009", _("forearm, front"), "paired"),
    Region("41550009", _("forearm, back"), "paired"),
    Region("33712006", _("hand, back"), "paired"),
    Region("70887009", _("palm"), "paired"),
    Region("244169007", _("finger"), "paired"),
    Region("770809003", _("nail of a finger"), "paired", ("244169007",), "back"),
    Region("61248009", _("thigh, front"), "paired"),
    Region("73958006", _("thigh, inner side"), "paired"),
    Region("4578000", _("thigh, back"), "paired"),
    Region("181553006", _("knee, front"), "paired"),
    Region("84507004", _("knee, back"), "paired"),
    Region("25763004", _("lower leg, front"), "paired"),
    Region("47224004", _("lower leg, back"), "paired"),
    Region("60496002", _("foot"), "paired"),
    Region("57999000", _("sole"), "paired"),
    Region("84607009", _("heel"), "paired"),
    Region("52034004", _("toe"), "paired"),
    Region("770805009", _("nail of a toe"), "paired", ("52034004",)),
)
# What rules may ask for instead of a site (FACTS, `region`); the perineum and the buttock are trunk, the shoulder arm.
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
    "arm": ("76552005", "45981001", "72939005", "70559009", "41550009"),
    "hand": ("33712006", "244169007"),
    "palm": ("70887009",),
    "nail": ("770809003", "770805009"),
    "leg": ("61248009", "73958006", "4578000", "181553006", "84507004", "25763004", "47224004"),
    "foot": ("60496002", "84607009", "52034004"),
    "sole": ("57999000",),
}  # fmt: skip
REGION_OF: Final = {code: region for region, codes in _REGION_SITES.items() for code in codes}
CODES: Final[dict[str, Region]] = {region.code: region for region in REGIONS}
SITES: Final = tuple((region.code, region.words) for region in REGIONS)


def as_side(word: str) -> Side:
    """The side that a posted or stored word names; raises `WrongSide` for any other word."""
    for side in _SIDES:
        if word == side:
            return side
    raise WrongSide("unknown_side")


def as_view(word: str) -> View:
    """Front for that word, else back: a form and the database hold no third."""
    return "front" if word == "front" else "back"


def side_word(side: Side, language: Language = ENGLISH) -> str:
    """LEFT, RIGHT or MIDLINE: in capitals, as it must be read aloud."""
    return language.translate(_SIDES[side])


def site_name(code: str, language: Language = ENGLISH) -> str:
    """The site alone: "upper arm, front"."""
    return language.translate(CODES[code].words)


def site_words(code: str, side: Side, language: Language = ENGLISH) -> str:
    """As people read it, the side in capitals: "LEFT upper arm, front", "abdomen, midline", "nose"."""
    site = site_name(code, language)
    if side == "midline" and CODES[code].sides != "either":
        return site
    return language.translate(_PLACED[side]).format(site=site)


def check_side(code: str, side: str) -> None:
    """Raise `WrongSide` where the site does not have that side."""
    region = CODES[code]
    side = as_side(side)
    if region.sides == "paired" and side == "midline":
        raise WrongSide("two_of_it", code)
    if region.sides == "midline" and side != "midline":
        raise WrongSide(f"no_{side}", code)


def check_place(code: str, side: Side, view: View, x: float, y: float) -> None:
    """Raise `WrongSide` unless site and side in words agree with the point on the chart."""
    check_side(code, side)
    hit = region_at(view, x, y)
    if hit is None:
        raise WrongSide("beside_the_body")
    if hit[0] not in (CODES[code].drawn_as or (code,)):
        raise WrongSide("other_site", code, side, hit)
    # Refused and not mended: of two statements one is wrong, and only whoever looks at the patient knows which.
    if hit[1] != side:
        raise WrongSide("other_side", code, side, hit)


# ---- the chart -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Piece:
    """One shape on the chart: a site with its side, a closed ring, and a point well inside."""

    view: View
    code: str
    side: Side
    ring: Ring

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


def _limbs(
    view: View, arm: str, forearm: str, hand: str, thigh: str, shin: str, knee: str
) -> Iterator[Piece]:
    for code, top, bottom in ((arm, 218, 388), (forearm, 388, 515)):
        yield from _pair(view, code, drawn.ARM.band(top, bottom, share(-1), share(1)))
    for code, top, bottom in ((thigh, 490, 720), (shin, 720, 928)):
        yield from _pair(view, code, drawn.LEG.band(top, bottom, share(-1), share(1)))
    yield from _pair(view, knee, drawn.LEG.band(702, 756, share(-1), share(1)))
    yield from _pair(view, hand, drawn.HAND)
    yield from _pair(view, "244169007", drawn.FINGERS)
    yield from _pair(view, "244169007", drawn.THUMB)


def _front() -> Iterator[Piece]:
    yield from _limbs("front", "45981001", "70559009", "70887009", "61248009", "25763004", "181553006")
    yield from _pair("front", "73958006", (*drawn.LEG.edge(512, 690, share(1)), *drawn.INNER_THIGH))
    yield from _pair("front", "60496002", drawn.FOOT.band(926, 972, share(-1), share(1)))
    yield from _pair("front", "52034004", drawn.FOOT.band(972, 988, share(-1), share(1)))
    yield from _pair("front", "43081002", drawn.TRUNK.band(152, 206, share(-1), units(-12)))
    yield from _middle("front", "43081002", drawn.TRUNK.band(172, 206, units(-12), units(12)))
    yield from _pair("front", "244106003", drawn.TRUNK.band(206, 352, share(-1), units(-16)))
    yield from _middle("front", "244107007", drawn.TRUNK.band(206, 352, units(-16), units(16)))
    yield from _pair("front", "75093004", (*drawn.TRUNK.edge(352, 496, share(-1)), *drawn.GROIN))
    yield from _middle("front", "75093004", drawn.TRUNK.band(352, 516, units(-12), units(12)))
    yield from _pair("front", "76552005", drawn.SHOULDER)
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
    yield from _limbs("back", "72939005", "41550009", "33712006", "4578000", "47224004", "84507004")
    yield from _pair("back", "84607009", drawn.HEEL.band(926, 984, share(-1), share(1)))
    yield from _thirds("back", "244111001", drawn.TRUNK, (204, 365), 14)
    yield from _thirds("back", "113182001", drawn.TRUNK, (365, 474), 14)
    yield from _pair("back", "76552005", drawn.SHOULDER)
    yield from _pair("back", "57999000", drawn.SOLE)
    yield from _pair("back", "52034004", drawn.TOES)
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
    region = CODES[code]
    charted = region.drawn_as or (code,)
    views = sorted(CHART, key=lambda view: view != region.seen)
    pieces = (piece for view in views for piece in CHART[view])
    piece = next(piece for piece in pieces if piece.code in charted and piece.side == side)
    return piece.view, *piece.centre
