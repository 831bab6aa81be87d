from functools import lru_cache

import pytest

from lesions.analysis import pipeline

# The core answers the same bytes alike (its own tests prove it), so outside them each picture is measured once a session.
_measure, _compare = lru_cache(maxsize=256)(pipeline.measure), lru_cache(maxsize=256)(pipeline.compare)


@pytest.fixture(autouse=True)
def _the_same_picture_is_measured_once(request, monkeypatch):
    if "analysis" not in request.path.parts:
        monkeypatch.setattr(pipeline, "measure", _measure)
        monkeypatch.setattr(pipeline, "compare", _compare)
