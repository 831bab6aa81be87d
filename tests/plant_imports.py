"""Run import-linter once for each line that is planted into a copied tree; `python -P plant_imports.py` in that tree.

Takes a JSON list of [file, line to add] on stdin and answers, in the same order, what import-linter said. One process for
all: starting one for each takes three times as long.
"""

import contextlib
import io
import json
import sys
from pathlib import Path

from importlinter import cli


def report() -> str:
    """The exit status and the report, on one line; no cache, which could miss a change made within a second."""
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        status = cli.lint_imports(cache_dir=None, is_debug_mode=False)
    return " ".join(f"{status} {said.getvalue()}".split())


def report_with(file: str, line: str) -> str:
    """The report with one line more at the end of a file, which is then put back or taken away again."""
    path = Path(file)
    before = path.read_text() if path.exists() else None
    path.write_text(f"{before or ''}\n{line}\n")
    try:
        return report()
    finally:
        if before is None:
            path.unlink()
        else:
            path.write_text(before)


if __name__ == "__main__":
    json.dump([report_with(*one) for one in json.load(sys.stdin)], sys.stdout)
