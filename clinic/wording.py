"""Words in a sentence: how a list of them is joined."""

from collections.abc import Sequence


def alternatives(names: Sequence[str]) -> str:
    """Join names as a choice: “white, grey or black”."""
    *first, last = names
    return f"{', '.join(first)} or {last}" if first else last
