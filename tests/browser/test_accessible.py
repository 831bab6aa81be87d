"""Every page that somebody may see, before the rules of axe-core, and no page wider than a narrow phone.

WCAG 2.2 (W3C Recommendation, 5 Oct 2023), levels A and AA, by the rules of axe-core, with its best practices; impact is
axe-core's own word. No sideways scrolling at 320 px: success criterion 1.4.10. The pages are those of the access table
and the one to sign in, each seen once. GRID=1 sees each in every role that may, in both colour schemes and two widths,
and writes what it found to tests/bench/results/accessible.md.
"""

import os
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count, product
from typing import NamedTuple

import pytest
from django.conf import settings
from django.db import transaction
from django.urls import reverse

from clinic import clock
from lesions.review import signoff
from tests import build
from tests.browser.conftest import ROOT
from tests.browser.test_sign_off import confirm, open_page, two_pictures
from tests.lesions.review.test_signoff import look
from tests.test_access import OK, ROLES, TABLE
from tests.world import build_world

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

AXE = ROOT / "node_modules" / "axe-core" / "axe.min.js"
RESULT = ROOT / "tests" / "bench" / "results" / "accessible.md"
COMMAND = "GRID=1 python -m pytest tests/browser/test_accessible.py -k grid"
NO_PAGES = {
    "words_of_scripts",
    "scheduling:missed_csv",
    "lesions:view_image",
    "lesions:change_map",
    # Parts of pages, which are seen in them.
    "scheduling:places",
    "scheduling:places_to_move",
}
STRANGER = "nobody yet"
SEES_MOST_FIRST = ("dermatologist", "nurse", "manager", "administrator", STRANGER)
SCHEMES, WIDTHS = ("light", "dark"), (320, 1366)
_seeds = count(100, 40)  # a picture is filed once

# target-size (success criterion 2.5.8, level AA) is off unless it is asked for.
LOOK = """async () => {
  const found = await axe.run(document, {
    rules: {"target-size": {enabled: true}}, resultTypes: ["violations"], iframes: false,
  });
  return found.violations.flatMap((rule) => rule.nodes.map((node) => [
    node.impact || rule.impact, rule.id, node.target.join(" "),
    [...node.any, ...node.all, ...node.none].map((one) => one.message).join("; "),
  ]));
}"""
SIDEWAYS = "() => document.scrollingElement.scrollWidth - document.documentElement.clientWidth"


class Found(NamedTuple):
    page: str
    impact: str
    rule: str
    where: str
    why: str

    @property
    def grave(self) -> bool:
        return self.impact in ("serious", "critical")


@pytest.fixture
def world(live_server) -> dict[str, tuple]:
    with transaction.atomic():  # it calls what a view calls inside its transaction
        return build_world()


@pytest.fixture
def seen_by(chromium, client, live_server):
    """A tab of somebody of that role, in which axe-core is at hand on every page."""
    if not AXE.exists():
        pytest.skip("axe-core is not here (npm ci)")

    @contextmanager
    def opened(role: str, scheme: str = "light", width: int = 1366):
        look = {"color_scheme": scheme, "viewport": {"width": width, "height": 768}}
        context = chromium.new_context(base_url=live_server.url, bypass_csp=True, **look)
        if role != STRANGER:
            client.force_login(build.member(role), backend="clinic.project.backends.ClinicBackend")
            key = client.cookies[settings.SESSION_COOKIE_NAME].value
            context.add_cookies(
                [{"name": settings.SESSION_COOKIE_NAME, "value": key, "url": live_server.url}]
            )
        context.add_init_script(path=AXE)
        yield context.new_page()
        context.close()

    return opened


def places(world, role: str) -> Iterator[tuple[str, str]]:
    """What a role may open: the page's name and its address."""
    if role == STRANGER:
        yield "login", reverse("login")
        return
    for name, (method, about, answers) in TABLE.items():
        if method == "get" and answers[ROLES.index(role)] == OK and name not in NO_PAGES:
            yield name, reverse(name, args=world.get(about, ()))


def each_once(world) -> dict[str, dict[str, str]]:
    """For each role the pages that no role before it may open."""
    left, seen = {}, set()
    for role in SEES_MOST_FIRST:
        left[role] = {name: address for name, address in places(world, role) if name not in seen}
        seen |= set(left[role])
    return left


def faults(page, name: str) -> list[Found]:
    return [Found(name, *row) for row in page.evaluate(LOOK)]


def visit(page, name: str, address: str) -> None:
    answer = page.goto(address)
    assert answer.status == OK and answer.headers["content-type"].startswith("text/html"), name


def test_no_page_has_a_grave_fault_or_is_wider_than_a_phone(world, seen_by):
    found, wide = [], {}
    for role, pages in each_once(world).items():
        with seen_by(role) as page:
            for name, address in pages.items():
                visit(page, name, address)
                found += faults(page, name)
                page.set_viewport_size({"width": 320, "height": 768})
                wide[name] = page.evaluate(SIDEWAYS)
                page.set_viewport_size({"width": 1366, "height": 768})
    grave = [" | ".join(fault) for fault in found if fault.grave]
    assert not grave, "\n".join(grave)
    assert {name: by for name, by in wide.items() if by > 0} == {}
    assert len(wide) > 60


def test_a_planted_fault_is_found(seen_by):
    with seen_by(STRANGER) as page:
        page.goto(reverse("login"))
        assert not any(fault.grave for fault in faults(page, "login"))
        page.evaluate(
            """() => {
              document.querySelector("main").insertAdjacentHTML("beforeend",
                "<ul role=status><li>list</li></ul><input><div style='color:#aaa;width:99rem'>pale</div>");
            }"""
        )
        rules = {fault.rule for fault in faults(page, "login") if fault.grave}
        assert rules >= {"listitem", "label", "color-contrast"}
        assert page.evaluate(SIDEWAYS) > 0


def states(page) -> Iterator[str]:
    """The decision page with two pictures as somebody works on it, each state once: what no address alone leads to."""
    review = two_pictures(scales=True, seed=next(_seeds))
    open_page(page, review)
    yield "two pictures"
    page.locator('[data-do="overlay"]').click()
    yield "overlay"
    page.locator('[data-sheet="measures"]').click()
    page.wait_for_selector(".desk-sheet.open")
    yield "all measures"
    page.reload()
    page.wait_for_selector("[data-decoded]")
    confirm(page, "1")
    yield "what will be signed"
    page.evaluate("document.querySelector('[name=decision]:checked').checked = false")
    _send(page)
    yield "422: no decision chosen"
    page.wait_for_selector("[data-decoded]")
    signed_by_another(review)
    page.locator("[value=biopsy]").check()
    _send(page)
    yield "409: signed by another"


def _send(page) -> None:
    """As a browser without scripts sends the form."""
    with page.expect_navigation():
        page.evaluate("document.querySelector('.desk-form').submit()")


def signed_by_another(review) -> None:
    other = build.dermatologist()
    look(review, other)
    signoff.record(review_id=review.pk, by=other, decision="excise", revision=review.revision)


def look_at_states(page, scheme: str, width: int) -> tuple[tuple, list[Found]]:
    """One row of the grid, and what was found."""
    here, wide, number = [], [], 0
    for name in states(page):
        here += faults(page, f"decision, {name} ({scheme}, {width} px)")
        wide += [name] if page.evaluate(SIDEWAYS) > 0 else []
        number += 1
    grave = sum(fault.grave for fault in here)
    said = ", ".join(wide) or "none"
    return ("states of a decision", scheme, width, number, grave, len(here) - grave, said), here


@pytest.mark.skipif("GRID" not in os.environ, reason=f"the grid takes minutes: {COMMAND}")
def test_the_states_of_a_decision_have_no_grave_fault(live_server, seen_by):
    """The part of the grid that is about one page, for itself: about a minute."""
    build.flags_in_force()
    for scheme, width in product(SCHEMES, WIDTHS):
        with seen_by("dermatologist", scheme, width) as page:
            row, here = look_at_states(page, scheme, width)
        assert not [fault for fault in here if fault.grave] and row[-1] == "none", [row, *here]


@pytest.mark.skipif("GRID" not in os.environ, reason=f"the grid takes minutes: {COMMAND}")
def test_the_grid_has_no_grave_fault(world, seen_by, chromium):
    rows, found = [], []
    for role, scheme, width in product(SEES_MOST_FIRST, SCHEMES, WIDTHS):
        wide, here, number = [], [], 0
        with seen_by(role, scheme, width) as page:
            for name, address in places(world, role):
                visit(page, name, address)
                here += faults(page, f"{name} ({role}, {scheme}, {width} px)")
                wide += [name] if page.evaluate(SIDEWAYS) > 0 else []
                number += 1
        grave = sum(fault.grave for fault in here)
        rows.append((role, scheme, width, number, grave, len(here) - grave, ", ".join(wide) or "none"))
        found += here
    for scheme, width in product(SCHEMES, WIDTHS):
        with seen_by("dermatologist", scheme, width) as page:
            row, here = look_at_states(page, scheme, width)
        rows.append(row)
        found += here
    RESULT.write_text(result(rows, found, chromium.version))
    assert not any(row[4] for row in rows) and {row[6] for row in rows} == {"none"}, RESULT.read_text()


def result(rows: list[tuple], found: list[Found], browser: str) -> str:
    axe = AXE.read_text()[:40].split("axe v")[1].split()[0]
    head = (
        "role",
        "scheme",
        "width in px",
        "pages",
        "serious or critical",
        "moderate or minor",
        "scroll sideways",
    )
    counts = Counter((fault.impact, fault.rule) for fault in found)
    examples = {fault.rule: f"{fault.page}: {fault.where}" for fault in found}
    lines = [
        "# Every page before the rules of axe-core",
        "",
        f"`{COMMAND}`, {clock.today():%-d %B %Y}, axe-core {axe}, Chromium {browser}: each page of the access table in each",
        "role that may open it, with the rules for WCAG 2.2 A and AA (target size too) and the best practices; elements at fault.",
        "",
        *[f"| {' | '.join(map(str, row))} |" for row in (head, ["---"] * len(head), *rows)],
        "",
        f"{sum(row[3] for row in rows)} visits. "
        + ("What was found, by rule:" if counts else "No rule was broken."),
        *[f"- {impact}: `{rule}`, {n} × ({examples[rule]})" for (impact, rule), n in sorted(counts.items())],
    ]
    return "\n".join(lines) + "\n"
