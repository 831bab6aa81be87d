"""Write the limits of the measures as sentences, with what a reader has to know before signing them."""

from typing import Final

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop

from clinic.formats import fault_wording
from clinic.wording import SPOKEN, alternatives
from lesions.analysis import wording as core
from lesions.limits import flags
from lesions.limits.flags import Limit
from lesions.limits.repeatability import Own

CAUTIONS: Final = (
    gettext_lazy("A limit orders work. It is no diagnosis, and nothing inside these limits is thereby safe."),
    gettext_lazy(
        "What could not be measured or compared is put before a dermatologist whatever the limits are."
    ),
    gettext_lazy(
        "A picture keeps the reasons it was given: a new set counts for what is measured from then on."
    ),
)
_ASKED: Final = {
    "value": gettext_lazy(
        "No limit for a single picture: a first picture is put forward only for having nothing to compare."
    ),
    "growth": gettext_lazy("No limit for growth: a lesion may grow without a reason to look."),
    "appears": gettext_lazy("No limit for a share that is new, such as a colour."),
    "regions": gettext_lazy("No limit for changed patches between two pictures."),
}
_PATCHES: Final = {
    "grown": gettext_lazy("grown"),
    "shrunk": gettext_lazy("shrunk"),
    "new_colour": gettext_lazy("of a new colour"),
    "darker": gettext_lazy("darker"),
    "lighter": gettext_lazy("lighter"),
}
# Units that are words; those that are counted have their words where they are counted.
_UNITS: Final = {"% of the area": gettext_lazy("% of the area")}


def measure_name(name: str) -> str:
    """The name of a measure as staff read it."""
    return core.name(name, SPOKEN)


def sentence(limit: Limit) -> str:
    """Say when this limit puts a picture before a dermatologist."""
    names = list(dict.fromkeys(measure_name(name) for name in limit.measures))
    said = {"name": names[0], "names": alternatives(names), "bound": _bound(limit)}
    if limit.of == "value":
        return _("On one picture: %(name)s above %(bound)s.") % said
    if limit.of == "growth":
        return (
            _(
                "Between two pictures: %(name)s grew by more than %(bound)s, "
                "and by more than repeated pictures of one lesion differ."
            )
            % said
        )
    if limit.of == "appears":
        return _("Between two pictures: %(names)s was below %(bound)s and is not any more.") % said
    said["names"] = alternatives([str(_PATCHES[name]) for name in limit.measures])
    return _("Between two pictures: patches that are %(names)s take more than %(bound)s together.") % said


def _bound(limit: Limit) -> str:
    """The number with its unit, which a count of what the measure is named after does without."""
    if not limit.unit or limit.measures[0].endswith(limit.unit):
        return f"{limit.limit:g}"
    return f"{limit.limit:g} {unit_words(limit.unit)}"


def unit_words(unit: str) -> str:
    """A unit as staff read it: symbols are the same in every language."""
    return str(_UNITS.get(unit, unit))


def cautions(table: tuple[Limit, ...]) -> list[str]:
    asked = {limit.of for limit in table}
    return [*map(str, CAUTIONS), *(str(words) for kind, words in _ASKED.items() if kind not in asked)]


def smallest_changes(own: Own | None) -> list[tuple[str, str]]:
    """Say the clinic's own repeatability: each measure, and the smallest change that shows."""
    if own is None:
        return []
    shares = [
        (_name(name), _("%(share)s %% of the value") % {"share": f"{share * 100:.3g}"})
        for name, share in own.relative.items()
    ]
    return shares + [(_name(name), f"{least:.3g}") for name, least in own.absolute.items()]


def _name(name: str) -> str:
    known = measure_name(name)
    return _("%(name)s, in pixels") % {"name": known} if name.endswith("_px") else known


# ---- what is wrong with a text of limits -----------------------------------------------------------

_FAULTS: Final = {
    "no_name_or_limit": gettext_noop("a table of limits has a name and at least one [[limit]]"),
    "no_table_of_its_own": gettext_noop("every limit is a table of its own, headed [[limit]]"),
    "code_twice": gettext_noop("code {value} stands twice"),
    "key_no_choice": gettext_noop("{key} is one of {known}"),
    "key_no_number": gettext_noop("{key} is a number"),
    "key_no_text": gettext_noop("{key} is a text"),
    "key_no_names": gettext_noop("{key} is a list of names"),
    "limit_without_source": gettext_noop('{key} says where the limit comes from, or "{words}"'),
    "unknown_measure": gettext_noop("there is no measure {value}"),
    "no_such_measure": gettext_noop("there is no such measure"),
    "study_without_source": gettext_noop("names its source: which lesion, how many pictures, when"),
    "unknown_key_of_study": gettext_noop("unknown key {value}"),
    "no_table_of_measures": gettext_noop("is a table of measures"),
}


def faults_of(text: str) -> list[str]:
    """Write what is wrong with a text of limits, each fault with its place; empty where it may be used."""
    return [fault_wording.say(fault, SPOKEN, _FAULTS) for fault in flags.check(text)]
