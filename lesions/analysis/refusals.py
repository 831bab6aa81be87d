"""What the core refuses: a code with its values; the text of the exception is the English sentence."""

from __future__ import annotations

from lesions.analysis import wording
from lesions.analysis.types import Message


class Refusal(ValueError):
    """Nothing can be measured; `message` says why."""

    def __init__(self, code: str, **params: str | int) -> None:
        super().__init__(code, params)
        self.message = Message(code, params)

    def __str__(self) -> str:
        return wording.fill(self.message)


class UnusableOutline(Refusal):
    """An outline that nothing can be measured by."""
