"""The learned finder: the same answer on every machine, and a plain word where it cannot work."""

import shutil
import subprocess
import sys

import numpy as np
import pytest
from PIL import Image

from lesions.analysis.outline import learned
from lesions.analysis.outline.agreement import jaccard
from tests.lesions.analysis.pictures import REAL


@pytest.fixture
def runtime():
    pytest.importorskip("onnxruntime", reason="ONNX Runtime is not installed: the learned finder is off")
    learned._session.cache_clear()
    yield
    learned._session.cache_clear()


@pytest.fixture
def weights(tmp_path, monkeypatch):
    """A copy of the packaged weights that a test may spoil."""
    for name in ("outline.onnx", "outline.sha256"):
        shutil.copy(learned.WEIGHTS.with_name(name), tmp_path / name)
    monkeypatch.setattr(learned, "WEIGHTS", tmp_path / "outline.onnx")
    learned._session.cache_clear()
    yield tmp_path / "outline.onnx"
    learned._session.cache_clear()


def spot(width: int = 320, height: int = 240) -> tuple[np.ndarray, np.ndarray]:
    """A brown ellipse with soft border on unevenly lit skin, by arithmetic alone; and the ellipse."""
    y, x = np.mgrid[0:height, 0:width]
    depth = 1 - np.hypot((x - 0.55 * width) / (0.22 * width), (y - 0.45 * height) / (0.2 * height))
    share = 1 / (1 + np.exp(-depth / 0.04))[..., None]
    skin = np.array([215.0, 170.0, 150.0]) * (1 - 0.1 * x / width)[..., None]
    brown = np.array([120.0, 75.0, 55.0]) + 12 * np.sin(x / 5.0)[..., None] * np.cos(y / 4.0)[..., None]
    return np.round(skin * (1 - share) + brown * share).astype(np.uint8), depth > 0


def test_the_packaged_weights_are_whole_and_small(runtime):
    assert learned.available() is None
    assert learned.WEIGHTS.stat().st_size < 20_000_000  # the bar of the work order


def test_a_drawn_spot_gives_the_recorded_answer(runtime):
    """Golden figures recorded by version 2026.5; new weights or another choice of looks record new ones."""
    pixels, truth = spot()
    answer = learned.look(pixels)
    mask = learned.piece(answer.probability)
    assert jaccard(mask, truth) > 0.85
    assert mask.mean() == pytest.approx(0.1449, abs=0.001)
    assert answer.agreement == pytest.approx(0.9876, abs=0.002)
    assert answer.probability[108, 100:109:4] == pytest.approx([0.014, 0.405, 0.994], abs=0.03)


def test_a_turned_picture_gives_nearly_the_turned_answer(runtime):
    """One look of the eight that there are: a turned picture is seen otherwise, so the answers only nearly agree."""
    pixels, _ = spot(240, 240)
    straight = learned.look(pixels)
    turned = learned.look(np.ascontiguousarray(np.rot90(pixels)))
    assert jaccard(learned.piece(np.rot90(straight.probability)), learned.piece(turned.probability)) > 0.985
    assert turned.agreement == pytest.approx(straight.agreement, abs=0.01)


def test_only_where_the_networks_disagree_do_they_look_again(runtime, monkeypatch):
    """Each further look costs as much as the first; what all of them saw is the border and the doubt."""
    pixels, _ = spot()
    looked, plain = [], learned._looked
    monkeypatch.setattr(
        learned, "_looked", lambda square, turns: looked.append(turns) or plain(square, turns)
    )
    once = learned.look(pixels)
    assert looked == [learned.LOOK]
    monkeypatch.setattr(learned, "ALIKE", 1.01)
    often = learned.look(pixels)
    assert looked[1:] == [learned.LOOK, *learned.MORE_LOOKS]
    assert jaccard(learned.piece(once.probability), learned.piece(often.probability)) > 0.98
    assert often.agreement <= once.agreement + 0.005


def test_the_answer_has_the_pictures_size_whatever_its_proportions(runtime):
    for shape in ((40, 400), (400, 40), (33, 31)):
        pixels = np.full((*shape, 3), 190, dtype=np.uint8)
        assert learned.look(pixels).probability.shape == shape


def test_the_piece_with_most_probability_stays_and_its_holes_close():
    map_ = np.zeros((20, 20), dtype=np.float32)
    map_[2:9, 2:9], map_[4:6, 4:6], map_[14:17, 14:17] = 0.9, 0.1, 0.95
    expected = np.zeros((20, 20), dtype=bool)
    expected[2:9, 2:9] = True
    assert (learned.piece(map_) == expected).all()
    assert not learned.piece(np.full((5, 5), 0.2, dtype=np.float32)).any()


def test_damaged_weights_are_said_and_not_used(runtime, weights):
    content = bytearray(weights.read_bytes())
    content[len(content) // 2] ^= 1
    weights.write_bytes(content)
    assert "damaged" in learned.available()
    with pytest.raises(learned.NoLearnedFinder, match="damaged"):
        learned.look(spot()[0])


def test_missing_weights_are_said(runtime, weights):
    weights.unlink()
    assert "missing" in learned.available()


def test_a_missing_runtime_is_said(monkeypatch):
    monkeypatch.setitem(sys.modules, "onnxruntime", None)
    learned._session.cache_clear()
    assert learned.available() == "The learned outline is off: ONNX Runtime is not installed."
    with pytest.raises(learned.NoLearnedFinder):
        learned.look(spot()[0])


def test_importing_the_finder_loads_no_runtime():
    check = "import sys, lesions.analysis.outline.learned; sys.exit('onnxruntime' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", check], check=False).returncode == 0


def test_real_pictures_are_outlined_as_the_card_says(runtime):
    """Experts' outlines of ISIC 2017 (arXiv:1710.05006); the figure is the card's, less a little."""
    if not REAL.is_dir():
        pytest.skip(f"no open pictures at {REAL}")
    found = []
    for drawn in sorted(REAL.glob("*_mask.png")):
        pixels = np.asarray(Image.open(REAL / drawn.name.replace("_mask.png", ".jpg")).convert("RGB"))
        truth = np.asarray(Image.open(drawn).convert("L")) > 127
        found.append(jaccard(learned.piece(learned.look(pixels).probability), truth))
    assert np.mean(found) > 0.765
    assert np.median(found) > 0.845
