"""AJCC 8th edition stage of cutaneous melanoma from T, N and M (docs/sources.md), or "cannot stage"."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache

STAGES = ("0", "IA", "IB", "IIA", "IIB", "IIC", "III", "IIIA", "IIIB", "IIIC", "IIID", "IV")
_NODES = ("N1a", "N1b", "N1c", "N2a", "N2b", "N2c", "N3a", "N3b", "N3c")
_ALL_N = ("N0", *_NODES)
_T_WITH_LETTER = ("T1a", "T1b", "T2a", "T2b", "T3a", "T3b", "T4a", "T4b")
_METASTASES = ("M1", "M1a", "M1b", "M1c", "M1d")

# T: clinical and pathological stage with N0, then the pathological stage with N1a … N3c ("-" is not listed).
_GRID = {
    "Tis": "0 0   - - - - - - - - -",
    "T0": "- -    - IIIB IIIB - IIIC IIIC - IIIC IIIC",
    "T1a": "IA IA  IIIA IIIB IIIB IIIA IIIB IIIC IIIC IIIC IIIC",
    "T1b": "IB IA  IIIA IIIB IIIB IIIA IIIB IIIC IIIC IIIC IIIC",
    "T2a": "IB IB  IIIA IIIB IIIB IIIA IIIB IIIC IIIC IIIC IIIC",
    "T2b": "IIA IIA  IIIB IIIB IIIB IIIB IIIB IIIC IIIC IIIC IIIC",
    "T3a": "IIA IIA  IIIB IIIB IIIB IIIB IIIB IIIC IIIC IIIC IIIC",
    "T3b": "IIB IIB  IIIC IIIC IIIC IIIC IIIC IIIC IIIC IIIC IIIC",
    "T4a": "IIB IIB  IIIC IIIC IIIC IIIC IIIC IIIC IIIC IIIC IIIC",
    "T4b": "IIC IIC  IIIC IIIC IIIC IIIC IIIC IIIC IIID IIID IIID",
}
_ROWS = {t: tuple(row.split()) for t, row in _GRID.items()}


@dataclass(frozen=True)
class Staging:
    """What can be said: `stage` when exactly one fits; `possible` holds every stage the inputs leave open."""

    t: str
    stage: str | None
    basis: str | None
    possible: frozenset[str]
    at_least: bool
    reason: str


def rounded(thickness: str) -> Decimal:
    """
    Breslow thickness as AJCC 8 uses it.

    Parameters
    ----------
    thickness : str
        Millimetres as typed, ``0.80`` or ``>=0.8``; rounded half up to 0.1 mm, at least 0.1 when above zero.

    Notes
    -----
    AJCC 8th edition, nearest 0.1 mm (from memory): a float would round 2.05 to 2.0 and give the wrong T.
    """
    exact = Decimal(thickness.removeprefix(">="))
    tenth = exact.quantize(Decimal("0.1"), ROUND_HALF_UP)
    return max(tenth, Decimal("0.1")) if exact > 0 else tenth


def t_category(
    *, in_situ: bool, primary: str | None, thickness: str | None, ulceration: bool | None
) -> tuple[str, ...]:
    """
    List every T category that the inputs leave open; one when T is certain, TX when it cannot be assessed.

    Parameters
    ----------
    in_situ : bool
        Not invasive: Tis, whatever the rest says.
    primary : {"known", "none", "unassessable"} or None
        ``none`` gives T0, ``unassessable`` TX.
    thickness : str or None
        As for `rounded`; ``>=`` leaves the thicker categories open.
    ulceration : bool or None
        None is unknown.
    """
    if in_situ:
        return ("Tis",)
    if primary == "none":
        return ("T0",)
    if primary == "unassessable" or thickness is None or rounded(thickness) == 0:
        return ("TX",)
    first = _t_number(rounded(thickness))
    numbers = range(first, 5) if thickness.startswith(">=") else (first,)
    found = {
        _t_letter(number, rounded(thickness), ulcerated, number == first)
        for number in numbers
        for ulcerated in ((ulceration,) if ulceration is not None else (False, True))
    }
    if thickness.startswith(">=") and first == 1:
        found.add("T1b")
    return tuple(sorted(found))


# A clinic's tumours repeat the same few combinations, and each is looked up in the whole table.
@lru_cache(maxsize=4096)
def stage(
    *,
    in_situ: bool = False,
    primary: str | None = "known",
    thickness: str | None = None,
    ulceration: bool | None = None,
    n: str | None = None,
    m: str | None = None,
    basis: str | None = None,
) -> Staging:
    """
    Find the stage group of AJCC 8, or why there is none.

    Parameters
    ----------
    in_situ, primary, thickness, ulceration
        As for `t_category`.
    n : str or None
        N0, N1a … N3c, NX; None is not stated.
    m : str or None
        M0, M1, M1a … M1d, with or without the LDH suffix (0) or (1); None is not stated.
    basis : {"clinical", "pathological"} or None
        None stages only where both give the same group.

    Returns
    -------
    Staging
        `stage` None is "cannot stage"; `possible` then serves to plan by the strictest rule.

    Notes
    -----
    Table: NCCN Guidelines for Patients: Melanoma 2018, Guide 1; worked examples in docs/sources.md.
    """
    categories = t_category(in_situ=in_situ, primary=primary, thickness=thickness, ulceration=ulceration)
    n, m = _assumed_for_in_situ(categories, n, m)
    nodes = (n,) if n in _ALL_N else _ALL_N
    bases = (basis,) if basis else ("clinical", "pathological")
    metastasis = (m or "").partition("(")[0]
    at_least = bool(thickness and thickness.startswith(">=")) and categories[0][:2] in (
        "T1",
        "T2",
        "T3",
        "T4",
    )
    if metastasis in _METASTASES:
        return Staging(_t_text(categories), "IV", basis, frozenset({"IV"}), False, "")
    assessed = _T_WITH_LETTER if categories == ("TX",) else categories
    cells = [_cell(t, node, way) for t in assessed for node in nodes for way in bases]
    possible = {cell for cell in cells if cell} | ({"IV"} if metastasis != "M0" else set())
    reason = _gap(categories, n, metastasis, None in cells, bool(at_least), len(possible))
    certain = next(iter(possible)) if len(possible) == 1 and not reason else None
    if at_least and certain is None and n in _ALL_N and metastasis == "M0" and possible:
        certain = min(possible, key=STAGES.index)
    return Staging(_t_text(categories), certain, basis, frozenset(possible), bool(at_least), reason)


def _assumed_for_in_situ(t: tuple[str, ...], n: str | None, m: str | None) -> tuple[str | None, str | None]:
    # A tumour that has not invaded has nowhere to spread from: stage 0 needs no node pathology (§4.3).
    return (n or "N0", m or "M0") if t == ("Tis",) else (n, m)


def _cell(t: str, n: str, basis: str) -> str | None:
    if n != "N0" and basis == "clinical":
        return "III"
    column = (0 if basis == "clinical" else 1) if n == "N0" else 2 + _NODES.index(n)
    found = _ROWS[t][column]
    return None if found == "-" else found


def _gap(t: tuple[str, ...], n: str | None, m: str, unlisted: bool, at_least: bool, options: int) -> str:
    """Say why there is no single stage, as a code; empty when there is one."""
    if t == ("TX",):
        return "thickness_missing"
    if n not in _ALL_N:
        return "nodes_not_stated" if n is None else "nodes_not_assessed"
    if m != "M0":
        return "metastasis_not_stated"
    if unlisted:
        return "not_listed"
    if options <= 1:
        return ""
    if at_least:
        return "thickness_minimum"
    if len(t) > 1:
        return "ulceration_unknown"
    return "basis_not_stated"


def _t_number(tenths: Decimal) -> int:
    return 1 + sum(tenths > limit for limit in (Decimal("1.0"), Decimal("2.0"), Decimal("4.0")))


def _t_letter(number: int, tenths: Decimal, ulcerated: bool, as_typed: bool) -> str:
    thick_t1 = number == 1 and as_typed and tenths >= Decimal("0.8")
    return f"T{number}{'b' if ulcerated or thick_t1 else 'a'}"


def _t_text(categories: Iterable[str]) -> str:
    """Write T categories: one as it is, T1a and T1b together as T1, more as alternatives."""
    found = list(categories)
    if len(found) == 2 and found[0][:2] == found[1][:2]:
        return found[0][:2]
    return ",".join(found)
