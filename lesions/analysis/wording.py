"""The answers of the core in sentences: one English template for each code, filled in the reader's language."""

from __future__ import annotations

from typing import Any, Final

from clinic.formats.language import ENGLISH, Language, gettext_noop
from lesions.analysis.types import (
    DistanceFromOthers,
    Message,
    Quality,
)

Json = dict[str, Any]

CHECK: Final = gettext_noop("Check it.")
DOUBTS: Final = {
    "ways_disagree": gettext_noop("Different ways of finding the border disagree."),
    "faint_border": gettext_noop("The lesion hardly differs from the skin round it."),
    "turns_disagree": gettext_noop("The turned picture gives another outline."),
    "leaves_picture": gettext_noop("The outline runs along the rim of the picture."),
    "fills_picture": gettext_noop("The outline takes most of the picture."),
    "very_small": gettext_noop("The outline is very small."),
    "ragged": gettext_noop("The outline is unusually ragged."),
    "rim_unmoved": gettext_noop("The outline moved although the rim was not seen to move with it."),
}
NOTHING_FOUND: Final = {"none_found": gettext_noop("No lesion was found; draw its outline.")}
UNALIGNED: Final = {
    "little_skin": gettext_noop(
        "Too little skin shows around the lesion to tell growth from a camera held closer."
    ),
    "skin_not_found": gettext_noop("The skin around the lesion was not found again in the other picture."),
    "no_outline": gettext_noop("Without an outline in both pictures nothing tells the lesion from its skin."),
    "mirrored": gettext_noop("The later picture looks mirrored; check how it was exported."),
    "scales_disagree": gettext_noop(
        "The skin fits at a size {off} off what the two scales say; check both scales."
    ),
}
UNREADABLE: Final = {
    "other_format": gettext_noop("This file is not a JPEG, PNG, TIFF or WebP picture."),
    "too_dear": gettext_noop(
        "Reading this picture takes too much memory; export it again as an ordinary JPEG."
    ),
    "too_long": gettext_noop("Reading this picture takes too long; export it again as an ordinary JPEG."),
    "broken_off": gettext_noop("Reading this picture was broken off; export it again as an ordinary JPEG."),
    "damaged": gettext_noop("The picture file is damaged or incomplete; export it again."),
    "without_value": gettext_noop(
        "The picture has pixels without a value; export it again as an ordinary JPEG."
    ),
    "other_kind": gettext_noop("This kind of picture cannot be read; export it again as an ordinary JPEG."),
    "several": gettext_noop("The file holds more than one picture; export each as a file of its own."),
    "too_small": gettext_noop("The picture is under {least} pixels on a side; send a larger one."),
    "too_many": gettext_noop(
        "The picture has too many pixels. At most {most} million pixels can be read; send a smaller one."
    ),
    "too_many_of_kind": gettext_noop(
        "The picture has too many pixels. For a picture of this kind at most {most} million pixels can be read; "
        "send a smaller one."
    ),
    "too_many_webp": gettext_noop(
        "The picture has too many pixels. For a WebP picture at most {most} million pixels can be read; "
        "send a smaller one."
    ),
}
UNUSABLE: Final = {
    "too_few_points": gettext_noop("An outline needs at least three points."),
    "encloses_nothing": gettext_noop("The outline encloses nothing."),
}
SENTENCES: Final = DOUBTS | NOTHING_FOUND | UNALIGNED | UNREADABLE | UNUSABLE

# Each point of quality: what was found against its limit, how both are written, and what staff can do.
QUALITY: Final = {
    "focus": (gettext_noop("Sharpness {value}, at least {limit} is wanted."), ".2f", ".2f"),
    "exposure": (gettext_noop("{value} of the field is clipped, at most {limit} is wanted."), ".1%", ".0%"),
    "glare": (gettext_noop("{value} of the lesion shines white, at most {limit} is wanted."), ".1%", ".0%"),
    "hair": (gettext_noop("{value} of the lesion is under hair, at most {limit} is wanted."), ".1%", ".0%"),
    "frame": (
        gettext_noop("{value} of the border lies on the picture's rim, at most {limit} is wanted."),
        ".1%",
        ".0%",
    ),
    "scale": (
        gettext_noop("The picture's ruler is {value} off the scale given, at most {limit} is wanted."),
        ".1%",
        ".0%",
    ),
    "resolution": (
        gettext_noop("The lesion is {value} pixels across, at least {limit} are wanted."),
        ".0f",
        ".0f",
    ),
}
ADVICE: Final = {
    "focus": gettext_noop("Hold still, refocus and take it again."),
    "exposure": gettext_noop("Take it again with less light or exposure."),
    "glare": gettext_noop("Press the plate on fully, use more gel, or cross-polarise."),
    "hair": gettext_noop("Part, flatten or clip the hair and take it again."),
    "frame": gettext_noop("Step back or move so that the whole lesion is in the field."),
    "scale": gettext_noop("Check which camera, lens and distance were used."),
    "resolution": gettext_noop("Go closer or use a finer camera."),
}
NOT_ASSESSED: Final = gettext_noop("Not assessed: there is no outline.")

# How a measure came about, or why it is missing.
METHODS: Final = {
    "no_scale": gettext_noop("not given: the picture has no scale"),
    "no_outline": gettext_noop("not given: there is no outline"),
    "too_few_pixels": gettext_noop("not given: the outline holds too few pixels"),
    "area": gettext_noop("shoelace area of the sub-pixel border"),
    "perimeter": gettext_noop("length of the sub-pixel border"),
    "feret": gettext_noop("largest distance across the sub-pixel border"),
    "asymmetry_shape": gettext_noop(
        "part outside its own mirror image, mean of the two best axes at right angles"
    ),
    "asymmetry_colour": gettext_noop("mean CIEDE2000 between mirrored halves, both axes"),
    "asymmetry_structure": gettext_noop(
        "difference of fine structure between mirrored halves over its sum, both axes"
    ),
    "asymmetry_axes": gettext_noop(
        "axes with shape over {shape}, colour over {colour} or structure over {structure} "
        "(limits our own, no source)"
    ),
    "border_abrupt": gettext_noop("eighths with a density ramp under {ramp} of the equivalent diameter"),
    "border_dimension": gettext_noop(
        "box-counting dimension of the sub-pixel border, boxes of 1/4 to 1/24 of its extent"
    ),
    "solidity": gettext_noop("area over the area of the convex hull"),
    "compactness": gettext_noop("perimeter squared over 4 pi area"),
    "colours": gettext_noop("of six colours, those above {least} of the lesion"),
    "colour": gettext_noop("share of the lesion nearest to this colour, skin brought to a common tone"),
}
# Who found or drew the border, as a further note on how a size came about.
FOUND_BY: Final = {
    "person": gettext_noop("drawn by a person"),
    "network": gettext_noop("found by the network"),
    "weights_missing": gettext_noop("found by the vote alone, as the network's weights are missing"),
    "weights_damaged": gettext_noop("found by the vote alone, as the network's weights are damaged"),
    "no_runtime": gettext_noop("found by the vote alone, as ONNX Runtime is not installed"),
}
SCALED_BY: Final = {
    "device": gettext_noop("scale of the device"),
    "ruler": gettext_noop("scale of a ruler in the picture"),
    "hand": gettext_noop("scale by two points set by hand"),
    "given": gettext_noop("scale as given"),
}
NAMES: Final = {
    "area": gettext_noop("area"),
    "perimeter": gettext_noop("perimeter"),
    "feret": gettext_noop("largest diameter"),
    "asymmetry_shape": gettext_noop("asymmetry of shape"),
    "asymmetry_colour": gettext_noop("asymmetry of colour"),
    "asymmetry_structure": gettext_noop("asymmetry of structure"),
    "asymmetry_axes": gettext_noop("asymmetric axes"),
    "border_abrupt": gettext_noop("abrupt border"),
    "border_dimension": gettext_noop("ruggedness of the border"),
    "solidity": gettext_noop("solidity"),
    "compactness": gettext_noop("compactness"),
    "colours": gettext_noop("number of colours"),
    "colour_white": gettext_noop("white"),
    "colour_red": gettext_noop("red"),
    "colour_light_brown": gettext_noop("light brown"),
    "colour_dark_brown": gettext_noop("dark brown"),
    "colour_blue_grey": gettext_noop("blue-grey"),
    "colour_black": gettext_noop("black"),
    "rim_area": gettext_noop("area by the rim found again"),
}
# What sets a lesion apart from the others of the same person.
ABOVE: Final = {
    "area": gettext_noop("larger"),
    "feret": gettext_noop("longer"),
    "darkness": gettext_noop("darker"),
    "colours": gettext_noop("of more colours"),
}
BELOW: Final = {
    "area": gettext_noop("smaller"),
    "feret": gettext_noop("shorter"),
    "darkness": gettext_noop("lighter"),
    "colours": gettext_noop("of fewer colours"),
}
APART: Final = gettext_noop("{last} than the other {others}")
APART_IN_MORE: Final = gettext_noop("{first} and {last} than the other {others}")


def fill(message: Message, language: Language = ENGLISH) -> str:
    """Write a doubt, a reason or a refusal as one sentence."""
    template = language.translate(SENTENCES[message.code])
    return template.format(**{name: _written(value) for name, value in message.params.items()})


def _written(value: Any) -> Any:
    """A share of one is read as per cent."""
    return f"{value:.0%}" if isinstance(value, float) else value


def doubt(message: Message, language: Language = ENGLISH) -> str:
    """Write a doubt with what it asks for."""
    said = fill(message, language)
    return said if message.code in NOTHING_FOUND else f"{said} {language.translate(CHECK)}"


def quality(found: Quality, language: Language = ENGLISH) -> str:
    """Write one point of quality, with what staff can do where it falls short."""
    if found.value is None:
        return language.translate(NOT_ASSESSED)
    template, value, limit = QUALITY[found.name]
    said = language.translate(template).format(value=f"{found.value:{value}}", limit=f"{found.limit:{limit}}")
    return said if found.ok else f"{said} {language.translate(ADVICE[found.name])}"


def method(message: Message, language: Language = ENGLISH) -> str:
    """Write how a measure came about: what was reckoned, who found the border, where the scale is from."""
    values = message.params
    said = [language.translate(METHODS[message.code]).format(**values)]
    said += [language.translate(FOUND_BY[values["by"]])] if "by" in values else []
    said += [language.translate(SCALED_BY[values["scale"]])] if "scale" in values else []
    return ", ".join(said)


def name(measure: str, language: Language = ENGLISH) -> str:
    """The name of a measure as staff read it, the same in millimetres and in pixels."""
    known = NAMES.get(measure.removesuffix("_px"))
    return measure.replace("_", " ") if known is None else language.translate(known)


def apart(found: DistanceFromOthers, language: Language = ENGLISH) -> str:
    """Write what sets a lesion apart from the person's others; empty where nothing does."""
    ways = [ABOVE[each] for each in found.above] + [BELOW[each] for each in found.below]
    if not ways:
        return ""
    *first, last = [language.translate(way) for way in ways]
    template = APART_IN_MORE if first else APART
    return language.translate(template).format(first=", ".join(first), last=last, others=found.others)


# ---- the command line ---------------------------------------------------------------------------


def told(answer: Json, language: Language = ENGLISH) -> Json:
    """Put the sentences into an answer, as the command line gives it (interfaces.md, schema 2)."""
    if "registration" in answer:
        laid = answer["registration"]
        reasons = [_with_text(row, fill(Message(**row), language)) for row in laid["reasons"]]
        sides = {side: told(answer[side], language) for side in ("earlier", "later")}
        return answer | sides | {"registration": laid | {"reasons": reasons}}
    return answer | {
        "doubt": [_with_text(row, doubt(Message(**row), language)) for row in answer["doubt"]],
        "measures": [
            row | {"method": method(Message(**row["method"]), language)} for row in answer["measures"]
        ],
        "quality": [_with_text(row, quality(Quality(**row), language)) for row in answer["quality"]],
    }


def _with_text(row: Json, text: str) -> Json:
    return row | {"text": text}
