"""Say what is wrong with a TOML file that people write, in the language of the reader.

Here stand the sentences of the strict reader itself; each kind of file has those of its own faults in its own wording.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from clinic.formats.language import ENGLISH, Language, gettext_noop
from clinic.formats.strict_toml import Fault

Sentences = Mapping[str, str]

SENTENCES: Final[Sentences] = {
    "no_toml": gettext_noop("not readable as TOML from column {column} on"),
    "no_toml_twice": gettext_noop("not readable as TOML: what ends before column {column} is there already"),
    "no_toml_end": gettext_noop(
        "not readable as TOML: it ends in the middle of a line, a text, a list or a table"
    ),
    "no_toml_deep": gettext_noop("not readable as TOML: nested too deeply"),
    "no_toml_digits": gettext_noop("not readable as TOML: a number has thousands of digits"),
    "unknown_key": gettext_noop("is not known here"),
    "missing": gettext_noop("is missing"),
    "wrong_schema": gettext_noop("must be {number}"),
    "no_text": gettext_noop("must be a text that is not empty"),
    "no_texts": gettext_noop("must be a list of texts"),
    "no_choice": gettext_noop("must be one of {known}, not {value}"),
    "no_number": gettext_noop("must be a number above {above}"),
    "no_number_between": gettext_noop("must be a number above {above} and below {below}"),
    "no_table": gettext_noop("must be a table"),
    "no_tables": gettext_noop("must be a list of tables, each headed {head}"),
    "no_tables_like": gettext_noop("must be a list of tables, each {like}"),
    "no_table_headed": gettext_noop("must be a table headed {head}"),
    "no_table_like": gettext_noop("must be a table {like}"),
    "none_there": gettext_noop("at least one {head} is needed"),
    "no_yes_or_no": gettext_noop("must be true or false"),
    "twice": gettext_noop("the id “{id}” stands twice"),
    "no_source": gettext_noop("names no source; where there is none it says {words}"),
}
_LINE: Final = gettext_noop("line {number}")


def say(fault: Fault, language: Language = ENGLISH, own: Sentences | None = None) -> str:
    """Write a fault with its place; `own` are the sentences of this kind of file."""
    template = (own or {}).get(fault.code) or SENTENCES[fault.code]
    said = language.translate(template).format(**{name: _plain(one) for name, one in fault.params.items()})
    place = language.translate(_LINE).format(number=fault.line) if fault.line else fault.path
    return f"{place}: {said}" if place else said


def _plain(value: Any) -> Any:
    """Write names and words of the file as they stand there, one after the other."""
    return ", ".join(map(str, value)) if isinstance(value, list | tuple) else value
