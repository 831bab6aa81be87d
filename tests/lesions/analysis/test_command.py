"""python -m lesions.analysis answers in the form of schema 1."""

import json
import subprocess
import sys

import pytest

from lesions.analysis.__main__ import main
from lesions.analysis.drawing.phantom import recaptured

from .pictures import drawn, small

BASE = small(31, axes_mm=(6.0, 5.0), irregularity=0.4, hair=0.3, ruler=False)
NAMES = [
    "area",
    "area_px",
    "perimeter",
    "perimeter_px",
    "feret",
    "feret_px",
    "asymmetry_shape",
    "asymmetry_colour",
    "asymmetry_structure",
    "asymmetry_axes",
    "border_abrupt",
    "border_dimension",
    "solidity",
    "compactness",
    "colours",
    "colour_white",
    "colour_red",
    "colour_light_brown",
    "colour_dark_brown",
    "colour_blue_grey",
    "colour_black",
]


@pytest.fixture()
def files(tmp_path):
    for name, spec in (("earlier", BASE), ("later", recaptured(BASE, 3))):
        (tmp_path / f"{name}.jpg").write_bytes(drawn(spec)[0])
    return tmp_path


def asked(capsys, *words):
    code = main([str(w) for w in words])
    out, err = capsys.readouterr()
    return code, out, err


def measured_shape(answer):
    assert list(answer) == [
        "schema",
        "version",
        "picture",
        "scale",
        "outline",
        "doubt",
        "measures",
        "quality",
    ]
    assert list(answer["picture"]) == ["sha256", "width", "height"]
    assert [m["name"] for m in answer["measures"]] == NAMES
    assert all(
        list(m) == ["name", "value", "unit", "uncertainty", "method", "doubtful"] for m in answer["measures"]
    )
    assert all(list(q) == ["name", "value", "limit", "ok", "text"] for q in answer["quality"])
    assert all(list(d) == ["code", "params", "text"] for d in answer["doubt"])
    assert list(answer["outline"]) == ["points", "drawn_by"]


def test_measure_answers_one_json_object(files, capsys):
    code, out, err = asked(capsys, "measure", files / "earlier.jpg", "--mm-per-px", "0.02", "--json")
    answer = json.loads(out)
    assert (code, err, out.count("\n")) == (0, "", 1)
    measured_shape(answer)
    assert answer["schema"] == 2
    assert answer["scale"] == {"mm_per_px": 0.02, "origin": "given", "rel_uncertainty": 0.02}
    assert answer["outline"]["drawn_by"] == "automatic"


def test_unknown_is_null_and_never_absent(files, capsys):
    answer = json.loads(asked(capsys, "measure", files / "earlier.jpg", "--json")[1])
    measured_shape(answer)
    assert answer["scale"] is None
    assert {m["name"]: m["value"] for m in answer["measures"]}["feret"] is None


def test_an_outline_from_a_file_is_followed(files, capsys):
    ring = {"points": [[200, 100], [500, 100], [500, 400], [200, 400]]}
    (files / "ring.json").write_text(json.dumps(ring))
    words = (
        "measure",
        files / "earlier.jpg",
        "--outline",
        files / "ring.json",
        "--mm-per-px",
        "0.01",
        "--json",
    )
    answer = json.loads(asked(capsys, *words)[1])
    assert answer["outline"] == {**ring, "drawn_by": "person"} and answer["doubt"] == []
    assert {m["name"]: m["value"] for m in answer["measures"]}["area"] == pytest.approx(9.0, rel=1e-3)


def test_compare_answers_one_json_object(files, capsys):
    words = ("compare", files / "earlier.jpg", files / "later.jpg", "--mm-per-px", "0.02", "0.02", "--json")
    code, out, err = asked(capsys, *words)
    answer = json.loads(out)
    assert (code, err) == (0, "")
    assert list(answer) == ["schema", "version", "earlier", "later", "registration", "deltas", "regions"]
    measured_shape(answer["earlier"])
    measured_shape(answer["later"])
    laid = answer["registration"]
    assert list(laid) == ["aligned", "rests_on", "matrix", "residual_px", "mirrored", "reasons"]
    assert [len(row) for row in laid["matrix"]] == [3, 3]
    keys = ["name", "unit", "earlier", "later", "delta", "uncertainty", "smallest_detectable", "beyond"]
    assert all(list(d) == keys for d in answer["deltas"])
    assert all(list(r) == ["points", "kind", "area"] for r in answer["regions"])


def test_sentences_without_json(files, capsys):
    code, out, _ = asked(capsys, "measure", files / "earlier.jpg")
    assert code == 0 and "Feret: not given: the picture has no scale." in out
    code, out, _ = asked(capsys, "compare", files / "earlier.jpg", files / "later.jpg")
    assert code == 0 and out.startswith("The pictures align")


@pytest.mark.parametrize(
    "words",
    [
        ("measure", "nowhere.jpg"),
        ("measure", "text.jpg"),
        ("measure", "earlier.jpg", "--mm-per-px", "0"),
        ("measure", "earlier.jpg", "--mm-per-px", "wide"),
        ("measure", "earlier.jpg", "--outline", "text.jpg"),
        ("compare", "earlier.jpg"),
        ("judge", "earlier.jpg"),
        (),
    ],
)
def test_wrong_input_exits_2_with_one_line(files, capsys, monkeypatch, words):
    monkeypatch.chdir(files)
    (files / "text.jpg").write_text("no picture")
    code, out, err = asked(capsys, *words, *(["--json"] if words else []))
    assert (code, out, err.count("\n")) == (2, "", 1)


def test_the_process_itself_exits_2(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "lesions.analysis", "measure", str(tmp_path / "none.jpg"), "--json"],
        capture_output=True,
        text=True,
    )
    assert (done.returncode, done.stdout) == (2, "") and done.stderr.count("\n") == 1


def test_no_part_of_the_core_imports_the_web_framework_or_the_queue():
    code = (
        "import importlib, pkgutil, sys, lesions.analysis as core\n"
        "names = [m.name for m in pkgutil.walk_packages(core.__path__, 'lesions.analysis.') if '__main__' not in m.name]\n"
        "[importlib.import_module(n) for n in names]\n"
        "print(len(names) > 15, sorted(n for n in sys.modules if n.split('.')[0] in ('django', 'celery')))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "True []"
