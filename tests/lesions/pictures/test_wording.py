"""Each code with which a file or a picture is refused has its sentence."""

import ast
from pathlib import Path

import pytest

import lesions
from lesions.analysis import wording as core
from lesions.analysis.types import Message
from lesions.pictures import wording

APP = Path(lesions.__file__).parent
REFUSALS = {
    "PictureRefused",
    "AlreadyFiled",
    "OutlineRefused",
    "ScaleRefused",
    "BadOutline",
    "Damaged",
    "Message",
}


def codes():
    for path in [*APP.glob("pictures/*.py"), *APP.glob("review/*.py"), *APP.glob("measuring/*.py")]:
        for node in ast.walk(ast.parse(path.read_text())):
            named = (
                isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in REFUSALS
            )
            if named and node.args and isinstance(node.args[0], ast.Constant):
                yield node.args[0].value


def test_every_code_has_a_sentence():
    known = wording._SENTENCES.keys() | core.SENTENCES.keys()
    assert {"empty", "filed_here", "given_up", "crosses_itself"} <= set(codes()) <= known


def test_no_sentence_stands_for_nothing():
    assert not wording._SENTENCES.keys() - set(codes())
    assert not wording._SENTENCES.keys() & core.SENTENCES.keys()


@pytest.mark.parametrize(
    ("code", "params", "text"),
    [
        ("too_large", {"megabytes": "61.0", "most": 60}, "The file has 61.0 MB; at most 60 MB can be taken."),
        ("scale_unsure", {}, "The uncertainty of the scale lies between 0 and 50 %."),
        ("too_small", {"least": 48}, "The picture is under 48 pixels on a side; send a larger one."),
    ],
)
def test_a_stored_code_is_read_as_a_sentence(code, params, text):
    assert wording.of_row(code, params) == wording.sentence(Message(code, params)) == text


def test_a_row_that_holds_no_code_says_nothing():
    assert wording.of_row("", {}) == ""
