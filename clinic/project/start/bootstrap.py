"""First run: a virtual environment and the hashed packages, with nothing but the standard library.

`manage.py` hands the words `demo` and `test` to `run` before it imports Django. The file must parse on a
Python that is too old for the rest, so that such a Python is told and not greeted with a traceback.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]
OLDEST = (3, 11)
RUNTIME, DEVELOPMENT, BROKER = "requirements.txt", "requirements-dev.txt", "requirements-broker.txt"
NO_ENSUREPIP = "This Python cannot make virtual environments. On Debian or Ubuntu: apt install python3-venv"
# Of these nothing may reach the demo: it must never open a clinic's database or answer under a clinic's name.
CLINIC_SETTINGS = (
    "ALLOWED_HOSTS",
    "BEHIND_PROXY",
    "DATA_DIR",
    "DEBUG",
    "QUARTERDAY_QUEUE",
    "SECRET_KEY",
    "STATIC_ROOT",
)


def run(word: str, rest: list[str]) -> None:
    """Prepare the environment for `demo` or `test`; return only where this process may go on itself."""
    if sys.version_info < OLDEST:
        refuse(f"Quarterday needs Python 3.11 or newer; this is {sys.version.split()[0]}.")
    python = environment()
    if Path(python) != Path(sys.executable):
        become(python, str(ROOT / "manage.py"), word, *rest)
    if word == "test":
        install(python, DEVELOPMENT)
        os.chdir(ROOT)
        become(python, "-m", "pytest", *rest)
    install(python, RUNTIME)
    if not shutil.which("redis-server"):
        install(python, BROKER, needed=False)
    # Packages installed a moment ago are unknown to this very process otherwise.
    importlib.invalidate_caches()
    enter_demo()


def refuse(sentence: str) -> None:
    print(sentence, file=sys.stderr, flush=True)
    sys.exit(2)


def say(sentence: str) -> None:
    print(sentence, flush=True)


def become(python: str, *words: str) -> None:
    # The whole path must stand as argv[0], or Python does not find the environment that it belongs to.
    os.execv(python, [python, *words])


def environment() -> str:
    """Return the Python of the active environment, or of `.venv`, which is made where it is missing."""
    if sys.prefix != sys.base_prefix:
        return sys.executable
    folder = ROOT / ".venv"
    python = str(folder / "bin" / "python")
    if not answers(python, "import sys; sys.exit(sys.version_info < (3, 11))"):
        make_environment(folder)
    return python


def answers(python: str, code: str) -> bool:
    """Say whether a Python runs these words without complaint."""
    if not os.path.exists(python):
        return False
    return subprocess.run([python, "-c", code], capture_output=True, check=False).returncode == 0


def make_environment(folder: Path) -> None:
    if importlib.util.find_spec("ensurepip") is None:
        refuse(NO_ENSUREPIP)
    say(f"Making a virtual environment in {folder.name} ...")
    made = subprocess.run([sys.executable, "-m", "venv", "--clear", str(folder)], check=False)
    if made.returncode:
        refuse(f"The virtual environment could not be made in {folder}; Python's own words stand above.")


def add_pip(python: str) -> None:
    """Put pip into an environment that some other tool made without it."""
    if not answers(python, "import ensurepip"):
        refuse(NO_ENSUREPIP)
    say("Adding pip to the environment ...")
    if subprocess.run([python, "-m", "ensurepip", "--default-pip"], check=False).returncode:
        refuse("pip could not be added to the environment; Python's own words stand above.")


def install(python: str, requirements: str, needed: bool = True) -> None:
    """Install one hashed requirements file, unless its stamp says that this very file is installed."""
    wanted = hashlib.sha256((ROOT / requirements).read_bytes()).hexdigest()
    stamp = Path(python).parent.parent / f"quarterday-{requirements}.sha256"
    if stamp.exists() and stamp.read_text(encoding="ascii") == wanted:
        return
    if not answers(python, "import pip"):
        add_pip(python)
    say(f"Installing {requirements}; the first time takes a minute ...")
    words = ["--disable-pip-version-check", "--no-input", "--require-hashes", "-r", str(ROOT / requirements)]
    if subprocess.run([python, "-m", "pip", "install", *words], check=False).returncode == 0:
        stamp.write_text(wanted, encoding="ascii")
    elif needed:
        refuse(f"{requirements} could not be installed; pip's own words stand above.")
    else:
        say(f"{requirements} could not be installed; Quarterday goes on without it.")


def enter_demo() -> None:
    """Leave a clinic's settings behind: the demo has a data folder, a database and a broker of its own."""
    for name in ("DATABASE_URL", "REDIS_URL"):
        if os.environ.pop(name, ""):
            say(f"{name} is set; the demo ignores it and uses its own.")
    for name in CLINIC_SETTINGS:
        os.environ.pop(name, None)
    os.environ["QUARTERDAY_MODE"] = "demo"
    os.environ["DATA_DIR"] = os.environ.get("QUARTERDAY_DEMO_DIR") or str(ROOT / "var" / "demo")
