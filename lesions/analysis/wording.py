"""English of what the core answers by code: templates that take the answer's own values, and nothing else."""

from __future__ import annotations

from typing import Any

from lesions.analysis.types import Doubt, Quality

# Why an outline wants a person's look (`Measurement.doubt`).
_OF_OUTLINE = {
    "none_found": "No lesion was found; draw its outline.",
    "turns_disagree": "The turned picture gives another outline. Check it.",
    "ways_disagree": "Different ways of finding the border disagree. Check it.",
    "faint_border": "The lesion hardly differs from the skin round it. Check it.",
    "leaves_picture": "The outline runs along the rim of the picture. Check it.",
    "fills_picture": "The outline takes most of the picture. Check it.",
    "very_small": "The outline is very small. Check it.",
    "ragged": "The outline is unusually ragged. Check it.",
}
# Why two pictures are not laid on each other (`Registration.reasons`).
_OF_ALIGNMENT = {
    "little_skin": "Too little skin shows around the lesion to tell growth from a camera held closer.",
    "skin_not_found": "The skin around the lesion was not found again in the other picture.",
    "no_outline": "Without an outline in both pictures nothing tells the lesion from its skin.",
    "mirrored": "The later picture looks mirrored; check how it was exported.",
    "scales_disagree": "The skin fits at a size {off:.0%} off what the two scales say; check both scales.",
}
REASONS = _OF_OUTLINE | _OF_ALIGNMENT
# What a photograph is judged by, by the name of the quality; `value` and `limit` are the answer's own.
QUALITIES = {
    "focus": "Sharpness {value:.2f}, at least {limit:.2f} is wanted.",
    "exposure": "{value:.1%} of the field is clipped, at most {limit:.0%} is wanted.",
    "glare": "{value:.1%} of the lesion shines white, at most {limit:.0%} is wanted.",
    "hair": "{value:.1%} of the lesion is under hair, at most {limit:.0%} is wanted.",
    "frame": "{value:.1%} of the border lies on the picture's rim, at most {limit:.0%} is wanted.",
    "scale": "The picture's ruler is {value:.1%} off the scale given, at most {limit:.0%} is wanted.",
    "resolution": "The lesion is {value:.0f} pixels across, at least {limit:.0f} are wanted.",
}
ADVICE = {
    "focus": "Hold still, refocus and take it again.",
    "exposure": "Take it again with less light or exposure.",
    "glare": "Press the plate on fully, use more gel, or cross-polarise.",
    "hair": "Part, flatten or clip the hair and take it again.",
    "frame": "Step back or move so that the whole lesion is in the field.",
    "scale": "Check which camera, lens and distance were used.",
    "resolution": "Go closer or use a finer camera.",
}
NOT_ASSESSED = "Not assessed: there is no outline."


def reason(code: str, **params: Any) -> Doubt:
    """The reason of this code, with its sentence."""
    return Doubt(code, REASONS[code].format(**params), params)


def quality(name: str, value: float | None, limit: float, *, ok: bool) -> Quality:
    """The judgement of one property, with its sentence and, where it falls short, what to do; None: not assessed."""
    if value is None:
        return Quality(name, None, limit, ok, NOT_ASSESSED)
    text = QUALITIES[name].format(value=value, limit=limit)
    return Quality(name, round(float(value), 4), limit, ok, text if ok else f"{text} {ADVICE[name]}")
