"""The import table of DEVELOPERS.md as import-linter's contracts state it, and what a web process loads."""

import ast
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
CORES = ("lesions/analysis", "scheduling/rules", "clinic/formats")
APPS = ("clinic", "lesions", "scheduling")

# kind of import: (file that gets it, what it imports); each is forbidden by one contract of pyproject.toml.
PLANTED = {
    "model, topic module": ("clinic/models/staff.py", "clinic.trail.audit"),
    "task, view": ("scheduling/tasks.py", "scheduling.views.today"),
    "topic module, view": ("lesions/review/signoff.py", "lesions.views.decisions"),
    "sideways between rooms": ("scheduling/recalls/missed.py", "scheduling.rule_changes.approval"),
    "a lower room, an upper one": ("scheduling/planning/replan.py", "scheduling.desk.booking"),
    "core, framework": ("scheduling/rules/dates.py", "django.utils.timezone"),
    "core, model": ("lesions/analysis/pipeline.py", "lesions.models"),
    "a lower app, an upper one": ("clinic/people/visits.py", "lesions.models"),
    "lesions, scheduling": ("lesions/review/waiting.py", "scheduling.models"),
    "anybody, the project": ("scheduling/desk/contacts.py", "clinic.project.settings"),
    "page, page of a lower app": ("scheduling/views/diary.py", "lesions.views.register"),
    "room of the image core, a later one": (
        "lesions/analysis/picture/hair.py",
        "lesions.analysis.outline.vote",
    ),
}


def sources(*folders: str) -> list[Path]:
    files = [path for folder in folders for path in (ROOT / folder).rglob("*.py")]
    return [path for path in files if "migrations" not in path.parts]


def lint_imports(folder: Path) -> str:
    """What import-linter says of a tree; its console script is called as a function, with no cache."""
    code = "import sys; from importlinter.cli import lint_imports as run; sys.exit(run(cache_dir=None, is_debug_mode=False))"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=folder, capture_output=True, text=True, timeout=120, check=False
    )
    return f"{done.returncode} {done.stdout} {done.stderr}"


def test_the_contracts_hold():
    said = lint_imports(ROOT)
    assert said.startswith("0 ") and "0 broken" in said, said


def test_each_kind_of_forbidden_import_is_seen(tmp_path):
    for app in APPS:
        for path in (ROOT / app).rglob("*.py"):
            target = tmp_path / path.relative_to(ROOT)
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(path, target)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    for file, name in PLANTED.values():
        planted = tmp_path / file
        planted.write_text(planted.read_text() + f"\n\nimport {name}\n")
    said = " ".join(lint_imports(tmp_path).split())
    assert not said.startswith("0 ")
    missed = [kind for kind, (file, name) in PLANTED.items() if not is_named(said, file, name)]
    assert missed == []


def is_named(said: str, file: str, name: str) -> bool:
    """Whether the report names this very import; of a framework it names the package."""
    module = file.removesuffix(".py").replace("/", ".")
    wanted = "django" if name.startswith("django") else name
    return f"{module} -> {wanted} (l." in said


@pytest.mark.parametrize("core", CORES)
def test_a_core_never_asks_what_time_it_is(core):
    for path in sources(core):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Attribute) and node.attr in {"today", "now", "utcnow"}:
                base = node.value.id if isinstance(node.value, ast.Name) else ""
                assert base not in {"date", "datetime"}, f"{path}:{node.lineno} reads the clock"


def test_a_web_process_loads_no_library_of_the_image_core_but_pillow():
    program = (
        "import sys; from clinic.project.wsgi import application; from django.urls import get_resolver;"
        "list(get_resolver().reverse_dict); get_resolver().url_patterns;"
        "print([name for name in ('numpy', 'skimage', 'scipy', 'onnxruntime') if name in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", program],
        cwd=ROOT,
        env={"DJANGO_SETTINGS_MODULE": "clinic.project.settings_test", "PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == "[]"
