"""Define what each published checklist asks, in our words, and how its answers are added up."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any, Literal

from scheduling.models import ChecklistKind
from scheduling.rules import checklist_sums
from scheduling.rules.checklist_sums import Score

Entries = Mapping[str, Any]
Choices = tuple[tuple[str, str], ...]


class BadEntry(ValueError):
    """Raised for an answer that is missing or unknown; the text says which."""


@dataclass(frozen=True)
class Item:
    """One item: `one` of the choices, `many` of them, or millimetres; `measure` names what pictures say about it."""

    name: str
    label: str
    how: Literal["one", "many", "mm"]
    choices: Choices = ()
    help: str = ""
    measure: str = ""
    at_least: int = 0

    def words(self, answer: Any) -> str:
        if self.how == "mm":
            return f"{answer} mm"
        known = dict(self.choices)
        chosen = [answer] if self.how == "one" else answer
        return ", ".join(known[key] for key in chosen) or "none"


@dataclass(frozen=True)
class Sheet:
    kind: ChecklistKind
    source: str
    limits: str
    items: tuple[Item, ...]
    score: Callable[[Entries], Score]

    @property
    def ticks(self) -> tuple[Item, ...]:
        """List the items that may all stay empty; then it is said that nothing was seen."""
        return tuple(item for item in self.items if item.how == "many" and not item.at_least)

    def answers(self, entries: Entries) -> list[tuple[str, str]]:
        return [(item.label, item.words(entries[item.name])) for item in self.items]

    def judge(self, entries: Entries) -> Score:
        for item in self.items:
            _check(item, entries.get(item.name))
        try:
            return self.score(entries)
        except (ValueError, InvalidOperation) as error:
            raise BadEntry(f"This cannot be counted: {error}.") from error


def _check(item: Item, answer: Any) -> None:
    known = {key for key, _ in item.choices}
    if item.how == "one" and answer not in known:
        raise BadEntry(f"{item.label}: choose one of the answers.")
    if item.how == "many" and (not isinstance(answer, list) or not set(answer) <= known):
        raise BadEntry(f"{item.label}: one of these answers is unknown.")
    if item.how == "many" and len(set(answer)) < item.at_least:
        raise BadEntry(f"{item.label}: tick at least one.")


def _abcd(entries: Entries) -> Score:
    return checklist_sums.abcd_rule(
        asymmetry=int(entries["asymmetry"]),
        border=int(entries["border"]),
        colours=len(set(entries["colours"])),
        structures=len(set(entries["structures"])),
    )


def _ticked(choices: Choices, entries: Entries) -> dict[str, bool]:
    chosen = {*entries.get("major", ()), *entries.get("minor", ()), *entries.get("seen", ())}
    return {name: name in chosen for name, _ in choices}


def _weighted(entries: Entries) -> Score:
    ticked = _ticked(_WEIGHTED_MAJOR + _WEIGHTED_MINOR, entries)
    return checklist_sums.weighted_seven_point(**ticked, diameter_mm=Decimal(entries["diameter_mm"]))


def _dermoscopic(entries: Entries) -> Score:
    ticked = _ticked(_DERMOSCOPIC_MAJOR + _DERMOSCOPIC_MINOR, entries)
    return checklist_sums.dermoscopic_seven_point(**ticked, revised=entries["threshold"] == "revised")


def _three(entries: Entries) -> Score:
    return checklist_sums.three_point(**_ticked(_THREE, entries))


_WEIGHTED_MAJOR: Choices = (
    ("change_in_size", "its size has changed"),
    ("irregular_border", "its shape or border is irregular"),
    ("irregular_colour", "its colour is irregular"),
)
_WEIGHTED_MINOR: Choices = (
    ("inflammation", "it is inflamed"),
    ("oozing", "it oozes or crusts"),
    ("change_in_sensation", "it itches or feels otherwise than before"),
)
_DERMOSCOPIC_MAJOR: Choices = (
    ("atypical_network", "atypical pigment network"),
    ("blue_whitish_veil", "blue-whitish veil"),
    ("atypical_vessels", "atypical vascular pattern"),
)
_DERMOSCOPIC_MINOR: Choices = (
    ("irregular_streaks", "irregular streaks"),
    ("irregular_dots", "irregular dots or globules"),
    ("irregular_blotches", "irregular blotches"),
    ("regression", "regression structures"),
)
_THREE: Choices = (
    ("asymmetry", "asymmetry of colour or structure over one or two axes; the shape does not count"),
    ("atypical_network", "atypical pigment network"),
    ("blue_white_structures", "blue-white structures"),
)
_COLOURS: Choices = (
    ("white", "white, paler than the skin nearby"),
    ("red", "red"),
    ("light_brown", "light brown"),
    ("dark_brown", "dark brown"),
    ("blue_grey", "blue-grey"),
    ("black", "black"),
)
_STRUCTURES: Choices = (
    ("network", "pigment network"),
    ("structureless", "structureless area, more than a tenth of the lesion"),
    ("streaks", "branched streaks, more than two"),
    ("dots", "dots, more than two"),
    ("globules", "globules, one is enough"),
)
_AXES: Choices = (("0", "over neither axis"), ("1", "over one axis"), ("2", "over both axes"))
_FOLD = "Lay two axes at right angles so that the halves differ least in contour, colour or structure."
_MELANOCYTIC = (
    "For melanocytic lesions; not for the face, palms, soles, nails or mucosa (from memory, to be checked)."
)
_DERMOSCOPY = "For pigmented lesions seen through a dermatoscope."

SHEETS: dict[str, Sheet] = {
    sheet.kind.value: sheet
    for sheet in (
        Sheet(
            ChecklistKind.ABCD,
            "Stolz, Nachbar 1994, as restated on dermoscopedia",
            _MELANOCYTIC,
            (
                Item("asymmetry", "A: asymmetry, × 1.3", "one", _AXES, _FOLD, "asymmetry_axes"),
                Item(
                    "border",
                    "B: eighths of the border where the pigment ends abruptly, × 0.1",
                    "one",
                    tuple((str(count), str(count)) for count in range(9)),
                    measure="border_abrupt",
                ),
                Item("colours", "C: colours, × 0.5 each", "many", _COLOURS, "", "colours", at_least=1),
                Item("structures", "D: structures, × 0.5 each", "many", _STRUCTURES, at_least=1),
            ),
            _abcd,
        ),
        Sheet(
            ChecklistKind.WEIGHTED,
            "Glasgow checklist as used in NICE NG12",
            "For the naked eye.",
            (
                Item("major", "Major features, 2 each", "many", _WEIGHTED_MAJOR),
                Item("minor", "Minor features, 1 each", "many", _WEIGHTED_MINOR),
                Item("diameter_mm", "Largest diameter, 1 from 7 mm on", "mm", measure="feret"),
            ),
            _weighted,
        ),
        Sheet(
            ChecklistKind.DERMOSCOPIC,
            "Argenziano et al., Arch Dermatol 1998;134:1563-1570; revised threshold as restated on dermoscopedia",
            _DERMOSCOPY,
            (
                Item("major", "Major criteria, 2 each", "many", _DERMOSCOPIC_MAJOR),
                Item("minor", "Minor criteria, 1 each", "many", _DERMOSCOPIC_MINOR),
                Item(
                    "threshold",
                    "Read it against",
                    "one",
                    (("classic", "the classic threshold, 3"), ("revised", "the revised threshold, 1")),
                ),
            ),
            _dermoscopic,
        ),
        Sheet(
            ChecklistKind.THREE,
            "DermNet, 3-point checklist",
            _DERMOSCOPY,
            (Item("seen", "Criteria, 1 each", "many", _THREE),),
            _three,
        ),
    )
}
