import pytest

from clinic import clock
from tests import build
from tests.scheduling import scene


@pytest.fixture
def noon():
    """The clinic's clock stands at one fixed noon."""
    with clock.at(scene.NOON):
        yield scene.NOON


@pytest.fixture
def rules(db, noon):
    return build.rules_in_force()


@pytest.fixture
def signed_in(client):
    client.force_login(build.dermatologist(), backend="clinic.project.backends.ClinicBackend")
    return client
