import os
from pathlib import Path

import hypothesis
import pytest
from django.db import connection

from clinic.trail import triggers
from tests import build

# A gate gives the same answer twice; whoever works here gets new examples each time.
hypothesis.settings.register_profile("gate", derandomize=True, deadline=None)
if os.environ.get("CI"):
    hypothesis.settings.load_profile("gate")

ROOT = Path(__file__).parent.parent
OPEN_PICTURES = ROOT.parent / "shared" / "data"


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
