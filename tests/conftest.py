import gc
import os
from functools import lru_cache
from pathlib import Path

import hypothesis
import pytest
from django.db import connection

from clinic import policies
from clinic.project.settings_test import SERVICES
from clinic.trail import triggers
from lesions.analysis import pipeline
from lesions.analysis.drawing import changemap
from lesions.analysis.picture import reading_process
from tests import build

# A gate gives the same answer twice; whoever works here gets new examples each time.
hypothesis.settings.register_profile("gate", derandomize=True, deadline=None)
if os.environ.get("CI"):
    hypothesis.settings.load_profile("gate")

# The core answers the same bytes alike (its own tests prove it), so outside them each picture is read and measured once
# a session.
_measure, _compare = lru_cache(maxsize=256)(pipeline.measure), lru_cache(maxsize=256)(pipeline.compare)
_draw, _clean = lru_cache(maxsize=64)(changemap.draw), lru_cache(maxsize=256)(reading_process.clean)

ASKS_THE_DATABASE = {"db", "transactional_db", "live_server", "django_db_setup"}
ROOT = Path(__file__).parent.parent
OPEN_PICTURES = ROOT.parent / "shared" / "data"


def pytest_collection_modifyitems(config, items):
    """On services runs what asks the database; the rest is the same code, and has run without them."""
    left = [item for item in items if SERVICES and not may_ask(item)]
    if left:
        items[:] = [item for item in items if may_ask(item)]
        config.hook.pytest_deselected(items=left)


def may_ask(item: pytest.Item) -> bool:
    return bool(item.get_closest_marker("django_db") or ASKS_THE_DATABASE & set(item.fixturenames))


def pytest_collection_finish():
    """A tenth of the suite's time went into looking for garbage among what stays: the program and the tests."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(100_000, 20, 20)


@pytest.fixture
def open_pictures() -> Path:
    """Open dermoscopic photographs with expert outlines, kept beside the checkout and never inside it."""
    folder = OPEN_PICTURES / "dermoscopy"
    if not folder.is_dir():
        pytest.skip("the open dermoscopic pictures are not beside this checkout (../shared/data/dermoscopy)")
    return folder


@pytest.fixture
def nurse(db):
    """A nurse of the clinic; a file whose nurse is signed in, or has a name, has a fixture of its own."""
    return build.nurse()


@pytest.fixture
def doctor(db):
    return build.dermatologist()


@pytest.fixture(autouse=True)
def _private_files(settings, tmp_path):
    settings.PRIVATE_FILES = tmp_path / "pictures"
    settings.PRIVATE_FILES.mkdir()


@pytest.fixture(autouse=True)
def _the_same_picture_is_measured_once(request, monkeypatch):
    if "analysis" not in request.path.parts:
        monkeypatch.setattr(pipeline, "measure", _measure)
        monkeypatch.setattr(pipeline, "compare", _compare)
        monkeypatch.setattr(changemap, "draw", _draw)
        monkeypatch.setattr(reading_process, "clean", _clean)


@pytest.fixture(autouse=True, scope="session")
def _what_held_is_not_read_again():
    """Reading the shipped rules was half the time of bringing them into force; a text with faults is read each time."""
    for kind, check in policies.CHECKS.items():
        policies.CHECKS[kind] = _until_it_holds(check)


def _until_it_holds(check):
    held = set()

    def checked(text):
        faults = [] if text in held else check(text)
        if not faults:
            held.add(text)
        return faults

    return checked


@pytest.fixture(autouse=True)
def _append_only_tables_can_be_emptied(request):
    """A transactional test ends with a flush, which the triggers refuse; post_migrate brings them back.

    The database is asked for first, so that this ends before its flush.
    """
    marker = request.node.get_closest_marker("django_db")
    fixtures = {"transactional_db", "live_server"} & set(request.fixturenames)
    if not fixtures and not (marker and marker.kwargs.get("transaction")):
        yield
        return
    request.getfixturevalue("transactional_db")
    yield
    on_table = "" if connection.vendor == "sqlite" else " ON {}"
    with connection.cursor() as cursor:
        for table in triggers.tables():
            for verb in ("update", "delete", "truncate"):
                cursor.execute(f"DROP TRIGGER IF EXISTS {triggers.name(table, verb)}{on_table.format(table)}")
