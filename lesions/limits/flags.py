"""Find the reasons to put a lesion before a dermatologist: the clinic's limits, and what numbers cannot answer."""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field, fields
from functools import lru_cache
from pathlib import Path
from typing import Any

from clinic.formats import strict_toml
from clinic.formats.strict_toml import Fault, Table, as_number, quote
from clinic.models import Policy
from lesions.analysis.measures.repeatability import FIGURES
from lesions.analysis.types import Comparison, Delta, Json, Measure, Measurement, Message
from lesions.limits import repeatability
from lesions.limits.repeatability import Own

KINDS = ("value", "growth", "appears", "regions")
SOURCELESS = "clinic setting, no source"
PATCHES = ("grown", "shrunk", "new_colour", "darker", "lighter")
_SHIPPED = Path(__file__).with_name("flags.toml")


@dataclass(frozen=True)
class Limit:
    """One limit of the clinic; `measures` are tried in order for growth, taken together for appears."""

    code: str
    measures: tuple[str, ...]
    of: str
    limit: float
    unit: str
    source: str
    sentence: str


_KEYS = tuple(each.name for each in fields(Limit))


@dataclass(frozen=True)
class FlagDraft:
    """A reason to look: its code and what its sentence names; the sentence is made in `lesions/review/wording.py`."""

    code: str
    params: Json = field(default_factory=dict, hash=False)
    value: float | None = None
    unit: str = ""
    uncertainty: float | None = None
    limit: float | None = None
    source: str = ""


def shipped() -> str:
    return _SHIPPED.read_text()


def check(text: str) -> list[Fault]:
    """List the faults of a table of limits; in words they are said by `wording.faults_of`."""
    return strict_toml.read(text, _limits_and_own)[1]


def limits(text: str) -> tuple[Limit, ...]:
    return _load(text)[0]


def own_repeatability(text: str) -> Own | None:
    """Read the clinic's own smallest changes, where its limits have them."""
    return _load(text)[1]


# The set in force and a few that somebody looks at: a queue of pictures reads its limits once, not for each.
@lru_cache(maxsize=8)
def _load(text: str) -> tuple[tuple[Limit, ...], Own | None]:
    return strict_toml.load(text, _limits_and_own)


def _limits_and_own(whole: Table) -> tuple[tuple[Limit, ...], Own | None] | None:
    rows = whole.values.get("limit")
    if not whole.values.get("name") or not isinstance(rows, list) or not rows:
        whole.fault("", "no_name_or_limit")
    elif not all(isinstance(row, dict) for row in rows):
        whole.fault("", "no_table_of_its_own")
    else:
        whole.has_keys(("name", "limit"), more=(repeatability.TABLE,))
        own = repeatability.read(whole)
        found = [_limit(row, number, whole.faults) for number, row in enumerate(rows, start=1)]
        for code, times in Counter(limit.code for limit in found if limit).items():
            if times > 1:
                whole.fault("", "code_twice", value=quote(code))
        return tuple(limit for limit in found if limit), own
    return None


def _limit(row: dict[str, Any], number: int, faults: list[Fault]) -> Limit | None:
    """Read one limit; None where it has a fault."""
    before, code = len(faults), row.get("code")
    table = Table(row, f"limit {code if isinstance(code, str) else number}", faults)
    for wrong, params in _faults(row) if table.has_keys(_KEYS) else ():
        table.fault("", wrong, **params)
    return Limit(**row | {"measures": tuple(row["measures"])}) if len(faults) == before else None


_Wrong = tuple[str, dict[str, Any]]


def _faults(row: Mapping[str, Any]) -> Iterator[_Wrong]:
    if row["of"] not in KINDS:
        yield "key_no_choice", {"key": "of", "known": KINDS}
    if as_number(row["limit"]) is None:
        yield "key_no_number", {"key": "limit"}
    yield from _faults_of_measures(row)
    for key in ("code", "unit", "source", "sentence"):
        if not isinstance(row[key], str):
            yield "key_no_text", {"key": key}
    if not row["source"]:
        yield "limit_without_source", {"key": "source", "words": SOURCELESS}


def _faults_of_measures(row: Mapping[str, Any]) -> Iterator[_Wrong]:
    """Name the measures that do not exist: such a limit would never be passed, so it is a fault."""
    if not isinstance(row["measures"], list) or not row["measures"]:
        yield "key_no_names", {"key": "measures"}
        return
    # The core's own table of names: a name that it learns or loses is known here at once.
    known = PATCHES if row["of"] == "regions" else tuple(FIGURES)
    yield from (("unknown_measure", {"value": quote(name)}) for name in row["measures"] if name not in known)


def raise_flags(
    measurement: Measurement, comparison: Comparison | None, policy: Policy | None
) -> list[FlagDraft]:
    """List every reason to look, doubt first. Empty: all was measured, and all lies inside the limits."""
    doubtful, unanswered = (
        list(_doubtful(measurement, comparison)),
        list(_unanswered(measurement, comparison)),
    )
    # Without limits nothing could ever be flagged, and a quiet list would look like a healthy clinic.
    if policy is None:
        return [*doubtful, *unanswered, FlagDraft("no_limits")]
    table, own = limits(policy.toml), own_repeatability(policy.toml)
    passed = (_passed(limit, measurement, comparison, own) for limit in table)
    drafts = [*doubtful, *(draft for draft in passed if draft), *unanswered]
    missing = _missing(table, measurement, comparison)
    return [*drafts, FlagDraft("unmeasured", missing)] if any(missing.values()) else drafts


def codes_of_change(text: str) -> set[str]:
    """Give the codes of flags that follow from a comparison, not from one picture alone."""
    return {limit.code for limit in limits(text) if limit.of != "value"}


def failed(why: Message) -> FlagDraft:
    """The picture could not be measured at all."""
    return FlagDraft("unmeasured", {"failure": asdict(why)})


def _doubtful(measurement: Measurement, comparison: Comparison | None) -> Iterator[FlagDraft]:
    """Flag an outline in doubt: until a person has looked, none of its measures is held against a limit."""
    if measurement.doubt:
        yield FlagDraft("doubtful", {"doubts": [asdict(doubt) for doubt in measurement.doubt]})
    elif comparison and comparison.earlier.doubt:
        yield FlagDraft("doubtful", {"of_earlier": True})
    elif comparison and comparison.later.doubt:
        doubts = [asdict(doubt) for doubt in comparison.later.doubt]
        yield FlagDraft("doubtful", {"doubts": doubts, "of_comparison": True})


def _unanswered(measurement: Measurement, comparison: Comparison | None) -> Iterator[FlagDraft]:
    """Flag what no limit can answer: the picture waits for a person like one beyond a limit."""
    poor = [asdict(quality) for quality in measurement.quality if not quality.ok]
    if poor:
        yield FlagDraft("inadequate", {"quality": poor})
    if comparison is None:
        yield FlagDraft("nothing_to_compare")
    elif not comparison.registration.aligned:
        reasons = [asdict(reason) for reason in comparison.registration.reasons]
        yield FlagDraft("unaligned", {"reasons": reasons})


def _passed(
    limit: Limit, measurement: Measurement, comparison: Comparison | None, own: Own | None
) -> FlagDraft | None:
    if measurement.doubt:
        return None
    if limit.of == "value":
        return _above(limit, measurement)
    if comparison is None or comparison.earlier.doubt:
        return None
    if limit.of == "growth":
        return _grown(limit, comparison, own)
    return {"appears": _appeared, "regions": _spread}[limit.of](limit, comparison)


def _above(limit: Limit, measurement: Measurement) -> FlagDraft | None:
    measure = _measure(measurement, limit.measures[0])
    # Not measured is no answer either: `_missing` below puts it before a person.
    if measure is None or measure.value is None or measure.value <= limit.limit:
        return None
    return _draft(limit, measure.value, measure.uncertainty)


def _grown(limit: Limit, comparison: Comparison, own: Own | None) -> FlagDraft | None:
    delta = _first_known(limit.measures, comparison)
    # From nothing there is no share to grow by: what is new has a limit of its own (`appears`).
    if delta is None or not delta.earlier or delta.delta is None or delta.later is None:
        return None
    per_cent = 100 / delta.earlier
    # The clinic's own repeated pictures, where it has made some, know its camera better than the program does.
    studied = own.beyond(delta.name, delta.earlier, delta.later) if own else None
    beyond = delta.beyond if studied is None else studied
    if beyond is not True or delta.delta * per_cent <= limit.limit:
        return None
    unsure = None if delta.uncertainty is None else delta.uncertainty * per_cent
    return _draft(limit, delta.delta * per_cent, unsure)


def _appeared(limit: Limit, comparison: Comparison) -> FlagDraft | None:
    new = []
    for name in limit.measures:
        delta = _delta(comparison, name)
        if delta is None or delta.earlier is None or delta.later is None:
            continue
        # Both sides: a colour that was there before and grew is growth, and no new colour.
        if delta.earlier * 100 < limit.limit <= delta.later * 100:
            new.append((delta.later * 100, delta.uncertainty, name))
    if not new:
        return None
    share, unsure, _ = max(new)
    return _draft(limit, share, unsure and unsure * 100, new=[name for _, _, name in new])


def _spread(limit: Limit, comparison: Comparison) -> FlagDraft | None:
    """Add up the changed patches of the named kinds, as a share of the earlier lesion."""
    found = [region for region in comparison.regions if region.kind in limit.measures]
    # In the unit of the patches: without a scale both are counted in pixels.
    whole = comparison.earlier.value("area" if found and found[0].unit == "mm²" else "area_px")
    if not found or not whole:
        return None
    share = sum(region.area for region in found) / whole * 100
    return _draft(limit, share, None) if share > limit.limit else None


def _draft(limit: Limit, value: float, uncertainty: float | None, **more: Any) -> FlagDraft:
    """The clinic's own sentence goes along as it stood when the limit was passed."""
    params = {"sentence": limit.sentence, **more}
    return FlagDraft(limit.code, params, value, limit.unit, uncertainty, limit.limit, limit.source)


def _missing(
    table: tuple[Limit, ...], measurement: Measurement, comparison: Comparison | None
) -> dict[str, list[str]]:
    """Name what a limit asks for and nobody could measure, so that silence is never an answer."""
    values: list[str] = []
    changes: list[str] = []
    for limit in table:
        if limit.of == "value":
            measure = _measure(measurement, limit.measures[0])
            values += [limit.measures[0]] if measure is None or measure.value is None else []
        elif comparison is not None:
            changes += _missing_change(limit, comparison)
    return {"values": list(dict.fromkeys(values)), "changes": list(dict.fromkeys(changes))}


def _missing_change(limit: Limit, comparison: Comparison) -> list[str]:
    if limit.of == "growth":
        known = _first_known(limit.measures, comparison)
        return [limit.measures[0]] if known is None else []
    if limit.of == "regions":
        return []  # no alignment, no patches: said by the flag "unaligned"
    return [name for name in limit.measures if _first_known((name,), comparison) is None]


def _first_known(names: tuple[str, ...], comparison: Comparison) -> Delta | None:
    deltas = (_delta(comparison, name) for name in names)
    return next((delta for delta in deltas if delta is not None and delta.delta is not None), None)


def _delta(comparison: Comparison, name: str) -> Delta | None:
    return next((delta for delta in comparison.deltas if delta.name == name), None)


def _measure(measurement: Measurement, name: str) -> Measure | None:
    return next((measure for measure in measurement.measures if measure.name == name), None)
