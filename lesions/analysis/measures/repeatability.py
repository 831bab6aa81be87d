"""Say how much each measure varies when nothing changed: every uncertainty and limit of change rests on it."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Repeat:
    """Standard error of one measurement: relative to its value, or absolute, or both added in squares."""

    relative: float = 0.0
    absolute: float = 0.0

    def sem(self, value: float) -> float:
        return math.hypot(self.relative * value, self.absolute)


# Drawn lesions recaptured in new pose, light and hair (tests/bench/imaging.py prints them anew), rounded up.
# Version 2026.4, 24 lesions: area 1.25 %, feret 0.55 %, perimeter 0.56 %, each up to 1.4 times it at 95 % (chi square);
# version 2026.3: asymmetry of structure 0.0086, dimension of the border 0.0046, no other more than is written here.
# Drawn borders are smoother and drawn colours plainer than real ones, so perimeter, compactness and shares of colour
# keep the wider figures of earlier drawings.
# 29 pairs made of single real photographs (tests/bench/pairs.py: other pose, light, hair, blur; outlines not in doubt)
# vary more in area, 1.8 % (1.3 % without the two worst), and in asymmetry of structure, where blur counts. Version
# 2026.5: drawn 1.5 %; 53 such pairs 2.1 %, 1.5 % without the four worst.
# A clinic's own repeated shots are the better figures.
FIGURES: dict[str, Repeat] = {
    "area": Repeat(relative=0.018),
    "area_px": Repeat(relative=0.018),
    "perimeter": Repeat(relative=0.026),
    "perimeter_px": Repeat(relative=0.026),
    "feret": Repeat(relative=0.008),
    "feret_px": Repeat(relative=0.008),
    "asymmetry_shape": Repeat(absolute=0.010),
    "asymmetry_colour": Repeat(absolute=0.6),
    "asymmetry_structure": Repeat(absolute=0.020),
    "asymmetry_axes": Repeat(absolute=0.5),
    "border_abrupt": Repeat(absolute=1.0),
    "border_dimension": Repeat(absolute=0.007),
    "solidity": Repeat(absolute=0.006),
    "compactness": Repeat(absolute=0.09),
    "colours": Repeat(absolute=0.5),
    "colour_white": Repeat(absolute=0.02),
    "colour_red": Repeat(absolute=0.03),
    "colour_light_brown": Repeat(absolute=0.05),
    "colour_dark_brown": Repeat(absolute=0.05),
    "colour_blue_grey": Repeat(absolute=0.03),
    "colour_black": Repeat(absolute=0.02),
}


def sem(name: str, value: float) -> float:
    """Standard error of measurement of `value`, in its own unit."""
    return FIGURES[name].sem(value)


def smallest_detectable(name: str, earlier: float, later: float) -> float:
    """Smallest change that one shot each can show at 95 %: 1.96 * sqrt(2) * SEM (Bland and Altman)."""
    return 1.96 * math.sqrt(2) * sem(name, (earlier + later) / 2)
