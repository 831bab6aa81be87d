"""The import table of DEVELOPERS.md, read from the source with `ast`, and what a web process loads."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
CORES = ("lesions/analysis", "scheduling/rules", "clinic/formats")
PURE = ("lesions/register/bodymap.py", "lesions/register/bodyshapes.py")
ABOVE = {"clinic": ("lesions", "scheduling"), "lesions": ("scheduling",), "scheduling": ()}
TOPIC_FREE = {
    "forms",
    "views",
    "api",
    "tasks",
    "urls",
    "apps",
    "panels",
    "policy_pages",
    "tier_pages",
    "receivers",
}


def imports(path: Path) -> set[str]:
    """Every absolute module name that a file imports, also inside functions."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            module = ".".join(part for part in (_package(path, node.level), node.module) if part)
            found |= {module} | {f"{module}.{alias.name}" for alias in node.names}
    return found


def _package(path: Path, level: int) -> str:
    """The package that a relative import of this level names; empty for an absolute one."""
    return ".".join(path.relative_to(ROOT).parts[:-level]) if level else ""


def sources(*folders: str) -> list[Path]:
    files = [path for folder in folders for path in (ROOT / folder).rglob("*.py")]
    return [path for path in files if "migrations" not in path.parts]


def within(name: str, package: str) -> bool:
    return name == package or name.startswith(package + ".")


@pytest.mark.parametrize("app", list(ABOVE))
def test_no_app_imports_what_stands_above_it(app):
    project = ROOT / "clinic" / "project"
    for path in sources(app):
        if project in path.parents:
            continue
        for name in imports(path):
            assert not within(name, "clinic.project"), f"{path} imports {name}"
            for upper in ABOVE[app]:
                assert not within(name, upper), f"{path} imports {name}"


@pytest.mark.parametrize("core", CORES)
def test_a_core_imports_its_own_siblings_and_no_django(core):
    own = core.replace("/", ".")
    files = sources(core)
    assert files
    for path in files:
        for name in imports(path):
            top = name.split(".")[0]
            assert top not in {"django", "celery", "redis", "time_machine"}, f"{path} imports {name}"
            if top in {"clinic", "lesions", "scheduling", "tests"}:
                known = (own, "clinic.formats")
                assert any(within(name, one) or within(one, name) for one in known), f"{path} imports {name}"


def test_the_body_map_is_pure():
    for path in PURE:
        tops = {name.split(".")[0] for name in imports(ROOT / path)}
        assert not tops & {"django", "celery", "clinic", "scheduling"}


@pytest.mark.parametrize("core", CORES)
def test_a_core_never_asks_what_time_it_is(core):
    for path in sources(core):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Attribute) and node.attr in {"today", "now", "utcnow"}:
                base = node.value.id if isinstance(node.value, ast.Name) else ""
                assert base not in {"date", "datetime"}, f"{path}:{node.lineno} reads the clock"


def test_topic_functions_do_not_import_views_or_forms():
    for app in ABOVE:
        for path in (ROOT / app).glob("*.py"):
            if path.stem in TOPIC_FREE or path.stem == "bootstrap":
                continue
            for name in imports(path):
                parts = name.split(".")
                ours = parts[0] in ABOVE and len(parts) > 1
                assert not (ours and parts[1] in {"views", "forms", "api"}), f"{path} imports {name}"


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
