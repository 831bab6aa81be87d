"""The core knows no Django, no Celery, no other package of ours but the readers of formats, and no clock."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from scheduling.rules.facts import facts

FOLDER = Path(facts.__file__).parents[1]
FILES = sorted(FOLDER.rglob("*.py"))
CLOCKS = {"today", "now", "utcnow", "time", "localtime", "gmtime", "monotonic"}


@pytest.mark.parametrize("path", FILES, ids=[str(path.relative_to(FOLDER)) for path in FILES])
def test_imports_are_the_standard_library_siblings_and_readers_of_formats(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            assert {name.name.partition(".")[0] for name in node.names} <= sys.stdlib_module_names
        if isinstance(node, ast.ImportFrom):
            top = node.module.partition(".")[0]
            assert node.level == 0
            ours = f"{node.module}.".startswith(("scheduling.rules.", "clinic.formats."))
            assert top in sys.stdlib_module_names or ours


@pytest.mark.parametrize("path", FILES, ids=[str(path.relative_to(FOLDER)) for path in FILES])
def test_no_clock_is_read(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            assert node.func.attr not in CLOCKS, f"{path.name}:{node.lineno}"
        if isinstance(node, ast.Import | ast.ImportFrom):
            assert "time" not in [name.name for name in node.names]


def test_loading_the_core_loads_no_framework():
    code = "import scheduling.rules.__main__, sys; print(*sys.modules)"
    root = FOLDER.parents[1]
    done = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True)
    loaded = done.stdout.split()
    assert not [name for name in loaded if name.partition(".")[0] in ("django", "celery", "lesions")]
    assert {name for name in loaded if name.partition(".")[0] == "clinic"} == {
        "clinic",
        "clinic.formats",
        "clinic.formats.days",
        "clinic.formats.language",
        "clinic.formats.fault_wording",
        "clinic.formats.strict_toml",
    }
