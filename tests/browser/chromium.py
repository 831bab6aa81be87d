"""Where Chromium is, how it starts without a word to the network, and where pictures of pages go."""

import shutil
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
SCREENS = ROOT / ".screens"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
