"""Breaks the planning core in small ways and counts the breaks that its tests notice.

python -m tests.bench.mutants [--sample 20] [--seed 5] [--files dates plan/staging ...] [--tests test_dates ...]

`--sample` mutants of each file (all files of the core where none is named); a line for each file when it is done. `--tests`
names the test files that are tried, quickest first, where those of other files would only cost time.

One break at a time (a comparison, a boundary, an operator, a number, a word, a condition) in the syntax tree; the
rule tests run in a forked child until the first failure. A child that hangs counts as noticed, and is counted apart. Nothing is written.
"""

import argparse
import ast
import copy
import importlib.machinery
import multiprocessing
import os
import random
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import hypothesis
import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = "scheduling.rules"
# The quick ones first; `test_command` starts a process of its own, where nothing is broken.
TESTS = [
    "test_dates",
    "test_facts",
    "test_ruleset",
    "test_staging",
    "test_series",
    "test_cases",
    "test_engine",
    "test_engine_exceptions",
    "test_fact_problems",
    "test_sutures",
    "test_reasons",
    "test_published_rows",
    "test_checklist_sums",
    "test_codes",
    "test_matching",
    "test_own_intervals",
    "test_patient_rows",
    "test_wording",
    "test_properties",
    "test_machine",
    "test_machine_lesions",
]
LIVES = "6"
PLUGINS = ["no:django", "no:cacheprovider", "no:xdist", "no:playwright"]
PATIENCE = 8  # times as long as the tests take on the core as it is, measured first in the same run
# A break is only counted, so nothing is spent on finding its simplest form.
PHASES = [hypothesis.Phase.explicit, hypothesis.Phase.generate]

COMPARED = {
    ast.Lt: (ast.LtE, ast.GtE), ast.LtE: (ast.Lt, ast.Gt), ast.Gt: (ast.GtE, ast.LtE), ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,), ast.NotEq: (ast.Eq,), ast.Is: (ast.IsNot,), ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,), ast.NotIn: (ast.In,),
}  # fmt: skip
COMPUTED = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.FloorDiv, ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult,
    ast.BitOr: ast.BitAnd, ast.BitAnd: ast.BitOr,
}  # fmt: skip
SWAPPED = {"min": "max", "max": "min", "any": "all", "all": "any"}


@dataclass(frozen=True)
class Mutant:
    module: str
    line: int
    what: str
    tree: ast.Module


def mutants_of(module):
    """Every mutant of a module of the core, in the order of its lines."""
    tree = ast.parse(source(module).read_text(encoding="utf-8"))
    nodes = list(executed(tree))
    found = []
    for index, node in enumerate(nodes):
        for variant, what in variants(node):
            changed = copy.deepcopy(tree)
            target = list(executed(changed))[index]
            target.__dict__.update(copy.deepcopy(variant))
            found.append(Mutant(module, line_of(node), what, ast.fix_missing_locations(changed)))
    return found


def line_of(node):
    return node.target.lineno if isinstance(node, ast.comprehension) else node.lineno


def core_files():
    """Every file of the core that holds code, the command line apart."""
    found = (
        path.relative_to(source("x").parent).with_suffix("") for path in source("x").parent.rglob("*.py")
    )
    return sorted(str(path) for path in found if not path.name.startswith("__"))


def source(module):
    return ROOT.joinpath(*PACKAGE.split("."), f"{module}.py")


def executed(node):
    """Nodes whose change can change an answer: no annotations, decorators, docstrings, words of messages."""
    if isinstance(node, ast.JoinedStr) or is_list_of_names(node):
        return
    if hasattr(node, "lineno") or isinstance(node, ast.comprehension):
        yield node
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list"):
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST) and not is_text(child):
                yield from executed(child)


def is_list_of_names(node):
    return isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "__all__"


def is_text(node):
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)


def variants(node):
    """(changed fields, words) for each way to break one node."""
    match node:
        case ast.Compare(ops=ops):
            for index, op in enumerate(ops):
                for other in COMPARED[type(op)]:
                    changed = [*ops[:index], other(), *ops[index + 1 :]]
                    yield {"ops": changed}, f"{type(op).__name__} → {other.__name__}"
        case ast.BinOp(op=op) if type(op) in COMPUTED:
            yield {"op": COMPUTED[type(op)]()}, f"{type(op).__name__} → {COMPUTED[type(op)].__name__}"
        case ast.BoolOp(op=op):
            yield {"op": ast.Or() if isinstance(op, ast.And) else ast.And()}, "and ↔ or"
        case ast.UnaryOp(op=ast.USub()):
            yield {"op": ast.UAdd()}, "sign dropped"
        case ast.If(test=test) | ast.IfExp(test=test) | ast.While(test=test):
            yield {"test": ast.UnaryOp(ast.Not(), test)}, "condition turned round"
        case ast.comprehension(ifs=[_, *_]):
            yield {"ifs": []}, "filter dropped"
        case ast.Call(func=ast.Name(id=name)) if name in SWAPPED:
            yield {"func": ast.Name(SWAPPED[name], ast.Load())}, f"{name} → {SWAPPED[name]}"
        case ast.Constant(value=bool(value)):
            yield {"value": not value}, f"{value} → {not value}"
        case ast.Constant(value=int(value)):
            yield {"value": value + 1}, f"{value} → {value + 1}"
            yield {"value": value - 1}, f"{value} → {value - 1}"
        case ast.Constant(value=str(value)) if value and len(value) < 24 and " " not in value:
            yield {"value": f"{value}?"}, f"“{value}” changed"


class Changed(importlib.machinery.SourceFileLoader):
    """Loads one module of the core from a changed tree, every other as it is."""

    def __init__(self, mutant):
        super().__init__(f"{PACKAGE}.{mutant.module.replace('/', '.')}", str(source(mutant.module)))
        self.mutant = mutant

    def find_spec(self, name, path=None, target=None):
        if name != self.name:
            return None
        return importlib.machinery.ModuleSpec(name, self, origin=self.path)

    def get_code(self, fullname):
        return compile(self.mutant.tree, self.path, "exec")


def trial(mutant, names):
    """Runs the tests on one mutant and leaves with 0 when none noticed it."""
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    if mutant:
        sys.meta_path.insert(0, Changed(mutant))
    os.environ["LIVES"] = LIVES
    hypothesis.settings.register_profile("mutants", derandomize=True, database=None, phases=PHASES)
    hypothesis.settings.load_profile("mutants")
    tests = [ROOT / "tests" / "scheduling" / "rules" / f"{name}.py" for name in names]
    plugins = [option for name in PLUGINS for option in ("-p", name)]
    code = pytest.main(
        ["-x", "-q", "--noconftest", *plugins, *(str(test) for test in tests if test.exists())]
    )
    os._exit(int(code))


def run(mutants, names, processes, seconds):
    """The mutants that no test noticed, and how many were ended for hanging."""
    context, waiting, running, survivors = multiprocessing.get_context("fork"), list(mutants), [], []
    hung = 0
    while waiting or running:
        while waiting and len(running) < processes:
            child = context.Process(target=trial, args=(waiting[0], names))
            child.start()
            running.append((child, waiting.pop(0), time.monotonic() + seconds))
        time.sleep(0.05)
        for entry in list(running):
            child, mutant, deadline = entry
            if child.exitcode is None and time.monotonic() > deadline:
                child.kill()
                child.join()
                hung += 1
            elif child.exitcode is not None:
                running.remove(entry)
                survivors += report(mutant) if child.exitcode == 0 else []
    return survivors, hung


def report(survivor):
    if survivor:
        print(f"not noticed: {survivor.module}.py:{survivor.line}: {survivor.what}", flush=True)
    return [survivor]


def measure(module, names, sample, seed, processes, seconds):
    """One file: what was noticed, as a line of the table."""
    every = mutants_of(module)
    if not every:
        return
    chosen = random.Random(seed).sample(every, min(sample or len(every), len(every)))
    survivors, hung = run(chosen, names, processes, seconds)
    noticed = len(chosen) - len(survivors)
    share = f"{noticed / len(chosen):.1%}"
    print(
        f"| {module} | {len(every)} | {len(chosen)} | {noticed} ({share}) | {hung} | {len(survivors)} |",
        flush=True,
    )


def measured_patience(names):
    begin = time.monotonic()
    if run([None], names, 1, 600)[0] == []:
        sys.exit("the tests fail without any change")
    return PATIENCE * (time.monotonic() - begin)


def main():
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--sample", type=int, default=20, help="of each file; 0 tries every mutant")
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--files", nargs="+", default=core_files())
    parser.add_argument("--tests", nargs="+", default=TESTS)
    parser.add_argument(
        "--seconds", type=float, help="a child's patience; else measured on the core as it is"
    )
    options = parser.parse_args()
    patience = options.seconds or measured_patience(options.tests)
    print("| file | mutants | tried | noticed | of them by hanging | not noticed |", flush=True)
    for module in options.files:
        measure(module, options.tests, options.sample, options.seed, options.processes, patience)


if __name__ == "__main__":
    main()
