"""
Read TOML that people write by hand, strictly: what nobody asked for, and what does not fit, is a fault with its place.

A fault is a code with its values; `fault_wording.py` says it in the reader's language.
A reader of one kind of file is a function that takes the `Table` of the whole file, asks it for every key by name and
returns what it built. It never stops at the first fault, so that a person sees all of them at once.
"""

from __future__ import annotations

import math
import re
import reprlib
import tomllib
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, TypeVar

Built = TypeVar("Built")
_NO_WORDS: Mapping[str, str] = {}
_OTHER_LANGUAGE = re.compile(r"(\w+)_([a-z]{2,3}(?:-[a-z0-9]+)?)")


@dataclass(frozen=True)
class Fault:
    """What is wrong and where; `line` is known for syntax errors only, a warning spoils nothing."""

    path: str
    line: int | None
    code: str
    params: Mapping[str, Any] = field(default_factory=dict, hash=False)
    kind: Literal["error", "warning"] = "error"

    def __str__(self) -> str:
        """Name place and code, for a log; what people read is made by `fault_wording.say`."""
        return f"{self.line or self.path}: {self.code}"


class FaultyText(ValueError):
    """Raised for a text that may not be used, with every fault found."""

    def __init__(self, faults: list[Fault]) -> None:
        super().__init__("; ".join(str(fault) for fault in faults))
        self.faults = faults


def read(text: str, build: Callable[[Table], Built | None]) -> tuple[Built | None, list[Fault]]:
    """Read a text: what `build` makes of it, None where an error spoils it, and every fault in the order of reading."""
    try:
        whole = Table(tomllib.loads(text), "", [])
    except (ValueError, RecursionError) as error:  # a number of 5,000 digits is a plain ValueError
        return None, [_unreadable(text, error)]
    built = build(whole)
    spoilt = any(fault.kind == "error" for fault in whole.faults)
    return None if spoilt else built, whole.faults


def load(text: str, build: Callable[[Table], Built | None]) -> Built:
    """Read a text that must be sound: what `build` makes of it; FaultyText where an error spoils it."""
    built, faults = read(text, build)
    if built is None:
        raise FaultyText(faults)
    return built


# TOML's reader gives no codes, only English: a key or table that stands twice is told apart by how its message begins.
_TWICE = re.compile(r"Cannot (overwrite|declare|mutate|redefine)|Duplicate")
_PLACE = re.compile(r"at line (\d+), column (\d+)")


def _unreadable(text: str, error: Exception) -> Fault:
    """Name a syntax error by line and column; by the last line where TOML's reader names neither."""
    rows = text.splitlines() or [""]
    if isinstance(error, RecursionError):
        return Fault("", len(rows), "no_toml_deep")
    if not isinstance(error, tomllib.TOMLDecodeError):
        line = next((i for i, row in enumerate(rows, 1) if re.search(r"[\d_]{4300}", row)), len(rows))
        return Fault("", line, "no_toml_digits")
    found = _PLACE.search(str(error))
    if found is None:
        return Fault("", len(rows), "no_toml_end")
    code = "no_toml_twice" if _TWICE.match(str(error)) else "no_toml"
    return Fault("", int(found[1]), code, {"column": int(found[2])})


def quote(value: Any) -> str:
    """Write a value as a fault shows it: short, however long, deep or large it is."""
    try:
        return reprlib.repr(value)
    except ValueError:  # an integer of more digits than Python writes out
        return "…"


def as_number(value: Any) -> float | None:
    """Read a finite number; None for anything else, true and false included."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


class Table:
    """One table of a file with its path; what is asked of it and does not fit is added to the faults of the file."""

    def __init__(self, values: Mapping[str, Any], path: str, faults: list[Fault]) -> None:
        self.values = values
        self.path = path
        self.faults = faults

    def fault(
        self, key: str, code: str, /, kind: Literal["error", "warning"] = "error", **params: Any
    ) -> None:
        """Add a fault of one key, or of the table itself where the key is empty."""
        self.faults.append(Fault(self._path(key), None, code, params, kind))

    def _path(self, key: str) -> str:
        return f"{self.path}.{key}" if self.path and key else self.path or key

    def has_keys(
        self,
        needed: Collection[str],
        more: Collection[str] = (),
        missing: Mapping[str, str] = _NO_WORDS,
        spoken: Collection[str] = (),
    ) -> bool:
        """Say whether no needed key is missing (`missing` has codes that say more); any other key is a fault.

        The texts under `spoken` keys may stand in other languages as well: `title_de` beside `title`.
        """
        for key in self.values:
            if key not in needed and key not in more and not _translates(key, spoken):
                self.fault(key, "unknown_key")
        lacking = [key for key in needed if key not in self.values]
        for key in lacking:
            self.fault(key, missing.get(key, "missing"))
        return not lacking

    def has_schema(self, number: int) -> None:
        if type(self.values.get("schema")) is not int or self.values["schema"] != number:
            self.fault("schema", "wrong_schema", number=number)

    def text(self, key: str) -> str:
        value = self.values.get(key)
        if not isinstance(value, str) or not value.strip():
            self.fault(key, "no_text")
            return ""
        return value

    def text_in(self, key: str, language: str) -> str:
        """Give the text under `key_de` for the language de or de-at, the plain one where that is not there."""
        plain = self.text(key)
        # All of them are read, whoever reads: a language that nobody here speaks must not hide a fault.
        others = {name: self.text(name) for name in self.values if _translates(name, (key,))}
        wanted = language.lower()
        return others.get(f"{key}_{wanted}") or others.get(f"{key}_{wanted.partition('-')[0]}") or plain

    def text_or_none(self, key: str) -> str | None:
        return self.text(key) if key in self.values else None

    def texts(self, key: str) -> tuple[str, ...]:
        value = self.values.get(key, [])
        if not isinstance(value, list) or not all(isinstance(entry, str) for entry in value):
            self.fault(key, "no_texts")
            return ()
        return tuple(value)

    def choice(self, key: str, known: tuple[Any, ...]) -> Any:
        """Give one of the known words; an empty text where it is none of them."""
        value = self.values.get(key)
        if value in known:
            return value
        self.fault(key, "no_choice", known=known, value=quote(value))
        return ""

    def number(self, key: str, above: float, below: float = math.inf) -> float | None:
        """Give a finite number between the two bounds; None where it is none."""
        value = as_number(self.values.get(key))
        if value is None or not above < value < below:
            code = "no_number" if math.isinf(below) else "no_number_between"
            self.fault(key, code, above=f"{above:,}", below=f"{below:,}")
            return None
        return value

    def parsed(self, key: str, parse: Callable[[str], Built], otherwise: str) -> Built | None:
        """Give what `parse` makes of a text; where it makes nothing of it, `otherwise` is the fault's code."""
        value = self.values.get(key)
        try:
            if isinstance(value, str):
                return parse(value)
        except ValueError:
            pass
        self.fault(key, otherwise, value=quote(value))
        return None

    def table(self, key: str, otherwise: str = "no_table", filled: bool = False, **params: Any) -> Table:
        """Give the table below a key, empty where there is none; `otherwise` is the code of the fault: no table."""
        value = self.values.get(key, {})
        if not isinstance(value, dict) or (filled and not value):
            self.fault(key, otherwise, **params)
            # An empty one in its place: whoever reads on finds the other faults of the file in the same pass.
            value = {}
        return Table(value, self._path(key), self.faults)

    def tables(self, key: str, like: str = "", needed: bool = False) -> list[Table]:
        """Give the tables of a list, each with its number and `id` in its path. `like` shows what one looks like."""
        rows, found, head = self.values.get(key, []), [], f"[[{key}]]"
        shape: dict[str, Any] = {"like": like} if like else {"head": head}
        if not isinstance(rows, list):
            self.fault(key, "no_tables_like" if like else "no_tables", **shape)
            return []
        if needed and not rows:
            self.fault(key, "none_there", head=head)
        for index, row in enumerate(rows):
            if isinstance(row, dict):
                name = f":{row['id']}" if isinstance(row.get("id"), str) else ""
                found.append(Table(row, self._path(f"{key}[{index}{name}]"), self.faults))
            else:
                self.fault(f"{key}[{index}]", "no_table_like" if like else "no_table_headed", **shape)
        return found


def _translates(key: str, spoken: Collection[str]) -> bool:
    """Say whether a key is one of these with the code of a language behind it."""
    found = _OTHER_LANGUAGE.fullmatch(key)
    return found is not None and found[1] in spoken


def repeated(tables: list[Table], key: str) -> list[Table]:
    """Find the tables whose text under this key stands in an earlier table already."""
    seen: set[str] = set()
    found = []
    for table in tables:
        value = table.values.get(key)
        if isinstance(value, str) and value in seen:
            found.append(table)
        elif isinstance(value, str):
            seen.add(value)
    return found
