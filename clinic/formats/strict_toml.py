"""
Read TOML that people write by hand, strictly: what nobody asked for, and what does not fit, is a fault with its place.

A reader of one kind of file is a function that takes the `Table` of the whole file, asks it for every key by name and
returns what it built. It never stops at the first fault, so that a person sees all of them at once.
"""

from __future__ import annotations

import math
import re
import reprlib
import tomllib
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Any, Literal, TypeVar

Built = TypeVar("Built")
_NO_WORDS: Mapping[str, str] = {}


@dataclass(frozen=True)
class Fault:
    """Say what is wrong and where; `line` is known for syntax errors only, a warning spoils nothing."""

    path: str
    line: int | None
    text: str
    kind: Literal["error", "warning"] = "error"

    def __str__(self) -> str:
        place = f"line {self.line}" if self.line else self.path
        return f"{place}: {self.text}" if place else self.text


class FaultyText(ValueError):
    """Refuse a text that may not be used, with every fault found."""

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


def _unreadable(text: str, error: Exception) -> Fault:
    """A syntax error at its line; the last one where TOML's reader names none."""
    found, last = re.search(r"at line (\d+)", str(error)), max(1, len(text.splitlines()))
    if isinstance(error, tomllib.TOMLDecodeError):
        return Fault("", int(found[1]) if found else last, f"not readable as TOML: {error}")
    if isinstance(error, RecursionError):
        return Fault("", last, "not readable as TOML: nested too deeply")
    line = next((i for i, row in enumerate(text.splitlines(), 1) if re.search(r"[\d_]{4300}", row)), last)
    return Fault("", line, "not readable as TOML: a number has thousands of digits")


def quote(value: Any) -> str:
    """A value as a fault shows it: short, however long, deep or large it is."""
    try:
        return reprlib.repr(value)
    except ValueError:  # an integer of more digits than Python writes out
        return "a number of thousands of digits"


def as_number(value: Any) -> float | None:
    """A finite number; None for anything else, true and false included."""
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

    def fault(self, key: str, text: str, kind: Literal["error", "warning"] = "error") -> None:
        """Add a fault of one key, or of the table itself where the key is empty."""
        self.faults.append(Fault(self._path(key), None, text, kind))

    def _path(self, key: str) -> str:
        return f"{self.path}.{key}" if self.path and key else self.path or key

    def has_keys(
        self, needed: Collection[str], more: Collection[str] = (), missing: Mapping[str, str] = _NO_WORDS
    ) -> bool:
        """Whether no needed key is missing (`missing` has better words for some); any other key is a fault."""
        for key in self.values:
            if key not in needed and key not in more:
                self.fault(key, "is not known here")
        lacking = [key for key in needed if key not in self.values]
        for key in lacking:
            self.fault(key, missing.get(key, "is missing"))
        return not lacking

    def has_schema(self, number: int) -> None:
        if type(self.values.get("schema")) is not int or self.values["schema"] != number:
            self.fault("schema", f"must be {number}")

    def text(self, key: str) -> str:
        value = self.values.get(key)
        if not isinstance(value, str) or not value.strip():
            self.fault(key, "must be a text that is not empty")
            return ""
        return value

    def text_or_none(self, key: str) -> str | None:
        return self.text(key) if key in self.values else None

    def texts(self, key: str) -> tuple[str, ...]:
        value = self.values.get(key, [])
        if not isinstance(value, list) or not all(isinstance(entry, str) for entry in value):
            self.fault(key, "must be a list of texts")
            return ()
        return tuple(value)

    def choice(self, key: str, known: tuple[Any, ...]) -> Any:
        """One of the known words; an empty text where it is none of them."""
        value = self.values.get(key)
        if value in known:
            return value
        self.fault(key, f"must be one of {', '.join(known)}, not {quote(value)}")
        return ""

    def number(self, key: str, above: float, below: float = math.inf) -> float | None:
        """A finite number between the two bounds; None where it is none."""
        value = as_number(self.values.get(key))
        if value is None or not above < value < below:
            end = "" if math.isinf(below) else f" and below {below:,}"
            self.fault(key, f"must be a number above {above:,}{end}")
            return None
        return value

    def parsed(self, key: str, parse: Callable[[str], Built], wanted: str) -> Built | None:
        """What `parse` makes of a text; its ValueError is the fault. `wanted` says what stands here."""
        value = self.values.get(key)
        if not isinstance(value, str):
            self.fault(key, f"must be {wanted}, not {quote(value)}")
            return None
        try:
            return parse(value)
        except ValueError as error:
            self.fault(key, str(error))
            return None

    def table(self, key: str, otherwise: str = "must be a table", filled: bool = False) -> Table:
        """The table below a key; empty where there is none. `otherwise` is the fault of what is no table."""
        value = self.values.get(key, {})
        if not isinstance(value, dict) or (filled and not value):
            self.fault(key, otherwise)
            value = {}
        return Table(value, self._path(key), self.faults)

    def tables(self, key: str, like: str = "", needed: bool = False) -> list[Table]:
        """The tables of a list, each with its number and `id` in its path. `like` shows what one looks like."""
        like, rows, found = like or f"headed [[{key}]]", self.values.get(key, []), []
        if not isinstance(rows, list):
            self.fault(key, f"must be a list of tables, each {like}")
            return []
        if needed and not rows:
            self.fault(key, f"at least one [[{key}]] is needed")
        for index, row in enumerate(rows):
            if isinstance(row, dict):
                name = f":{row['id']}" if isinstance(row.get("id"), str) else ""
                found.append(Table(row, self._path(f"{key}[{index}{name}]"), self.faults))
            else:
                self.fault(f"{key}[{index}]", f"must be a table {like}")
        return found


def repeated(tables: list[Table], key: str) -> list[Table]:
    """Those tables whose text under this key stands in an earlier table already."""
    seen: set[str] = set()
    found = []
    for table in tables:
        value = table.values.get(key)
        if isinstance(value, str) and value in seen:
            found.append(table)
        elif isinstance(value, str):
            seen.add(value)
    return found
