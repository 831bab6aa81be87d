"""The style sheet keeps its promises: contrast by WCAG 2.2, and nothing inline on any page (strict CSP).

Source: WCAG 2.2 (W3C Recommendation, 5 Oct 2023), definitions of relative luminance and contrast ratio,
success criteria 1.4.3 (4.5:1 for text) and 1.4.11 (3:1 for the edge of a control). Formula from memory.
"""

import re
from datetime import UTC, date, datetime
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.template import Context, Engine

from clinic import clock
from clinic.charts.year_strip import Strip
from clinic.models import Patient
from clinic.templatetags import quarterday as words

ROOT = Path(__file__).resolve().parents[2]
SHEET = (ROOT / "clinic/static/clinic/quarterday.css").read_text()
APPS = ("clinic", "lesions", "scheduling")
TEMPLATES = sorted(path for app in APPS for path in (ROOT / app).rglob("templates/**/*.html"))

ROOTS = re.findall(r":root \{\s*(?:color-scheme: light dark;)?(.*?)\n\s*\}", SHEET, re.S)
SCHEMES = {"light": ROOTS[0], "dark": ROOTS[1]}
TOKEN = re.compile(r"--([\w-]+): (#[0-9a-f]{6});")
WRITTEN = re.compile(r"--([\w-]+): #[0-9a-f]{6};\s*/\* (.*?) \*/")
PAIR = re.compile(r"on --([\w-]+) ([\d.]+):1")


def luminance(colour):
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def pairs():
    for scheme, css in SCHEMES.items():
        colours = dict(TOKEN.findall(css))
        for name, comment in WRITTEN.findall(css):
            for ground, figure in PAIR.findall(comment):
                least = 3.0 if "3:1" in comment.split("(")[-1] else 4.5
                values = colours[name], colours[ground], float(figure), least
                yield pytest.param(*values, id=f"{scheme} {name} on {ground}")


def test_formula_on_the_two_ends_of_the_scale():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)


@pytest.mark.parametrize("ink, ground, written, least", list(pairs()))
def test_contrast_is_enough_and_is_what_the_sheet_says(ink, ground, written, least):
    assert contrast(ink, ground) >= least
    assert contrast(ink, ground) == pytest.approx(written, abs=0.051)


@pytest.mark.parametrize("scheme", SCHEMES)
def test_every_colour_that_carries_words_has_its_pairs_written(scheme):
    comments = WRITTEN.findall(SCHEMES[scheme])
    written = {name: {ground for ground, _ in PAIR.findall(comment)} for name, comment in comments}
    for name in ("ink", "soft", "action", "care"):
        assert written[name] == {"ground", "card", "wash"}
    assert written["on-action"] == {"action"}
    assert written["on-care"] == {"care"}
    assert written["on-stage"] == {"stage"}


def test_nothing_comes_from_another_host():
    assert not re.search(r"@import|url\((?!['\"]?data:)", SHEET)


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_template_has_nothing_inline_and_nothing_from_another_host(path):
    html = re.sub(r"\{%\s*comment.*?endcomment\s*%\}", "", path.read_text(), flags=re.S)
    assert not re.search(r"<[^>]*\sstyle\s*=", html), "inline style attribute"
    assert "<style" not in html
    assert not re.search(r"<[^>]*\son[a-z]+\s*=", html), "inline event handler"
    assert not re.search(r"(?:src|href|action)\s*=\s*[\"'](?:https?:)?//", html), "another host"
    for attributes, body in re.findall(r"<script([^>]*)>(.*?)</script>", html, re.S):
        assert "src=" in attributes and not body.strip(), "inline script"


def test_templates_are_found():
    assert ROOT / "clinic/templates/clinic/base.html" in TEMPLATES


# ---- days and figures that nobody can misread ----------------------------------------------------------


def test_days_are_written_out():
    assert words.day(date(2026, 3, 6)) == "6 Mar 2026"
    assert words.long_day(date(2026, 11, 25)) == "Wednesday, 25 Nov 2026"
    assert words.week_day(date(2026, 11, 24)) == "Tue 24 Nov 2026"
    assert words.day(None) == words.moment(None) == ""


def test_a_moment_is_told_in_the_clinics_zone(settings):
    settings.TIME_ZONE = "Europe/Dublin"
    assert words.moment(datetime(2026, 11, 24, 18, 5, tzinfo=UTC)) == "Tue 24 Nov 2026, 18:05"
    # Irish summer time is UTC + 1: half past eleven at night in UTC is the next local day.
    assert words.moment(datetime(2026, 7, 1, 23, 30, tzinfo=UTC)) == "Thu 2 Jul 2026, 00:30"
    assert words.day(datetime(2026, 7, 1, 23, 30, tzinfo=UTC)) == "2 Jul 2026"


def test_age_counts_completed_years():
    born = Patient(born=date(1949, 9, 30))
    assert born.age_on(date(2026, 9, 29)) == 76
    assert born.age_on(date(2026, 9, 30)) == 77
    assert Patient(born=date(2004, 2, 29)).age_on(date(2026, 2, 28)) == 21
    with clock.at(datetime(2026, 9, 30, 12, tzinfo=UTC)):
        assert words.age(born) == 77


@pytest.mark.parametrize(
    "value, doubt, told",
    [
        (5.9, 0.1, "5.9 mm ± 0.1"),
        (5.93, 0.04, "5.93 mm ± 0.04"),
        (12.34, 2.0, "12 mm ± 2"),
        (4.2, None, "4.2 mm"),
        (None, 0.1, "no scale"),
    ],
)
def test_a_length_is_rounded_to_its_first_digit_in_doubt(value, doubt, told):
    assert words.mm(value, doubt) == told


def test_a_measure_brings_its_own_unit_and_a_loss_its_own_sign():
    assert words.mm(SimpleNamespace(value=-31.2, unit="%", uncertainty=3.0)) == "−31 % ± 3"


def test_counts_are_words_up_to_twelve():
    told = [words.in_words(count) for count in (0, 1, 7, 12, 13, 4312)]
    assert told == ["no", "one", "seven", "twelve", "13", "4,312"]


@pytest.mark.parametrize("name", ["400.html", "500.html"])
def test_the_pages_of_last_resort_need_no_context(name):
    source = (ROOT / "clinic/templates" / name).read_text()
    assert "Back to the work" in Engine.get_default().from_string(source).render(Context())


def test_a_strip_wider_than_a_phone_scrolls_in_its_own_box():
    year = Strip(date(2026, 1, 1), date(2026, 12, 31), date(2026, 11, 25))
    assert words.year_strip(year, width=250).startswith("<svg")
    assert words.year_strip(year, width=1280).startswith('<div class="strip-wide" role="group" tabindex="0"')
