"""Each code that the core answers with has its sentence, in the reader's language."""

import ast
from dataclasses import replace
from pathlib import Path

import pytest

from clinic.formats.language import Language
from lesions.analysis import wording
from lesions.analysis.compare import rim
from lesions.analysis.measures import measures
from lesions.analysis.outline import doubts
from lesions.analysis.picture import quality
from lesions.analysis.types import Message, Quality

CORE = Path(wording.__file__).parent
MADE_UP = Language(lambda text: f"⟦{text}⟧", lambda one, many, n: f"⟦{one if n == 1 else many}⟧")
MAKERS = {"Message", "UnreadablePicture", "UnusableOutline"}


def codes():
    """Every code that is written in the core as the first word of a message or a refusal."""
    for path in CORE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Name)
                and node.func.id in MAKERS
                and node.args
            ):
                yield from (
                    each.value
                    for each in ast.walk(node.args[0])
                    if isinstance(each, ast.Constant) and isinstance(each.value, str)
                )


def test_every_code_has_a_sentence():
    known = wording.SENTENCES.keys() | wording.METHODS.keys()
    by_another_process = {"refused"}
    assert {"too_dear", "none_found", "no_scale"} <= set(codes()) - by_another_process <= known


def test_every_measure_has_a_name_and_a_method():
    names = [name for name, _ in (*measures._SIZES, *measures._SHAPES)]
    assert {*names, rim.NAME} == wording.NAMES.keys()
    assert all(wording.method(measures._how(name)) for name in names)


def test_a_sentence_is_made_of_whole_messages_of_the_language():
    found = replace(Quality("glare", 0.05, quality.GLARE_MOST, True), ok=False)
    assert wording.quality(found, MADE_UP) == (
        "⟦5.0% of the lesion shines white, at most 1% is wanted.⟧ "
        "⟦Press the plate on fully, use more gel, or cross-polarise.⟧"
    )
    assert wording.doubt(Message("ragged"), MADE_UP) == "⟦The outline is unusually ragged.⟧ ⟦Check it.⟧"
    assert wording.doubt(doubts.NONE_FOUND) == "No lesion was found; draw its outline."


@pytest.mark.parametrize(
    ("message", "text"),
    [
        (
            Message("scales_disagree", {"off": 0.1963}),
            "The skin fits at a size 20% off what the two scales say",
        ),
        (Message("too_many", {"most": 80}), "At most 80 million pixels can be read"),
    ],
)
def test_values_stand_in_the_sentence(message, text):
    assert text in wording.fill(message)


@pytest.mark.parametrize("name", wording.QUALITY)
def test_what_falls_short_says_what_to_do(name):
    good, bad = (wording.quality(Quality(name, 0.5, 0.4, ok)) for ok in (True, False))
    assert bad == f"{good} {wording.ADVICE[name]}" and "{" not in bad
