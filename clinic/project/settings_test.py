"""Settings of the test suite: SQLite in a folder of its own, or the services that the environment names."""

import atexit
import os
import shutil
import tempfile

SERVICES = os.environ.get("QUARTERDAY_TEST_SERVICES") == "1"
if not SERVICES:
    os.environ.pop("DATABASE_URL", None)
    os.environ.pop("REDIS_URL", None)
_FOLDER = tempfile.mkdtemp(prefix="quarterday-test-")
_OWNER = os.getpid()


def _clear() -> None:
    # A forked child inherits the exit handler, but not the folder.
    if os.getpid() == _OWNER:
        shutil.rmtree(_FOLDER, ignore_errors=True)


atexit.register(_clear)
os.environ.update(
    DATA_DIR=_FOLDER,
    SECRET_KEY="only-for-tests",
    ALLOWED_HOSTS="testserver,127.0.0.1,localhost",
    QUARTERDAY_MODE="clinic",
    QUARTERDAY_QUEUE="none",
    DEBUG="no",
)
# Playwright runs an event loop in the test's thread, which Django would take for an async view.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"

from clinic.project.settings import *  # noqa: E402, F403
from clinic.project.settings import DATABASES, MIDDLEWARE, PRIVATE_FILES, STORAGES  # noqa: E402

if not SERVICES:
    # A file, not memory: the live server's threads and WAL need one.
    DATABASES["default"]["TEST"] = {"NAME": os.path.join(_FOLDER, "test.sqlite3")}
MIDDLEWARE = [name for name in MIDDLEWARE if not name.startswith("whitenoise")]
STORAGES = {
    **STORAGES,
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
# The real ones are slow on purpose, and each test makes members.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
SECURE_SSL_REDIRECT = False
SECURE_HSTS_SECONDS = 0
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = False
CELERY_BROKER_URL = "memory://"
PRIVATE_FILES.mkdir(exist_ok=True)
MIXED_IN_PERCENT = 0  # a lot would make lists of tests differ from run to run
