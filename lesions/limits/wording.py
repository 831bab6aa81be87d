"""Write the limits of the measures as sentences, with what a reader has to know before signing them."""

from clinic.wording import alternatives
from lesions.limits import flags
from lesions.limits.flags import Limit
from lesions.limits.repeatability import Own

CAUTIONS = (
    "A limit orders work. It is no diagnosis, and nothing inside these limits is thereby safe.",
    "What could not be measured or compared is put before a dermatologist whatever the limits are.",
    "A picture keeps the reasons it was given: a new set counts for what is measured from then on.",
)
_ASKED = {
    "value": "No limit for a single picture: a first picture is put forward only for having nothing to compare.",
    "growth": "No limit for growth: a lesion may grow without a reason to look.",
    "appears": "No limit for a share that is new, such as a colour.",
    "regions": "No limit for changed patches between two pictures.",
}

_PATCHES = {"new_colour": "of a new colour"}


def sentence(limit: Limit) -> str:
    """Say when this limit puts a picture before a dermatologist."""
    names = list(dict.fromkeys(flags.plain_name(name) for name in limit.measures))
    unit = "" if names[0].endswith(limit.unit) else _unit(limit.unit)
    bound = f"{limit.limit:g}{unit}"
    if limit.of == "value":
        return f"On one picture: {names[0]} above {bound}."
    if limit.of == "growth":
        return (
            f"Between two pictures: {names[0]} grew by more than {bound}, "
            "and by more than repeated pictures of one lesion differ."
        )
    if limit.of == "appears":
        return f"Between two pictures: {alternatives(names)} was below {bound} and is not any more."
    kinds = [_PATCHES.get(name, name) for name in limit.measures]
    return f"Between two pictures: patches that are {alternatives(kinds)} take more than {bound} together."


def _unit(unit: str) -> str:
    return f" {unit}" if unit else ""


def cautions(table: tuple[Limit, ...]) -> list[str]:
    asked = {limit.of for limit in table}
    return [*CAUTIONS, *(words for kind, words in _ASKED.items() if kind not in asked)]


def smallest_changes(own: Own | None) -> list[tuple[str, str]]:
    """Say the clinic's own repeatability: each measure, and the smallest change that shows."""
    if own is None:
        return []
    shares = [(_name(name), f"{share * 100:.3g} % of the value") for name, share in own.relative.items()]
    return shares + [(_name(name), f"{least:.3g}") for name, least in own.absolute.items()]


def _name(name: str) -> str:
    return f"{flags.plain_name(name)}, in pixels" if name.endswith("_px") else flags.plain_name(name)
