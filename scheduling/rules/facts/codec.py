"""Read frozen dataclasses from JSON strictly, write them, make their JSON Schema: one description for all three."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import Field as DataclassField
from dataclasses import dataclass, fields, is_dataclass
from datetime import date as Day
from functools import cache
from types import UnionType
from typing import Annotated, Any, Literal, Union, cast, get_args, get_origin, get_type_hints

from clinic.formats.language import ENGLISH, Language, gettext_noop
from scheduling.rules.facts import wording

# Far more than any patient has; whoever sends more sends something else.
MOST_ENTRIES, MOST_CHARACTERS = 2_000, 10_000
FIRST_DAY, LAST_DAY = Day(1850, 1, 1), Day(2200, 12, 31)


@dataclass(frozen=True)
class Pattern:
    """A regular expression that a text must match as a whole, with what it means in words."""

    regex: str
    meaning: str


@dataclass(frozen=True)
class AtMost:
    """The greatest whole number that a field may hold; the least is 1."""

    most: int


class UnreadableFacts(ValueError):
    """Raised for FACTS that break their schema; `path` says where, `code` with its values says what."""

    def __init__(self, path: str, code: str, **params: Any) -> None:
        self.path, self.code, self.params = path, code, params
        super().__init__(f"{path or 'facts'}: {self.in_words()}")

    def in_words(self, language: Language = ENGLISH) -> str:
        return wording.say(self.code, self.params, language)


def key_of(item: DataclassField[Any]) -> str:
    """Give the JSON key of a dataclass field."""
    return cast(str, item.metadata.get("key", item.name))


def read(kind: Any, value: Any, path: str) -> Any:
    """Read a value of the described type; UnreadableFacts with the path of what is wrong."""
    if value is None:
        if type(None) in _options(kind):
            return None
        raise UnreadableFacts(path, "null")
    wanted, entry, is_object = _wanted(kind)
    if entry is not None:
        return _read_list(entry, value, path)
    return _read_object(wanted, value, path) if is_object else _read_value(wanted, value, path)


@cache
def _wanted(kind: Any) -> tuple[Any, Any, bool]:
    """What a value must be where it is not null; the kind of its entries if it is a list; whether an object."""
    wanted = next(option for option in _options(kind) if option is not type(None))
    is_list = get_origin(wanted) is tuple
    return wanted, get_args(wanted)[0] if is_list else None, is_dataclass(wanted)


@cache
def _options(kind: Any) -> tuple[Any, ...]:
    return get_args(kind) if get_origin(kind) in (UnionType, Union) else (kind,)


def _read_list(kind: Any, value: Any, path: str) -> tuple[Any, ...]:
    if not isinstance(value, list | tuple):
        raise UnreadableFacts(path, "no_list")
    if len(value) > MOST_ENTRIES:
        raise UnreadableFacts(path, "too_many", count=len(value), most=MOST_ENTRIES)
    return tuple(read(kind, entry, f"{path}[{index}]") for index, entry in enumerate(value))


def _read_object(kind: Any, value: Any, path: str) -> Any:
    if not isinstance(value, Mapping):
        raise UnreadableFacts(path, "no_object")
    members = _members(kind)
    prefix = f"{path}." if path else ""
    for key in value:
        if key not in members:
            raise UnreadableFacts(f"{prefix}{key}", "unknown_key")
    for key, (item, _) in members.items():
        if key not in value and not item.metadata.get("may_be_absent"):
            raise UnreadableFacts(f"{prefix}{key}", "missing_key")
    return kind(
        **{item.name: read(hint, value.get(key), prefix + key) for key, (item, hint) in members.items()}
    )


@cache
def _members(kind: Any) -> dict[str, tuple[DataclassField[Any], Any]]:
    """JSON key → field and its type; reading the types anew for each patient took most of the time."""
    hints = get_type_hints(kind, include_extras=True)
    return {key_of(item): (item, hints[item.name]) for item in fields(kind)}


def _read_value(kind: Any, value: Any, path: str) -> Any:
    if get_origin(kind) is Literal:
        if value not in get_args(kind) or not isinstance(value, str):
            raise UnreadableFacts(path, "no_choice", value=value, known=", ".join(get_args(kind)))
        return value
    if kind is Day:
        return _read_day(value, path)
    base, pattern = (get_args(kind)[0], get_args(kind)[1]) if get_origin(kind) is Annotated else (kind, None)
    if type(value) is not base:
        raise UnreadableFacts(path, "wrong_type", meaning=_NAMES[base])
    if base is int and not 1 <= value <= (pattern.most if isinstance(pattern, AtMost) else 100_000):
        raise UnreadableFacts(path, "out_of_range")
    if base is str and len(value) > MOST_CHARACTERS:
        raise UnreadableFacts(path, "too_long", most=MOST_CHARACTERS)
    if isinstance(pattern, Pattern) and not re.fullmatch(pattern.regex, value):
        raise UnreadableFacts(path, "no_match", value=value, meaning=pattern.meaning)
    return value


_NAMES: dict[type, str] = {
    str: gettext_noop("a text"),
    bool: gettext_noop("true or false"),
    int: gettext_noop("a whole number"),
}


def _read_day(value: Any, path: str) -> Day:
    if not isinstance(value, str) or not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", value):
        raise UnreadableFacts(path, "no_day", value=value)
    try:
        day = Day.fromisoformat(value)
    except ValueError:
        raise UnreadableFacts(path, "no_calendar_day", value=value) from None
    if not FIRST_DAY <= day <= LAST_DAY:
        raise UnreadableFacts(path, "day_outside", value=value, first=FIRST_DAY, last=LAST_DAY)
    return day


_AS_THEY_ARE = frozenset({str, bool, int, type(None)})


@cache
def _written(kind: Any) -> tuple[tuple[str, str], ...]:
    """JSON key and attribute of each field of a dataclass; nothing for another type."""
    return tuple((key_of(item), item.name) for item in fields(kind)) if is_dataclass(kind) else ()


def write(value: Any) -> Any:
    """Write a described value as plain JSON values."""
    kind = value.__class__
    if kind in _AS_THEY_ARE:
        return value
    if names := _written(kind):
        return {key: write(getattr(value, name)) for key, name in names}
    if isinstance(value, tuple):
        return [write(entry) for entry in value]
    return value.isoformat() if isinstance(value, Day) else value


def schema_of(kind: Any) -> dict[str, Any]:
    """Make the JSON Schema of a described type."""
    options = _options(kind)
    shapes = [_schema_of_one(option) for option in options if option is not type(None)]
    if type(None) in options:
        return {"anyOf": [*shapes, {"type": "null"}]}
    return shapes[0]


def _schema_of_one(kind: Any) -> dict[str, Any]:
    origin = get_origin(kind)
    if origin is Literal:
        return {"enum": list(get_args(kind))}
    if origin is tuple:
        return {"type": "array", "maxItems": MOST_ENTRIES, "items": schema_of(get_args(kind)[0])}
    if origin is Annotated:
        base, pattern = get_args(kind)
        if base is int:
            return {"type": "integer", "minimum": 1, "maximum": pattern.most}
        return dict(_SHAPES[str]) | {"pattern": f"^({pattern.regex})$", "description": pattern.meaning}
    if is_dataclass(kind):
        return _schema_of_object(kind)
    return dict(_SHAPES[kind])


_SHAPES: dict[Any, dict[str, Any]] = {
    str: {"type": "string", "maxLength": MOST_CHARACTERS},
    bool: {"type": "boolean"},
    int: {"type": "integer", "minimum": 1, "maximum": 100_000},
    Day: {"type": "string", "format": "date", "pattern": "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"},
}


def _schema_of_object(kind: Any) -> dict[str, Any]:
    hints = get_type_hints(kind, include_extras=True)
    return {
        "type": "object",
        "properties": {key_of(item): schema_of(hints[item.name]) for item in fields(kind)},
        "required": [key_of(item) for item in fields(kind) if not item.metadata.get("may_be_absent")],
        "additionalProperties": False,
    }
