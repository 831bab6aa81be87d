"""Define what each published checklist asks, in our words, and how its answers are added up."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any, Literal

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from clinic.wording import SPOKEN, Words
from scheduling.models import Checklist, ChecklistKind
from scheduling.rules import checklist_sums
from scheduling.rules.checklist_sums import Score

Entries = Mapping[str, Any]
Choices = tuple[tuple[str, Words], ...]


class BadEntry(ValueError):
    """Raised for an answer that is missing or unknown; the text says which."""


@dataclass(frozen=True)
class Item:
    """One item: `one` of the choices, `many` of them, or millimetres; `measure` names what pictures say about it."""

    name: str
    label: Words
    how: Literal["one", "many", "mm"]
    choices: Choices = ()
    help: Words = ""
    measure: str = ""
    at_least: int = 0

    def words(self, answer: Any) -> str:
        if self.how == "mm":
            return f"{answer} mm"
        known = dict(self.choices)
        chosen = [answer] if self.how == "one" else answer
        return ", ".join(str(known[key]) for key in chosen) or _("none")


@dataclass(frozen=True)
class Sheet:
    kind: ChecklistKind
    source: str
    limits: Words
    items: tuple[Item, ...]
    score: Callable[[Entries], Score]

    @property
    def ticks(self) -> tuple[Item, ...]:
        """List the items that may all stay empty; then it is said that nothing was seen."""
        return tuple(item for item in self.items if item.how == "many" and not item.at_least)

    def answers(self, entries: Entries) -> list[tuple[Words, str]]:
        return [(item.label, item.words(entries[item.name])) for item in self.items]

    def judge(self, entries: Entries) -> Score:
        # Each answer first, so that a sum is never made of what the sheet does not offer.
        for item in self.items:
            _check(item, entries.get(item.name))
        return self.score(entries)


def words_of_threshold(row: Checklist) -> str:
    """The sum of a stored checklist beside its published threshold."""
    return checklist_sums.score_words(row.reading, Decimal(row.score), SPOKEN)


def _check(item: Item, answer: Any) -> None:
    known = {key for key, _words in item.choices}
    if item.how == "one" and answer not in known:
        raise BadEntry(_("%(item)s: choose one of the answers.") % {"item": item.label})
    if item.how == "many" and (not isinstance(answer, list) or not set(answer) <= known):
        raise BadEntry(_("%(item)s: one of these answers is unknown.") % {"item": item.label})
    if item.how == "many" and len(set(answer)) < item.at_least:
        raise BadEntry(_("%(item)s: tick at least one.") % {"item": item.label})
    if item.how == "mm" and not _is_length(answer):
        raise BadEntry(_("%(item)s: enter millimetres, more than 0.") % {"item": item.label})


def _is_length(answer: Any) -> bool:
    try:
        millimetres = Decimal(answer)
    except (TypeError, InvalidOperation):
        return False
    return millimetres.is_finite() and millimetres > 0


def _abcd(entries: Entries) -> Score:
    return checklist_sums.abcd_rule(
        asymmetry=int(entries["asymmetry"]),
        border=int(entries["border"]),
        colours=len(set(entries["colours"])),
        structures=len(set(entries["structures"])),
    )


def _ticked(choices: Choices, entries: Entries) -> dict[str, bool]:
    chosen = {*entries.get("major", ()), *entries.get("minor", ()), *entries.get("seen", ())}
    return {name: name in chosen for name, _words in choices}


def _weighted(entries: Entries) -> Score:
    ticked = _ticked(_WEIGHTED_MAJOR + _WEIGHTED_MINOR, entries)
    return checklist_sums.weighted_seven_point(**ticked, diameter_mm=Decimal(entries["diameter_mm"]))


def _dermoscopic(entries: Entries) -> Score:
    ticked = _ticked(_DERMOSCOPIC_MAJOR + _DERMOSCOPIC_MINOR, entries)
    return checklist_sums.dermoscopic_seven_point(**ticked, revised=entries["threshold"] == "revised")


def _three(entries: Entries) -> Score:
    return checklist_sums.three_point(**_ticked(_THREE, entries))


_WEIGHTED_MAJOR: Choices = (
    ("change_in_size", _lazy("its size has changed")),
    ("irregular_border", _lazy("its shape or border is irregular")),
    ("irregular_colour", _lazy("its colour is irregular")),
)
_WEIGHTED_MINOR: Choices = (
    ("inflammation", _lazy("it is inflamed")),
    ("oozing", _lazy("it oozes or crusts")),
    ("change_in_sensation", _lazy("it itches or feels otherwise than before")),
)
_DERMOSCOPIC_MAJOR: Choices = (
    ("atypical_network", _lazy("atypical pigment network")),
    ("blue_whitish_veil", _lazy("blue-whitish veil")),
    ("atypical_vessels", _lazy("atypical vascular pattern")),
)
_DERMOSCOPIC_MINOR: Choices = (
    ("irregular_streaks", _lazy("irregular streaks")),
    ("irregular_dots", _lazy("irregular dots or globules")),
    ("irregular_blotches", _lazy("irregular blotches")),
    ("regression", _lazy("regression structures")),
)
_THREE: Choices = (
    ("asymmetry", _lazy("asymmetry of colour or structure over one or two axes; the shape does not count")),
    ("atypical_network", _lazy("atypical pigment network")),
    ("blue_white_structures", _lazy("blue-white structures")),
)
_COLOURS: Choices = (
    ("white", _lazy("white, paler than the skin nearby")),
    ("red", _lazy("red")),
    ("light_brown", _lazy("light brown")),
    ("dark_brown", _lazy("dark brown")),
    ("blue_grey", _lazy("blue-grey")),
    ("black", _lazy("black")),
)
_STRUCTURES: Choices = (
    ("network", _lazy("pigment network")),
    ("structureless", _lazy("structureless area, more than a tenth of the lesion")),
    ("streaks", _lazy("branched streaks, more than two")),
    ("dots", _lazy("dots, more than two")),
    ("globules", _lazy("globules, one is enough")),
)
_AXES: Choices = (
    ("0", _lazy("over neither axis")),
    ("1", _lazy("over one axis")),
    ("2", _lazy("over both axes")),
)
_FOLD = _lazy("Lay two axes at right angles so that the halves differ least in contour, colour or structure.")
_MELANOCYTIC = _lazy("For melanocytic lesions; not for the face, palms, soles, nails or mucosa.")
_DERMOSCOPY = _lazy("For pigmented lesions seen through a dermatoscope.")

SHEETS: dict[str, Sheet] = {
    sheet.kind.value: sheet
    for sheet in (
        Sheet(
            ChecklistKind.ABCD,
            "Stolz, Nachbar 1994, as restated on dermoscopedia",
            _MELANOCYTIC,
            (
                Item("asymmetry", _lazy("A: asymmetry, × 1.3"), "one", _AXES, _FOLD, "asymmetry_axes"),
                Item(
                    "border",
                    _lazy("B: eighths of the border where the pigment ends abruptly, × 0.1"),
                    "one",
                    tuple((str(count), str(count)) for count in range(9)),
                    measure="border_abrupt",
                ),
                Item("colours", _lazy("C: colours, × 0.5 each"), "many", _COLOURS, "", "colours", at_least=1),
                Item("structures", _lazy("D: structures, × 0.5 each"), "many", _STRUCTURES, at_least=1),
            ),
            _abcd,
        ),
        Sheet(
            ChecklistKind.WEIGHTED,
            "Glasgow checklist as used in NICE NG12",
            _lazy("For the naked eye."),
            (
                Item("major", _lazy("Major features, 2 each"), "many", _WEIGHTED_MAJOR),
                Item("minor", _lazy("Minor features, 1 each"), "many", _WEIGHTED_MINOR),
                Item("diameter_mm", _lazy("Largest diameter, 1 from 7 mm on"), "mm", measure="feret"),
            ),
            _weighted,
        ),
        Sheet(
            ChecklistKind.DERMOSCOPIC,
            "Argenziano et al., Arch Dermatol 1998;134:1563-1570; revised threshold as restated on dermoscopedia",
            _DERMOSCOPY,
            (
                Item("major", _lazy("Major criteria, 2 each"), "many", _DERMOSCOPIC_MAJOR),
                Item("minor", _lazy("Minor criteria, 1 each"), "many", _DERMOSCOPIC_MINOR),
                Item(
                    "threshold",
                    _lazy("Read it against"),
                    "one",
                    (
                        ("classic", _lazy("the classic threshold, 3")),
                        ("revised", _lazy("the revised threshold, 1")),
                    ),
                ),
            ),
            _dermoscopic,
        ),
        Sheet(
            ChecklistKind.THREE,
            "DermNet, 3-point checklist",
            _DERMOSCOPY,
            (Item("seen", _lazy("Criteria, 1 each"), "many", _THREE),),
            _three,
        ),
    )
}
