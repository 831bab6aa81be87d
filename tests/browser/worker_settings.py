"""Settings of a real Celery worker that shares the suite's database, its pictures and its broker."""

import json
import os
from pathlib import Path

from clinic.project.settings import *  # noqa: F403

DATABASES = {"default": json.loads(os.environ["QUARTERDAY_TEST_DATABASE"])}
PRIVATE_FILES = Path(os.environ["QUARTERDAY_TEST_PICTURES"])
