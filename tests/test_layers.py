"""The import table of DEVELOPERS.md as import-linter's contracts state it, and what a web process loads."""

import ast
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
CORES = ("lesions/analysis", "scheduling/rules", "clinic/formats")
APPS = ("clinic", "lesions", "scheduling")

# What must be refused: who imports it, and what it imports. Each is planted alone, so none is found by another's way.
FORBIDDEN = {
    "model, topic module": ("clinic.models.staff", "clinic.trail.audit"),
    "model, topic module of a lower app": ("scheduling.models.run", "clinic.jobs"),
    "model, room of a lower app": ("scheduling.models.run", "lesions.register.register"),
    "task, view": ("scheduling.tasks", "scheduling.views.today"),
    "topic module, view": ("lesions.review.signoff", "lesions.views.decisions"),
    "topic module, form": ("scheduling.desk.booking", "scheduling.forms"),
    "topic module, task": ("clinic.jobs", "clinic.tasks"),
    "topic module, panel": ("scheduling.planning.replan", "scheduling.panels"),
    "topic module, shared helper of pages": ("scheduling.recalls.closing", "clinic.pages.responses"),
    "view, task": ("lesions.views.pictures", "lesions.tasks"),
    "view, view of a lower app": ("scheduling.views.diary.days", "lesions.views.register"),
    "form, form of a lower app": ("lesions.forms", "clinic.forms"),
    "task, task of a lower app": ("scheduling.tasks", "lesions.tasks"),
    "sideways, recalls and rule changes": ("scheduling.recalls.missed", "scheduling.rule_changes.approval"),
    "sideways, desk and rule changes": ("scheduling.desk.contacts", "scheduling.rule_changes.approval"),
    "sideways, year ahead and checklists": ("scheduling.capacity.forecast", "scheduling.checklists.records"),
    "independent count, a list": ("scheduling.counting.whereabouts", "scheduling.recalls.missed"),
    "independent count, the plan": ("scheduling.counting.unchecked", "scheduling.planning.completions"),
    "independent count, the ledger": ("scheduling.counting.duty_count", "clinic.duties.ledger"),
    "desk, the independent count": ("scheduling.today.worklists", "scheduling.counting.duty_count"),
    "sideways, pictures and register": ("lesions.pictures.storage", "lesions.register.register"),
    "lower room, upper room": ("scheduling.planning.replan", "scheduling.desk.booking"),
    "lower room of clinic, upper room": ("clinic.people.patients", "clinic.merging.merging"),
    "lower room of lesions, upper room": ("lesions.review.reviews", "lesions.measuring.measure"),
    "room of the image core, later one": ("lesions.analysis.picture.hair", "lesions.analysis.outline.vote"),
    "room of the planning core, later one": ("scheduling.rules.facts.codec", "scheduling.rules.plan.plan"),
    "core, Django": ("scheduling.rules.dates", "django.utils.timezone"),
    "core, queue": ("lesions.analysis.types", "celery"),
    "core, model": ("lesions.analysis.pipeline", "lesions.models"),
    "core, what is pure in clinic": ("scheduling.rules.dates", "clinic.tiers.wording"),
    "core, the other core": ("scheduling.rules.dates", "lesions.analysis.version"),
    "pure room, Django": ("clinic.charts.svg", "django.utils.html"),
    "drawn body, model": ("lesions.register.bodymap", "lesions.models"),
    "lower app, upper app": ("clinic.checks", "lesions.models"),
    "lesions, scheduling": ("lesions.review.waiting", "scheduling.models"),
    "anybody, the project": ("scheduling.desk.contacts", "clinic.project.settings"),
    "clinic, the project": ("clinic.access", "clinic.project.settings"),
    "program, training": ("clinic.project.demo.acts", "lesions.training.data"),
}
LATE = ("scheduling.desk.contacts", "scheduling.views.today")
# In two parts, so that this line is not one of those it finds.
MARK = "# noqa: " + "PLC0415"
UNPLACED = ("clinic.new", "lesions.new", "scheduling.new", "scheduling.rules.new")


def sources(*folders: str) -> list[Path]:
    files = [path for folder in folders for path in (ROOT / folder).rglob("*.py")]
    return [path for path in files if "migrations" not in path.parts]


def file_of(module: str) -> str:
    return f"{module.replace('.', '/')}.py"


@pytest.fixture(scope="module")
def reports(tmp_path_factory):
    """What import-linter says of a copy of the tree: as it is (None), and with each planted line alone."""
    folder = tmp_path_factory.mktemp("tree")
    for file in (ROOT / "pyproject.toml", *sources(*APPS)):
        target = folder / file.relative_to(ROOT)
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(file, target)
    plants = {pair: (file_of(pair[0]), f"import {pair[1]}") for pair in FORBIDDEN.values()}
    plants |= {module: (file_of(module), "") for module in UNPLACED}
    plants |= {
        None: ("clinic/clock.py", ""),
        "late": (file_of(LATE[0]), f"def late():\n    import {LATE[1]}"),
    }
    done = subprocess.run(
        [sys.executable, "-P", ROOT / "tests" / "plant_imports.py"],
        cwd=folder,
        input=json.dumps(list(plants.values())),
        capture_output=True,
        text=True,
        timeout=300,
        check=True,
    )
    return dict(zip(plants, json.loads(done.stdout), strict=True))


def test_the_contracts_hold(reports):
    assert reports[None].startswith("0 ") and " 0 broken." in reports[None], reports[None]


@pytest.mark.parametrize(("importer", "imported"), FORBIDDEN.values(), ids=FORBIDDEN)
def test_a_forbidden_import_is_refused(reports, importer, imported):
    said = reports[importer, imported]
    # Of a library the report names the package only.
    named = imported if imported.split(".")[0] in APPS else imported.split(".")[0]
    last_line = len((ROOT / file_of(importer)).read_text().splitlines()) + 2
    assert said.startswith("1 ") and f"- {importer} -> {named} (l.{last_line})" in said, said


def test_an_import_inside_a_function_is_refused_too(reports):
    importer, imported = LATE
    assert reports["late"].startswith("1 ") and f"- {importer} -> {imported} (l." in reports["late"]


@pytest.mark.parametrize("module", UNPLACED)
def test_a_room_that_no_contract_places_is_refused(reports, module):
    assert reports[module].startswith("1 ") and f"not listed as layers: - {module}" in reports[module]


def test_an_import_inside_a_function_says_why():
    """Ruff refuses it without the mark (PLC0415); the mark alone is no reason."""
    files = [ROOT / "manage.py", *sources(*APPS, "tests")]
    lines = [line for path in files for line in path.read_text().splitlines() if MARK in line]
    assert len(lines) >= 10
    assert [line.strip() for line in lines if not re.search(MARK + r"(, F401)?  \S+ \S+", line)] == []


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
