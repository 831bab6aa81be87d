"""Add up published checklists that a dermatologist fills in, beside published thresholds; no judgement of ours."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from clinic.formats.language import ENGLISH, Language, gettext_noop

_SEVEN_MM = Decimal(7)


@dataclass(frozen=True)
class Score:
    """The sum of one checklist: `value` is exact, `threshold_met` compares it with the threshold of `reading`."""

    name: str
    value: Decimal
    threshold_met: bool
    reading: str

    @property
    def words(self) -> str:
        return score_words(self.reading, self.value)


# What a sum is laid beside: published limits alone. What the sources then advise is left out, since the program
# neither suspects nor tells anybody what to do.
READINGS: Final = {
    "abcd_above": gettext_noop(
        "Total dermoscopy score {value}, above both published limits, 4.75 and 5.45 (Stolz, Nachbar 1994)."
    ),
    "abcd_between": gettext_noop(
        "Total dermoscopy score {value}, between the published limits, 4.75 and 5.45 (Stolz, Nachbar 1994)."
    ),
    "abcd_below": gettext_noop(
        "Total dermoscopy score {value}, below both published limits, 4.75 and 5.45 (Stolz, Nachbar 1994)."
    ),
    "weighted": gettext_noop(
        "{value} of 10. Published threshold (NICE NG12): 3 or more; "
        "strong concern about any one feature counts as much."
    ),
    "dermoscopic": gettext_noop("{value} of 10. Published threshold (Argenziano 1998): 3 or more."),
    "dermoscopic_revised": gettext_noop(
        "{value} of 10. Published threshold (revised, as restated on dermoscopedia): 1 or more."
    ),
    "three_point": gettext_noop("{value} of 3. Published threshold (DermNet): 2 or more."),
}


def score_words(reading: str, value: Decimal, language: Language = ENGLISH) -> str:
    """A sum beside its published threshold."""
    shown = f"{value:.1f}" if reading.startswith("abcd_") else f"{value:.0f}"
    return language.translate(READINGS[reading]).format(value=shown)


def abcd_rule(*, asymmetry: int, border: int, colours: int, structures: int) -> Score:
    """
    ABCD rule of dermoscopy: total dermoscopy score 1.3A + 0.1B + 0.5C + 0.5D.

    Parameters
    ----------
    asymmetry : int
        0 to 2: axes, placed for the lowest score, with asymmetry of contour, colour or structure.
    border : int
        0 to 8: eighths of the border with an abrupt pigment edge.
    colours : int
        1 to 6 of white, red, light brown, dark brown, blue-grey, black.
    structures : int
        1 to 5 of network, structureless area, branched streaks, dots, globules.

    Returns
    -------
    Score
        1.0 to 8.9 in steps of 0.1; `threshold_met` from 4.75 on, the lower of the two published limits.

    Raises
    ------
    ValueError
        When a criterion lies outside its range.

    Notes
    -----
    Stolz / Nachbar 1994, as restated on dermoscopedia, "ABCD rule" (docs/sources.md). Melanocytic lesions
    only; not for face, palms, soles, nails or mucosa (from memory).
    """
    _within("asymmetry", asymmetry, 0, 2)
    _within("border", border, 0, 8)
    _within("colours", colours, 1, 6)
    _within("structures", structures, 1, 5)
    # In tenths, because a float sum of 4.7 or 5.4 may land on the wrong side of a limit.
    tenths = 13 * asymmetry + border + 5 * colours + 5 * structures
    reading = next(code for limit, code in _ABCD_READINGS if tenths * 10 >= limit)
    return Score("ABCD rule", Decimal(tenths) / 10, tenths * 10 >= 475, reading)


# Lower limits in hundredths: above 5.45, from 4.75, below.
_ABCD_READINGS = (
    (546, "abcd_above"),
    (475, "abcd_between"),
    (0, "abcd_below"),
)


def weighted_seven_point(
    *,
    change_in_size: bool,
    irregular_border: bool,
    irregular_colour: bool,
    diameter_mm: Decimal,
    inflammation: bool,
    oozing: bool,
    change_in_sensation: bool,
) -> Score:
    """
    Weighted 7-point checklist for the naked eye: three major features count 2, four minor ones 1.

    Parameters
    ----------
    change_in_size, irregular_border, irregular_colour : bool
        Major features; the border includes the shape.
    diameter_mm : Decimal
        Largest diameter in mm; 7 mm or more scores, 6.9 does not.
    inflammation, oozing, change_in_sensation : bool
        Minor features; oozing includes crusting.

    Returns
    -------
    Score
        0 to 10; `threshold_met` from 3 on.

    Raises
    ------
    ValueError
        When the diameter is not above zero.

    Notes
    -----
    Glasgow checklist as used in NICE NG12: 3 or more, suspected-cancer referral; strong concern about any
    one feature is enough (NICE CKS; docs/sources.md, "Checklists").
    """
    if not diameter_mm.is_finite() or diameter_mm <= 0:
        raise ValueError(f"diameter_mm {diameter_mm} must be a number above zero")
    major = (change_in_size, irregular_border, irregular_colour)
    minor = (diameter_mm >= _SEVEN_MM, inflammation, oozing, change_in_sensation)
    total = 2 * sum(major) + sum(minor)
    return Score("weighted 7-point checklist", Decimal(total), total >= 3, "weighted")


def dermoscopic_seven_point(
    *,
    atypical_network: bool,
    blue_whitish_veil: bool,
    atypical_vessels: bool,
    irregular_streaks: bool,
    irregular_dots: bool,
    irregular_blotches: bool,
    regression: bool,
    revised: bool = False,
) -> Score:
    """
    Dermoscopic 7-point checklist: three major criteria count 2, four minor ones 1.

    Parameters
    ----------
    atypical_network, blue_whitish_veil, atypical_vessels : bool
        Major criteria.
    irregular_streaks, irregular_dots, irregular_blotches, regression : bool
        Minor criteria; dots include globules.
    revised : bool
        Compare with the revised threshold instead of the classic one.

    Returns
    -------
    Score
        0 to 10; `threshold_met` from 3 on, revised from 1 on.

    Notes
    -----
    Argenziano et al., Arch Dermatol 1998;134:1563-1570, 3 or more; the revised threshold of 1 or more as
    restated on dermoscopedia, "Seven Point Checklist".
    """
    major = (atypical_network, blue_whitish_veil, atypical_vessels)
    minor = (irregular_streaks, irregular_dots, irregular_blotches, regression)
    total = 2 * sum(major) + sum(minor)
    least, reading = (1, "dermoscopic_revised") if revised else (3, "dermoscopic")
    return Score("dermoscopic 7-point checklist", Decimal(total), total >= least, reading)


def three_point(*, asymmetry: bool, atypical_network: bool, blue_white_structures: bool) -> Score:
    """
    3-point checklist of dermoscopy: one point for each criterion.

    Parameters
    ----------
    asymmetry : bool
        Of colour or structure in one or two axes; the shape does not count.
    atypical_network, blue_white_structures : bool
        The other two criteria.

    Returns
    -------
    Score
        0 to 3; `threshold_met` from 2 on.

    Notes
    -----
    DermNet, 3-point checklist: 2 or more, biopsy.
    """
    total = asymmetry + atypical_network + blue_white_structures
    return Score("3-point checklist", Decimal(total), total >= 2, "three_point")


def _within(name: str, value: int, least: int, most: int) -> None:
    if not least <= value <= most:
        raise ValueError(f"{name} {value} is not between {least} and {most}")
