"""From a signature to the next pair on the screen: python -m tests.bench.deciding [patients] [waiting] [--database sqlite|URL].

Builds invented patients in a throw-away database, `waiting` of whom wait for a decision with two measured pictures of
usual size, and signs sixty of them. Twice: by plain requests, whose processor time and questions are the server's own,
and by keyboard in headless Chromium, from the second Enter until both pictures of the next lesion stand decoded.
Browser, server and database share the machine here; its load is printed, and `--profile` says where the server's time goes.
"""

import argparse
import cProfile
import pstats
import statistics
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from tests.bench.paged_clinic import invent
from tests.bench.pages import settle, signed_in
from tests.bench.replanning import prepare
from tests.bench.table import load, row

DECISIONS = 60
USUAL_SIZE = {
    "width": 1600,
    "height": 1200,
    "mm_per_px": 0.01125,
}  # as a dermatoscope on a telephone gives; common practice, no source
SIGN = {"decision": "excise", "months": "", "note": ""}


def pair():
    """One lesion with two measured pictures of usual size, and a reason to look."""
    from lesions.analysis.drawing import phantom
    from tests.browser.test_whole_loop import jpeg
    from tests.lesions import scene

    spec = phantom.Phantom(seed=11, axes_mm=(4.4, 3.6), ruler=False, **USUAL_SIZE)
    later = replace(phantom.recaptured(phantom.grown(spec, 1.2), seed=12), turn=6.0)
    lesion = scene.lesion()
    scene.measured(lesion, jpeg(spec), days_ago=91)
    return scene.measured(lesion, jpeg(later))


def clinic(patients, waiting):
    """So many patients, and so many who wait; the pairs share their files, as the pixels are no part of the rows."""
    from tests import build
    from tests.browser.test_sign_off import copies

    build.rules_in_force(), build.flags_in_force(), build.tiers_in_force()
    invent(patients, waiting, build.dermatologist())
    return copies(pair(), 2 * DECISIONS + 10)


def by_requests(client, rows):
    """Sign one after the other as the script does; processor ms and questions of what somebody waits for, and of the rest."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    spent, questions = (
        {"sign, and the next page in the answer": [], "pictures (304), the look, the masthead": []},
        {},
    )
    address = f"/decisions/{rows[0].pk}/"
    page = client.get(address)
    look(client, page, {})

    def step(name, ask):
        with CaptureQueriesContext(connection) as asked:
            begun = time.process_time()
            answer = ask()
            spent[name].append(1000 * (time.process_time() - begun))
        questions[name] = len(asked)
        return answer

    tags = {}
    for _ in range(DECISIONS):
        said = SIGN | {"revision": page.context["form"]["revision"].value(), "seal": page.context["seal"]}
        said["next"] = page.context["next_key"] or ""
        sign, rest = spent
        page = step(sign, lambda: client.post(address, said, headers={"X-Next": "1"}))  # noqa: B023  called at once
        assert page.status_code == 200, page.content
        address = page["Content-Location"]
        step(rest, lambda: look(client, page, tags))  # noqa: B023  called at once
    return spent, questions


def look(client, page, tags):
    """Ask for the pictures as a browser does that has them already, and say that they stood there."""
    for picture in pictures(page):
        headers = {"If-None-Match": tags[picture]} if picture in tags else {}
        tags[picture] = client.get(picture, headers=headers)["ETag"]
    answer = client.post(f"/decisions/{page.context['review'].pk}/look/", {"seal": page.context["seal"]})
    assert answer.status_code == 201, answer.content


def pictures(page):
    sides = (page.context["earlier"], page.context["later"])
    return [f"/images/{side.image.pk}/view/" for side in sides if side]


def by_browser(url, member):
    """Ms by the wall from the second Enter to the next pair decoded, one for each decision but the last."""
    from playwright.sync_api import sync_playwright

    from tests.browser.chromium import CHROMIUM, QUIET

    took = []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        page = browser.new_page(viewport={"width": 1366, "height": 768}, base_url=url)
        page.context.add_cookies([cookie(member, url)])
        page.goto("/decisions/")
        page.locator(".queue .row-do a").first.press("Enter")
        for _ in range(DECISIONS):
            page.wait_for_selector("[data-decoded]")
            page.wait_for_timeout(1500)  # somebody looks; what is fetched ahead arrives
            page.keyboard.press("1")
            page.keyboard.press("Enter")
            page.wait_for_selector("[data-said] .desk-consequences:not(.empty) p")
            page.wait_for_timeout(350)
            page.evaluate(WAIT)
            page.keyboard.press("Enter")
            took.append(page.evaluate("window.tookToDecode"))
        browser.close()
    return took


# The page measures itself, so that no round trip of the test's own is part of it.
WAIT = """() => {
  const pressed = new Promise((done) => addEventListener("keydown", () => done(performance.now()), { once: true, capture: true }));
  const before = location.pathname;
  const decoded = () => location.pathname !== before && document.querySelector("[data-decoded]");
  window.tookToDecode = pressed.then((began) => new Promise((done) => {
    const look = () => (decoded() ? done(performance.now() - began) : requestAnimationFrame(look));
    look();
  }));
}"""


def cookie(client, url):
    from django.conf import settings

    name = settings.SESSION_COOKIE_NAME
    return {"name": name, "value": client.cookies[name].value, "url": url}


def server():
    from django.contrib.staticfiles.handlers import StaticFilesHandler
    from django.test.testcases import LiveServerThread

    thread = LiveServerThread("127.0.0.1", StaticFilesHandler)
    thread.daemon = True
    thread.start()
    thread.is_ready.wait()
    if thread.error:
        raise thread.error
    return thread


def spread(took):
    ordered = sorted(took)
    return f"median {statistics.median(ordered):.0f}, p95 {ordered[int(0.95 * len(ordered))]:.0f}, most {ordered[-1]:.0f}"


def main():
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("patients", nargs="?", type=int, default=20_000)
    asked.add_argument("waiting", nargs="?", type=int, default=1_000)
    asked.add_argument("--database", default="sqlite")
    asked.add_argument("--profile", action="store_true")
    asked.add_argument("--no-browser", action="store_true")
    asked = asked.parse_args()
    with tempfile.TemporaryDirectory(prefix="deciding-") as folder:
        run(asked, prepare(asked.database, folder))


def run(asked, connection):
    from django.conf import settings
    from django.test.utils import setup_test_environment

    setup_test_environment()  # a page's context is read beside it
    settle()
    settings.ALLOWED_HOSTS.append("127.0.0.1")
    Path(settings.PRIVATE_FILES).mkdir(parents=True, exist_ok=True)
    try:
        rows = clinic(asked.patients, asked.waiting)
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
        row(
            "patients, of whom wait for a decision, database",
            f"{asked.patients}, {waiting()}, {connection.vendor}",
        )
        requests(rows, asked.profile)
        if not asked.no_browser:
            live = server()
            took = by_browser(f"http://{live.host}:{live.port}", signed_in("dermatologist"))
            row("ms by the wall, second Enter to the next pair decoded", spread(took))
            live.terminate()
        load()
    finally:
        connection.creation.destroy_test_db("bench", verbosity=0)


def waiting():
    from lesions.models import Review

    return Review.objects.filter(state="waiting").count()


def requests(rows, profiled):
    profile = cProfile.Profile()
    if profiled:
        profile.enable()
    spent, questions = by_requests(signed_in("dermatologist"), rows)
    profile.disable()
    for name, took in spent.items():
        row(f"processor ms of the server: {name} ({questions[name]} questions)", spread(took))
    whole = [sum(of) for of in zip(*spent.values(), strict=True)]
    row("processor ms of the server for a decision, all of it", spread(whole))
    if profiled:
        pstats.Stats(profile).sort_stats("cumulative").print_stats(
            "lesions|clinic|scheduling|sqlite|sqlparse", 60
        )


if __name__ == "__main__":
    main()
