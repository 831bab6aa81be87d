"""The core's sentences leave it as code and values; the English stands in one place."""

import ast
from pathlib import Path

import pytest

import lesions.analysis
from lesions.analysis import wording

CORE = Path(lesions.analysis.__file__).parent
AT_HOME = {"wording.py", "types.py"}


def test_no_other_module_of_the_core_writes_a_reason_or_a_judgement():
    found = {
        f"{module.relative_to(CORE)}:{node.lineno}"
        for module in CORE.rglob("*.py")
        if module.name not in AT_HOME
        for node in ast.walk(ast.parse(module.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and getattr(node.func, "id", None) in ("Doubt", "Quality")
    }
    assert not found


def test_a_reason_carries_its_values_beside_the_sentence():
    said = wording.reason("scales_disagree", off=0.07)
    assert (said.code, said.params) == ("scales_disagree", {"off": 0.07})
    assert said.text == "The skin fits at a size 7% off what the two scales say; check both scales."


@pytest.mark.parametrize("name", wording.QUALITIES)
def test_what_falls_short_says_what_to_do(name):
    good, bad = (wording.quality(name, 0.5, 0.4, ok=ok).text for ok in (True, False))
    assert bad == f"{good} {wording.ADVICE[name]}" and "{" not in bad


def test_a_code_without_a_sentence_is_not_invented():
    with pytest.raises(KeyError):
        wording.reason("unheard_of")
