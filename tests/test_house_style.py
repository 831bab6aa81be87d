"""Templates and scripts as the house writes them: short lines, and no text for people that passes no catalogue."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
LONGEST = 120
TEMPLATES = sorted(ROOT.glob("*/templates/**/*.html"))
SCRIPTS = sorted(ROOT.glob("*/static/**/*.js"))
_LITERAL = r""""(?:[^"\\\n]|\\.)*"|'(?:[^'\\\n]|\\.)*'|`(?:[^`\\]|\\.)*`"""
_COMMENT = re.compile(rf"({_LITERAL})|//[^\n]*|/\*.*?\*/", re.DOTALL)
_SPOKEN = re.compile(rf"\bn?gettext\(\s*(?:{_LITERAL})(?:\s*,\s*(?:{_LITERAL}))?")
# What a person reads or hears of an element.
_SHOWN = re.compile(
    r"""(?:\.(?:textContent|innerText|title|alt|placeholder)\s*=(?!=)|"aria-(?:label|description)",)([^;]*);"""
)
_SENTENCE = re.compile(r"^[A-Z][a-z]+ [a-z]|[a-z]{2}[.?!]( |$)")


def long_lines(path: Path) -> bool:
    return any(len(line) > LONGEST for line in path.read_text(encoding="utf-8").splitlines())


def test_no_line_of_a_template_is_longer_than_a_screen_is_wide():
    found = {str(path.relative_to(ROOT)) for path in TEMPLATES if long_lines(path)}
    assert found == set()


def without_markup(literal: str) -> str:
    return re.sub(r"\$\{[^}]*\}", "", literal[1:-1])


def bare_texts(script: str) -> list[str]:
    """Literals that people would read and that gettext does not translate."""
    code = _COMMENT.sub(lambda found: found[1] or "", script)
    code = _SPOKEN.sub("gettext(", code)
    shown = [literal for part in _SHOWN.findall(code) for literal in re.findall(_LITERAL, part)]
    words = [literal for literal in shown if re.search(r"[^\W\d_]{2,}", without_markup(literal))]
    sentences = [
        literal for literal in re.findall(_LITERAL, code) if _SENTENCE.search(without_markup(literal))
    ]
    return sorted({*words, *sentences})


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.name)
def test_the_texts_of_a_script_pass_the_catalogue(path):
    assert bare_texts(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    "script, found",
    [
        ('state.textContent = "waits";', ['"waits"']),
        ('state.textContent = gettext("waits");', []),
        ('row.setAttribute("aria-label", `Progress of ${name}`);', ["`Progress of ${name}`"]),
        ('return { error: "The connection broke." };', ['"The connection broke."']),
        ('words.textContent = many ? gettext("all of them") : "none";', ['"none"']),
        ('// "A comment is read by nobody else."\nelement.className = "handle chosen";', []),
        ('said(ngettext("%(n)s point.", "%(n)s points.", n));', []),
    ],
)
def test_a_text_that_passes_no_catalogue_is_found(script, found):
    assert bare_texts(script) == found
