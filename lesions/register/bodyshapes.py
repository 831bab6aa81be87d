"""The figure of the body chart: our own drawing, as tubes and rings in chart units, 0 to 1000.

Everything is drawn on the viewer's left and mirrored; which side of the patient that is, `bodymap` knows.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

Point = tuple[float, float]
Ring = tuple[Point, ...]

MIDDLE: Final = 500.0
STEP: Final = 6.0  # chart units between two points of a smooth edge

Offset = Callable[[float], float]  # half width of a profile at some height -> distance from its centre line


def share(part: float) -> Offset:
    return lambda half: part * half


def units(distance: float) -> Offset:
    return lambda half: min(distance, half) if distance >= 0 else max(distance, -half)


@dataclass(frozen=True)
class Profile:
    """A tube by stations (y, centre, half width), read through a smooth curve."""

    stations: tuple[tuple[float, float, float], ...]

    def at(self, y: float, column: int) -> float:
        rows = self.stations
        index = next((i for i in range(len(rows) - 2) if y < rows[i + 1][0]), len(rows) - 2)
        low, high = rows[index], rows[index + 1]
        span = high[0] - low[0]
        t = (y - low[0]) / span
        start, end = self._slope(index, column) * span, self._slope(index + 1, column) * span
        return (
            (2 * t**3 - 3 * t**2 + 1) * low[column]
            + (t**3 - 2 * t**2 + t) * start
            + (3 * t**2 - 2 * t**3) * high[column]
            + (t**3 - t**2) * end
        )

    def _slope(self, index: int, column: int) -> float:
        last = len(self.stations) - 1
        before, after = self.stations[max(index - 1, 0)], self.stations[min(index + 1, last)]
        return (after[column] - before[column]) / (after[0] - before[0])

    def edge(self, top: float, bottom: float, offset: Offset) -> list[Point]:
        count = max(1, round((bottom - top) / STEP))
        heights = [top + (bottom - top) * i / count for i in range(count + 1)]
        return [(self.at(y, 1) + offset(max(self.at(y, 2), 0.0)), y) for y in heights]

    def band(self, top: float, bottom: float, one: Offset, other: Offset) -> Ring:
        return (*self.edge(top, bottom, one), *reversed(self.edge(top, bottom, other)))


def mirrored(ring: Ring) -> Ring:
    return tuple((2 * MIDDLE - x, y) for x, y in ring)


def inside(ring: Ring, x: float, y: float) -> bool:
    inside = False
    for (x1, y1), (x2, y2) in pairwise((*ring, ring[0])):
        if (y1 > y) != (y2 > y) and x < x1 + (y - y1) * (x2 - x1) / (y2 - y1):
            inside = not inside
    return inside


def centroid(ring: Ring) -> Point:
    area = cx = cy = 0.0
    for (x1, y1), (x2, y2) in pairwise((*ring, ring[0])):
        cross = x1 * y2 - x2 * y1
        area += cross
        cx += (x1 + x2) * cross
        cy += (y1 + y2) * cross
    return cx / (3 * area), cy / (3 * area)


# ---- the drawing -------------------------------------------------------------------------------------

HEAD: Final = Profile((
    (14, 500, 4), (20, 500, 27), (34, 500, 46), (55, 500, 58), (82, 500, 62), (108, 500, 59),
    (132, 500, 51), (150, 500, 41), (165, 500, 29), (174, 500, 17), (179, 500, 5),
))  # fmt: skip
TRUNK: Final = Profile((
    (150, 500, 37), (190, 500, 37), (204, 500, 46), (216, 500, 76), (228, 500, 103), (250, 500, 108),
    (300, 500, 103), (350, 500, 93), (395, 500, 86), (440, 500, 91), (490, 500, 103), (530, 500, 106),
    (560, 500, 104),
))  # fmt: skip
ARM: Final = Profile((
    (218, 410, 8), (226, 400, 26), (245, 388, 33), (280, 378, 33), (330, 366, 28), (380, 356, 25),
    (410, 350, 27), (450, 340, 24), (490, 331, 18), (515, 326, 17),
))  # fmt: skip
LEG: Final = Profile((
    (490, 448, 51), (530, 446, 52), (580, 446, 51), (640, 448, 44), (700, 450, 35), (730, 450, 34),
    (770, 449, 36), (805, 449, 35), (850, 451, 28), (900, 453, 20), (928, 453, 19),
))  # fmt: skip
FOOT: Final = Profile((
    (926, 453, 19), (945, 449, 22), (965, 444, 27), (978, 441, 29), (988, 440, 24),
))  # fmt: skip
HEEL: Final = Profile((
    (926, 453, 19), (945, 452, 23), (965, 451, 25), (978, 450, 21), (984, 450, 14),
))  # fmt: skip
HAND: Final[Ring] = (
    (309, 515), (300, 532), (297, 540), (299, 561), (300, 578), (301, 590), (341, 590), (343, 575),
    (345, 560), (346, 540), (343, 515),
)  # fmt: skip
FINGERS: Final[Ring] = (
    (301, 590), (301, 618), (304, 625), (308, 625), (310, 618), (311, 603), (312, 625), (314, 632),
    (318, 632), (320, 625), (321, 603), (322, 620), (325, 627), (329, 627), (331, 620), (332, 603),
    (333, 609), (335, 615), (339, 614), (341, 607), (341, 590),
)  # fmt: skip
THUMB: Final[Ring] = (
    (297, 540), (288, 549), (279, 566), (279, 574), (286, 577), (294, 569), (299, 561),
)  # fmt: skip
EAR: Final[Ring] = (
    (440, 82), (431, 79), (425, 86), (427, 103), (432, 118), (438, 122), (443, 115),
)  # fmt: skip
WING: Final[Ring] = (
    (489, 106), (482, 113), (482, 120), (488, 123), (493, 121),
)  # fmt: skip
NOSE: Final[Ring] = (
    (496, 82), (492, 100), (488, 112), (490, 121), (500, 125), (510, 121), (512, 112), (508, 100),
    (504, 82),
)  # fmt: skip
SHOULDER: Final[Ring] = (
    *ARM.edge(218, 252, share(-1)), (372, 257), (394, 252), (412, 238), (428, 223), (439, 209), (424, 215),
)  # fmt: skip
ARMPIT: Final[Ring] = (
    (400, 262), (410, 276), (411, 296), (405, 316), (397, 322), (393, 300), (394, 276),
)  # fmt: skip
INNER_THIGH: Final[Ring] = ((472, 672), (461, 636), (460, 596), (467, 556))
GROIN: Final[Ring] = ((424, 514), (452, 530), (476, 546), (488, 550), (488, 352))
SEAT: Final[Ring] = ((399, 557), (416, 570), (440, 577), (466, 576), (488, 569), (500, 558), (500, 474))
GENITALIA: Final[Ring] = (
    (474, 512), (526, 512), (524, 540), (514, 562), (500, 570), (486, 562), (476, 540),
)  # fmt: skip
PERINEUM: Final[Ring] = (
    (488, 562), (512, 562), (510, 582), (500, 590), (490, 582),
)  # fmt: skip
# Beside the figure seen from behind, as one sees them of somebody who kneels: heels up, big toes to the middle.
SOLE: Final[Ring] = (
    (331, 772), (318, 775), (309, 786), (306, 802), (305, 822), (302, 846), (298, 868), (297, 884),
    (312, 893), (330, 897), (348, 898), (362, 893), (361, 880), (355, 864), (347, 846), (346, 828),
    (351, 808), (353, 795), (350, 783), (343, 775),
)  # fmt: skip
TOES: Final[Ring] = (
    (297, 884), (295, 893), (299, 903), (305, 904), (309, 899), (311, 907), (316, 911), (321, 907),
    (322, 901), (324, 912), (329, 916), (334, 912), (335, 902), (337, 915), (342, 919), (346, 914),
    (347, 903), (349, 922), (355, 929), (362, 926), (366, 910), (362, 893), (348, 898), (330, 897),
    (312, 893),
)  # fmt: skip
LIPS: Final = Profile((
    (128, 500, 15), (136, 500, 25), (145, 500, 14),
))  # fmt: skip
