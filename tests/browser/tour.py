"""The pictures of the README's tour, taken from a running demo: python -m tests.browser.tour [ADDRESS]

Run `python3 manage.py demo` first; everybody on the pictures is invented.
"""

import json
import re
import sys

from playwright.sync_api import Page, sync_playwright

from tests.browser.chromium import CHROMIUM, QUIET, ROOT

TOUR = ROOT / "docs" / "tour"
STOPS = {
    "nurse": {"today": "/today/", "diary": "/diary/"},
    "dermatologist": {"decisions": "/decisions/", "rules": "/rules/", "results": "/results/"},
    "manager": {"missed": "/missed/"},
}


def sign_in(page: Page, login: dict[str, str]) -> None:
    page.context.clear_cookies()
    page.goto("/login/")
    page.get_by_label("Username").fill(login["username"])
    page.get_by_label("Password").fill(login["password"])
    page.locator("main button[type=submit]").click()
    page.wait_for_load_state("networkidle")


def shoot(page: Page, name: str) -> None:
    page.wait_for_load_state("networkidle")
    page.screenshot(path=TOUR / f"{name}.png")


def follow(page: Page, link: str, name: str, shows: int = 0) -> None:
    """Open the first link of the list whose address matches and whose page shows so many photographs."""
    addresses = [row.get_attribute("href") or "" for row in page.locator("main a").all()]
    for address in [address for address in addresses if re.fullmatch(link, address)]:
        page.goto(address)
        if page.locator(".frame img").count() >= shows:
            return shoot(page, name)
    raise LookupError(f"no {name} to show")


def tour(address: str) -> None:
    TOUR.mkdir(parents=True, exist_ok=True)
    logins = json.loads((ROOT / "var" / "demo" / "logins.json").read_text())["logins"]
    first = {login["role"]: login for login in reversed(logins)}
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        page = browser.new_page(viewport={"width": 1366, "height": 768}, base_url=address)
        for role, stops in STOPS.items():
            sign_in(page, first[role])
            for name, path in stops.items():
                page.goto(path)
                shoot(page, name)
                if name == "decisions":
                    follow(page, r"/decisions/\d+/", "decision", shows=2)
                if name == "today":
                    follow(page, r"/patients/\d+/", "patient")
        browser.close()


if __name__ == "__main__":
    tour(sys.argv[1] if len(sys.argv) > 1 else "http://127.0.0.1:8000")
